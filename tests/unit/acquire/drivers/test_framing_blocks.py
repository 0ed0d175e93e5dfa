"""Lines become blocks: from the first line to the last, or not at all."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.cuts import Cut, RawFrame
from acquire.drivers.framing import Framer, Marks
from acquire.drivers.framing_blocks import BlockFramer
from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, TOO_LONG


def framer(begin: bytes = b"BEGIN", end: bytes = b"END", *, distrust_first: bool = False) -> BlockFramer:
    lines = Framer(Marks(ends=(b"\n",), max_length=32))
    return BlockFramer(lines, b"\n", 32, begin, end, distrust_first=distrust_first)


def all_of(blocks: BlockFramer, *pieces: bytes) -> list[Cut]:
    return [cut for piece in pieces for cut in blocks.push(piece)] + blocks.close()


def bodies(cuts: Sequence[Cut]) -> list[bytes]:
    return [cut.body for cut in cuts if isinstance(cut, RawFrame)]


def reasons(cuts: Sequence[Cut]) -> list[str]:
    return [cut.reason for cut in cuts if isinstance(cut, FrameRefused)]


def test_a_block_spans_its_first_and_its_last_line_which_say_no_more() -> None:
    assert all_of(framer(), b" BEGIN\na\n\nb\n END\n") == [RawFrame(Span(0, 17), b"a\n\nb")]


def test_a_first_or_last_line_that_says_more_is_read_too() -> None:
    assert bodies(all_of(framer(), b"BEGIN 42\na\nEND of it\n")) == [b"BEGIN 42\na\nEND of it"]


def test_lines_outside_are_out_of_frame_and_empty_ones_carry_nothing() -> None:
    cuts = all_of(framer(), b"x\n\nBEGIN\na\nEND\n")
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"a"])
    assert Filler(Span(2, 1)) in cuts


def test_a_block_that_lost_its_end_does_not_spoil_the_next() -> None:
    cuts = all_of(framer(), b"BEGIN\na\nBEGIN\nb\nEND\n")
    assert (reasons(cuts), bodies(cuts)) == ([PARTIAL], [b"b"])


def test_an_empty_line_ends_a_block_without_an_end() -> None:
    cuts = all_of(framer(begin=b"", end=b""), b"a\nb\n\n\nc\n \nd\n")
    assert (bodies(cuts), reasons(cuts)) == ([b"a\nb", b"c"], [PARTIAL])


def test_a_first_block_that_may_be_half_a_block_is_refused() -> None:
    blocks = framer(begin=b"", end=b"", distrust_first=True)
    cuts = all_of(blocks, b"\nb\n\nc\n\n")  # the first line end may end a line that nobody heard
    assert (reasons(cuts), bodies(cuts)) == ([OUT_OF_FRAME], [b"c"])


def test_a_block_behind_an_empty_line_is_sure() -> None:
    cuts = all_of(framer(begin=b"", end=b"", distrust_first=True), b"\n\nc\n\n")
    assert bodies(cuts) == [b"c"]


def test_a_block_with_a_damaged_line_is_refused_whole() -> None:
    cuts = all_of(framer(), b"BEGIN\na\n" + b"x" * 32 + b"\nEND\n" + b"BEGIN\nb\nEND\n")
    assert TOO_LONG in reasons(cuts)
    assert bodies(cuts) == [b"b"]


@pytest.mark.parametrize(("begin", "end"), [(b"BEGIN", b"END"), (b"", b"END"), (b"", b"")])
def test_a_block_that_is_too_long_is_refused_up_to_its_end(begin: bytes, end: bytes) -> None:
    body = b"abcd\n" * 12
    heard = (begin + b"\n" if begin else b"") + body + (end or b"") + b"\n"
    cuts = all_of(framer(begin, end), heard, heard.replace(body, b"ok\n"))
    assert set(reasons(cuts)) == {TOO_LONG}
    assert bodies(cuts) == [b"ok"]


def test_silence_ends_the_wait_for_a_last_line() -> None:
    blocks = framer()
    blocks.push(b"BEGIN\na\n")
    assert blocks.waits
    assert reasons(blocks.silent()) == [PARTIAL]
    assert not blocks.waits


LINES = [b"BEGIN\n", b"END\n", b"\n", b"a\n", b"abcdefghijkl\n", b"x" * 40, b"\xff"]


@pytest.mark.parametrize(("begin", "end"), [(b"BEGIN", b"END"), (b"", b"END"), (b"", b""), (b"BEGIN", b"")])
@given(lines=st.lists(st.sampled_from(LINES), max_size=20), data=st.data())
def test_pieces_make_no_difference_and_the_spans_tile(
    begin: bytes, end: bytes, lines: list[bytes], data: st.DataObject
) -> None:
    heard = b"".join(lines)
    at = data.draw(st.integers(0, len(heard)))
    cuts = all_of(framer(begin, end), heard)
    assert cuts == all_of(framer(begin, end), heard[:at], heard[at:])
    assert cuts == all_of(framer(begin, end), *(bytes([byte]) for byte in heard))
    assert sum(cut.span.length for cut in cuts) == len(heard)
    assert [cut.span.offset for cut in cuts] == [0, *(cut.span.end for cut in cuts)][:-1] or not heard
