"""Whatever comes: no exception, no claim without bytes, bounded time and memory."""

import random
import time
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.drivers.data_only import factory_from_text
from acquire.learning.learn import MOST_BYTES, learn
from acquire.learning.report import Standing

ROW = b"%04d;W-1007;3.412;21.4 C\r\n"
MOST_SECONDS = 30.0  # [s] for 1 MiB of anything, of the processor; measured: up to 3
MOST_MEMORY_BYTES = 200_000_000  # [bytes]

PIECES = st.sampled_from(
    b"\r\n|\n|\r|\x02|\x03|;|,|\t|=|:| |  |W-1|3.41|21,4 C|NTU|pH|----|OVER|*3D|\xff|\x00".split(b"|")
    + b"2025-10-06|08:41|/|.|g|mg/L".split(b"|")
)


@given(data=st.one_of(st.binary(max_size=600), st.lists(PIECES, max_size=300).map(b"".join)))
@settings(max_examples=60, deadline=None)
def test_no_bytes_raise_anything(data: bytes) -> None:
    proposal = learn(data, laws=())
    assert (proposal.standing is Standing.GOOD) <= bool(proposal.driver)


@given(damage=st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 255)), max_size=30))
@settings(max_examples=25, deadline=None)
def test_damaged_rows_raise_nothing_and_what_is_good_loads(damage: list[tuple[int, int]]) -> None:
    data = bytearray(b"".join(ROW % number for number in range(40)))
    for place, byte in damage:
        data[place] = byte
    proposal = learn(bytes(data), laws=())
    if proposal.standing is Standing.GOOD:
        assert factory_from_text(proposal.driver, "learnt.toml").definition.examples


@pytest.mark.parametrize(
    "data",
    [
        random.Random(1).randbytes(MOST_BYTES),
        bytes(MOST_BYTES),
        b"A" * MOST_BYTES,
        b"1;" * (MOST_BYTES // 2),
        b"a=1 " * (MOST_BYTES // 4),
        b"\r\n" * (MOST_BYTES // 2),
        (ROW % 7) * (MOST_BYTES // len(ROW % 7)),
        b"".join(ROW % (number % 10000) for number in range(MOST_BYTES // 26)),
    ],
    ids=["random", "nul", "letters", "one row", "pairs", "ends", "one line again", "rows"],
)
def test_a_mebibyte_takes_bounded_time(data: bytes) -> None:
    begin = time.process_time()
    learn(data, laws=())
    assert time.process_time() - begin < MOST_SECONDS


def test_a_mebibyte_takes_bounded_memory() -> None:
    data = b"".join(ROW % (number % 10000) for number in range(MOST_BYTES // 26))
    tracemalloc.start()
    try:
        learn(data, laws=())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MOST_MEMORY_BYTES


@pytest.mark.parametrize(
    "data", [b"", b"pH 3.41", bytes(100), b"\r\n" * 40, random.Random(2).randbytes(5000)]
)
def test_what_shows_no_layout_is_called_nothing(data: bytes) -> None:
    proposal = learn(data, laws=())
    assert (proposal.standing, proposal.driver) == (Standing.NOTHING, "")
    assert proposal.why


def test_the_same_bytes_are_learnt_alike() -> None:
    data = b"".join(ROW % number for number in range(60))
    assert learn(data, laws=()) == learn(data, laws=())


def test_what_comes_only_in_the_second_half_is_never_learnt() -> None:
    rows = [b"%03d;%d.%02d NTU\r\n" % (at, at % 7, at) for at in range(40)]
    rows += [b"%03d;----\r\n" % at for at in range(40, 60)] + [
        b"%03d;%d.50 NTU\r\n" % (at, at % 7) for at in range(60, 80)
    ]
    proposal = learn(b"".join(rows), laws=())
    assert "----" not in proposal.driver
    refused = {one.reason: one.count for one in proposal.held_out.refused}
    assert refused == {"not_a_number": 20}
    assert proposal.standing is Standing.DOUBTFUL
