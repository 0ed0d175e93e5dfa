"""Bytes become text strictly, and nothing invisible gets through."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.escapes import Encoding, bytes_of, characters_of
from acquire.drivers.refusal import Refusal
from acquire.drivers.text import TextReader


@pytest.mark.parametrize(
    ("encoding", "body", "text"),
    [
        ("ascii", b"pH 3.41", "pH 3.41"),
        ("utf-8", "21 °C".encode(), "21 °C"),
        ("cp1252", b"21 \xb0C", "21 °C"),
    ],
)
def test_decodes_in_the_declared_encoding(encoding: Encoding, body: bytes, text: str) -> None:
    assert TextReader(encoding).read(body) == text


@pytest.mark.parametrize(("encoding", "body"), [("ascii", b"\xb0"), ("utf-8", b"\xb0"), ("cp1252", b"\x81")])
def test_refuses_bytes_that_are_no_text_in_the_declared_encoding(encoding: Encoding, body: bytes) -> None:
    with pytest.raises(Refusal, match="at byte 1 of the frame is no text in") as caught:
        TextReader(encoding).read(body)
    assert caught.value.reason == "not_text"


@pytest.mark.parametrize("body", [b"3\x00.41", b"\x1b[2J3.41", b"3.41\x7f", b"3\t41"])
def test_refuses_control_characters(body: bytes) -> None:
    with pytest.raises(Refusal, match="control character 0x"):
        TextReader("ascii").read(body)


def test_filler_goes_at_both_ends_but_never_inside() -> None:
    reader = TextReader("ascii", filler="\0")
    assert reader.read(b"\x003.41\x00\x00") == "3.41"
    with pytest.raises(Refusal):
        reader.read(b"3\x00.41")


def test_a_separator_may_be_a_control_character() -> None:
    assert TextReader("ascii", allowed=["\t"]).read(b"3\t41") == "3\t41"


def test_declared_control_characters_go_wherever_they_stand() -> None:
    reader = TextReader("ascii", ignored="\x11\x13")
    assert reader.read(b"\x113.\x1341") == "3.41"
    with pytest.raises(Refusal, match="control character 0x12"):
        reader.read(b"3.\x1241")


@pytest.mark.parametrize(
    ("body", "text"),
    [
        (b"\x1b[2J\x1b[1;1H3.41\x1b[0m", "3.41"),
        (b"pH\x1b[10C3.41", "pH 3.41"),
        (b"3.\x1b[0;32m\x1b(B41", "3. 41"),
        (b"\x1bc3.41", "3.41"),
        (b"\x1b[?25l", ""),
    ],
)
def test_terminal_codes_go_and_join_nothing(body: bytes, text: str) -> None:
    assert TextReader("ascii", terminal_codes=True).read(body) == text


@pytest.mark.parametrize("body", [b"\x1b", b"3.41\x1b[", b"\x1b[31\x07m3.41", b"\x1b\xb03.41"])
def test_half_a_terminal_code_is_no_text(body: bytes) -> None:
    with pytest.raises(Refusal):
        TextReader("ascii", terminal_codes=True).read(body)


def test_a_long_terminal_code_takes_no_longer_than_its_length() -> None:
    with pytest.raises(Refusal):
        TextReader("ascii", terminal_codes=True).read(b"\x1b[" + b"0;" * 30_000 + b"\x07")


def test_how_a_frame_begins_is_seen_even_if_it_is_no_text() -> None:
    assert TextReader("ascii", terminal_codes=True).read_loosely(b" \x1b[0mREAD?\xff").startswith("READ?")


def test_a_byte_order_mark_before_a_frame_means_nothing() -> None:
    assert TextReader("utf-8").read("\ufeffProbe".encode()) == "Probe"


@given(st.binary(max_size=40))
def test_any_bytes_are_text_or_refused(body: bytes) -> None:
    with suppress(Refusal):
        assert TextReader("cp1252").read(body).encode("cp1252") == body


def test_escapes_stand_for_bytes() -> None:
    assert bytes_of(r"a\r\n\t\0\\\x02°", "cp1252") == b"a\r\n\t\0\\\x02\xb0"
    assert characters_of(r"\xb0C", "cp1252") == "°C"


@pytest.mark.parametrize("text", [r"\q", "\\", r"\x0", r"\xg0"])
def test_refuses_an_unknown_escape(text: str) -> None:
    with pytest.raises(ValueError, match="is no escape; known are"):
        bytes_of(text, "ascii")


@pytest.mark.parametrize(("encoding", "codec"), [("utf-16-le", "utf-16-le"), ("utf-16-be", "utf-16-be")])
def test_escapes_stand_for_characters_of_two_bytes_too(encoding: Encoding, codec: str) -> None:
    assert bytes_of(r"a\r\n°", encoding) == "a\r\n°".encode(codec)


def test_refuses_a_character_that_the_encoding_does_not_have() -> None:
    with pytest.raises(ValueError, match="can't encode"):
        bytes_of("°", "ascii")


@given(st.binary(max_size=20))
def test_every_byte_can_be_written_as_an_escape(data: bytes) -> None:
    assert bytes_of("".join(f"\\x{byte:02x}" for byte in data), "ascii") == data
