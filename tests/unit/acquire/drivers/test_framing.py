"""Frames are what stands between marks; everything else is refused or carries nothing."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.cuts import Cut, RawFrame
from acquire.drivers.framing import Framer, Marks
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, TOO_LONG

CRLF = Marks(ends=(b"\r\n",), max_length=16)
BRACKETED = Marks(ends=(b"\x03",), start=b"\x02", max_length=16)


def cuts_of(marks: Marks, *pieces: bytes) -> list[Cut]:
    framer = Framer(marks)
    return [cut for piece in pieces for cut in framer.push(piece)] + framer.close()


def bodies(cuts: Sequence[Cut]) -> list[bytes]:
    return [cut.body for cut in cuts if isinstance(cut, RawFrame)]


def reasons(cuts: Sequence[Cut]) -> list[str]:
    return [cut.reason for cut in cuts if isinstance(cut, FrameRefused)]


def test_a_frame_ends_at_its_end_mark_however_the_mark_is_cut() -> None:
    assert bodies(cuts_of(CRLF, b"one\r", b"\ntw", b"o\r\n")) == [b"one", b"two"]


def test_a_frame_spans_its_body_and_its_end_mark() -> None:
    assert cuts_of(CRLF, b"one\r\n") == [RawFrame(Span(0, 5), b"one")]


def test_an_empty_line_carries_nothing() -> None:
    assert cuts_of(CRLF, b" \t\r\n") == [Filler(Span(0, 4))]


def test_bytes_declared_as_filler_carry_nothing() -> None:
    assert cuts_of(Marks(ends=(b"\r\n",), filler=b"\0"), b"\0\0\r\n") == [Filler(Span(0, 4))]


def test_what_has_no_end_when_the_line_closes_is_partial() -> None:
    assert reasons(cuts_of(CRLF, b"one\r\ntw")) == [PARTIAL]


def test_blanks_without_an_end_when_the_line_closes_carry_nothing() -> None:
    assert cuts_of(CRLF, b"\r") == [Filler(Span(0, 1))]


def test_of_several_end_marks_the_first_that_is_complete_counts() -> None:
    assert bodies(cuts_of(Marks(ends=(b"\r\n", b"\n", b";")), b"a\r\nb\nc;")) == [b"a", b"b", b"c"]


def test_what_is_too_long_is_refused_in_pieces_up_to_the_next_end_mark() -> None:
    cuts = cuts_of(CRLF, b"x" * 40 + b"\r\nnext\r\n")
    assert reasons(cuts) == [TOO_LONG, TOO_LONG, TOO_LONG]
    assert bodies(cuts) == [b"next"]


def test_an_end_mark_on_the_edge_of_a_refused_piece_is_still_seen() -> None:
    assert bodies(cuts_of(CRLF, b"x" * 15 + b"\r\nnext\r\n")) == [b"next"]


def test_the_longest_frame_that_is_allowed_is_read() -> None:
    assert bodies(cuts_of(CRLF, b"x" * 14 + b"\r\n")) == [b"x" * 14]


def test_a_distrusted_first_line_is_refused_with_what_to_do() -> None:
    cuts = cuts_of(Marks(ends=(b"\r\n",), distrust_first=True), b".41\r\n3.41\r\n")
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"3.41"])
    assert "distrust_first = false" in str(cuts[0])


def test_a_first_line_behind_an_end_mark_is_trusted() -> None:
    assert bodies(cuts_of(Marks(ends=(b"\r\n",), distrust_first=True), b"\r\n3.41\r\n")) == [b"3.41"]


def test_bytes_before_a_start_mark_are_out_of_frame() -> None:
    cuts = cuts_of(BRACKETED, b"ab\x02one\x03")
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"one"])


def test_line_ends_between_bracketed_frames_carry_nothing() -> None:
    assert cuts_of(BRACKETED, b"\x02a\x03\r\n\x02b\x03")[1] == Filler(Span(3, 2))


def test_a_frame_that_lost_its_end_does_not_spoil_the_next() -> None:
    cuts = cuts_of(BRACKETED, b"\x02los\x02one\x03")
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"one"])


def test_an_end_without_a_start_is_out_of_frame() -> None:
    assert reasons(cuts_of(BRACKETED, b"half\x03")) == [OUT_OF_FRAME]


def test_a_frame_behind_much_noise_is_read() -> None:
    cuts = cuts_of(BRACKETED, b"n" * 45 + b"\x02one\x03")
    assert bodies(cuts) == [b"one"]


@pytest.mark.parametrize(
    "marks", [CRLF, BRACKETED, Marks(ends=(b"\r", b"\n"), max_length=16, distrust_first=True)]
)
@given(data=st.data())
def test_pieces_make_no_difference_and_the_spans_tile(marks: Marks, data: st.DataObject) -> None:
    heard = b"".join(
        data.draw(st.lists(st.sampled_from([b"\r", b"\n", b"\x02", b"\x03", b"abcdefg"]), max_size=30))
    )
    at = data.draw(st.integers(0, len(heard)))
    cuts = cuts_of(marks, heard)
    assert cuts == cuts_of(marks, heard[:at], heard[at:])
    assert cuts == cuts_of(marks, *(bytes([byte]) for byte in heard))
    assert [cut.span.offset for cut in cuts] == [0, *(cut.span.end for cut in cuts)][:-1] or not heard
    assert sum(cut.span.length for cut in cuts) == len(heard)
