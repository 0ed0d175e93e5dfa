from hypothesis import given
from hypothesis import strategies as st

from acquire.chunks import GATHER_NS, gather
from acquire.events import Instant
from acquire.lines.transport import Piece


def _pieces(parts: list[tuple[int, bytes]]) -> list[Piece]:
    pieces, at_ns = [], 0
    for wait_ns, data in parts:
        at_ns += wait_ns
        pieces.append(Piece(Instant(at_ns // 1_000, at_ns), data))
    return pieces


PARTS = st.lists(st.tuples(st.integers(0, 2 * GATHER_NS), st.binary(min_size=1, max_size=5)), max_size=20)


@given(PARTS)
def test_chunks_joined_are_the_pieces_joined(parts: list[tuple[int, bytes]]) -> None:
    pieces = _pieces(parts)
    assert b"".join(chunk.data for chunk in gather(pieces)) == b"".join(piece.data for piece in pieces)


@given(PARTS)
def test_every_chunk_bears_the_instant_of_its_first_piece(parts: list[tuple[int, bytes]]) -> None:
    pieces, seen = _pieces(parts), 0
    begins = {}
    for piece in pieces:
        begins[seen] = piece.at
        seen += len(piece.data)
    offset = 0
    for chunk in gather(pieces):
        assert chunk.at == begins[offset]
        offset += len(chunk.data)


def test_a_piece_within_the_span_joins_the_chunk_and_a_later_one_does_not() -> None:
    pieces = _pieces([(0, b"a"), (GATHER_NS, b"b"), (1, b"c")])
    assert [chunk.data for chunk in gather(pieces)] == [b"ab", b"c"]


def test_nothing_gives_no_chunk() -> None:
    assert gather([]) == ()
