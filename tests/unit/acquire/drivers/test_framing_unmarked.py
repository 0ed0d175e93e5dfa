"""Frames without an end mark: by their length, or by silence."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.cuts import Cut, Cutter, RawFrame
from acquire.drivers.framing_unmarked import LengthFramer, SilenceFramer
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, TOO_LONG

STX = b"\x02"


def bracketed() -> LengthFramer:
    return LengthFramer(6, 16, STX)


def bodies(cuts: Sequence[Cut]) -> list[bytes]:
    return [cut.body for cut in cuts if isinstance(cut, RawFrame)]


def reasons(cuts: Sequence[Cut]) -> list[str]:
    return [cut.reason for cut in cuts if isinstance(cut, FrameRefused)]


def all_of(cutter: Cutter, *pieces: bytes) -> list[Cut]:
    return [cut for piece in pieces for cut in cutter.push(piece)] + cutter.close()


def test_a_frame_of_a_length_begins_at_its_start_mark() -> None:
    assert bracketed().push(b"\x02abcde\x02fghij") == [
        RawFrame(Span(0, 6), b"abcde"),
        RawFrame(Span(6, 6), b"fghij"),
    ]


def test_a_start_mark_inside_says_that_the_frame_before_was_cut_short() -> None:
    cuts = bracketed().push(b"\x02abc\x02fghij")
    assert (reasons(cuts), bodies(cuts)) == ([PARTIAL], [b"fghij"])
    assert "after 4 of 6 bytes" in str(cuts[0])


def test_bytes_before_a_start_mark_are_out_of_frame_and_blanks_are_not() -> None:
    cuts = bracketed().push(b"ab\x02abcde\r\n\x02fghij")
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"abcde", b"fghij"])
    assert Filler(Span(8, 2)) in cuts


def test_a_frame_of_blanks_carries_nothing() -> None:
    assert bracketed().push(b"\x02     ") == [Filler(Span(0, 6))]


def test_what_is_not_long_enough_at_a_silence_is_partial() -> None:
    framer = bracketed()
    framer.push(b"\x02abc")
    assert (framer.waits, reasons(framer.silent()), framer.waits) == (True, [PARTIAL], False)
    assert bodies(framer.push(b"\x02abcde")) == [b"abcde"]


def test_without_a_start_mark_only_a_silence_makes_a_beginning_sure() -> None:
    framer = LengthFramer(4, 16, distrust_first=True)
    assert framer.push(b"aaaabbbb") == []
    assert reasons(framer.silent()) == [PARTIAL]
    assert bodies(framer.push(b"aaaabbbb")) == [b"aaaa", b"bbbb"]


def test_a_stream_without_silence_is_refused_in_pieces() -> None:
    framer = LengthFramer(4, 16, distrust_first=True)
    assert [cut.span.length for cut in framer.push(b"a" * 40)] == [16, 16]


@pytest.mark.parametrize("start", [b"", STX, b"\x02\x02"])
@given(data=st.data())
def test_pieces_make_no_difference_to_lengths(start: bytes, data: st.DataObject) -> None:
    heard = b"".join(data.draw(st.lists(st.sampled_from([STX, b"a", b"abcdefg", b"\r\n"]), max_size=30)))
    at = data.draw(st.integers(0, len(heard)))
    cuts = all_of(LengthFramer(6, 16, start), heard)
    assert cuts == all_of(LengthFramer(6, 16, start), heard[:at], heard[at:])
    assert cuts == all_of(LengthFramer(6, 16, start), *(bytes([byte]) for byte in heard))
    assert sum(cut.span.length for cut in cuts) == len(heard)
    assert [cut.span.offset for cut in cuts] == [0, *(cut.span.end for cut in cuts)][:-1] or not heard


def test_silence_ends_a_frame() -> None:
    framer = SilenceFramer(16)
    assert framer.push(b"on") == framer.push(b"e") == []
    assert framer.silent() == [RawFrame(Span(0, 3), b"one")]
    assert framer.silent() == []
    assert not framer.waits


def test_blanks_between_silences_carry_nothing() -> None:
    framer = SilenceFramer(16)
    framer.push(b"\r\n")
    assert framer.silent() == [Filler(Span(0, 2))]


def test_what_comes_before_the_first_silence_may_be_half_a_message() -> None:
    framer = SilenceFramer(16, distrust_first=True)
    framer.push(b"one")
    assert reasons(framer.silent()) == [OUT_OF_FRAME]
    framer.push(b"two")
    assert bodies(framer.silent()) == [b"two"]


def test_what_no_silence_ended_is_partial_at_the_end_of_the_line() -> None:
    framer = SilenceFramer(16)
    framer.push(b"one")
    assert reasons(framer.close()) == [PARTIAL]


def test_too_many_bytes_without_silence_are_refused_until_the_next_one() -> None:
    framer = SilenceFramer(16)
    assert reasons(framer.push(b"x" * 40)) == [TOO_LONG, TOO_LONG]
    assert reasons(framer.silent()) == [TOO_LONG]
    framer.push(b"one")
    assert bodies(framer.silent()) == [b"one"]


def test_a_frame_that_was_too_long_to_the_byte_is_over_at_the_silence() -> None:
    framer = SilenceFramer(16)
    assert framer.push(b"x" * 16) == []
    assert bodies(framer.silent()) == [b"x" * 16]
