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


def test_refuses_a_character_that_the_encoding_does_not_have() -> None:
    with pytest.raises(ValueError, match="can't encode"):
        bytes_of("°", "ascii")


@given(st.binary(max_size=20))
def test_every_byte_can_be_written_as_an_escape(data: bytes) -> None:
    assert bytes_of("".join(f"\\x{byte:02x}" for byte in data), "ascii") == data
