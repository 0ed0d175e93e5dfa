"""What a far bench tells of its lines: all that happened, once, in order, each after the one before."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from storage.queries import captures_before, chunks_after, gaps_before
from storage.queries.line_stream import LineEvent, last_of_line, line_events, newest_session
from storage.rows import FrameRow
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler, OpenCapture

EVERYTHING = 10_000


def everything(store: Store, window: int, line: str | None = None) -> list[LineEvent]:
    """Return all events, read in windows, each from the end of the one before."""
    found: list[LineEvent] = []
    with store.reader() as connection:
        while more := line_events(connection, found[-1].number if found else 0, window, line):
            found += more
    return found


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20)
@given(window=st.integers(1, 40), line=st.sampled_from([None, "ph", "burette", "nobody"]))
def test_windows_of_any_size_give_everything_once_and_in_order(
    full: Store, window: int, line: str | None
) -> None:
    found = everything(full, window, line)
    numbers = [one.number for one in found]
    assert numbers == sorted(set(numbers))
    assert found == [one for one in everything(full, EVERYTHING) if line in (None, one.line)]


def test_every_byte_end_and_gap_of_a_line_is_told(full: Store) -> None:
    told = everything(full, EVERYTHING, "burette")
    with full.reader() as connection:
        (one,) = captures_before(connection, before=None, limit=10, line="burette")
        chunks = chunks_after(connection, one.number, after=0, limit=EVERYTHING, direction=None)
        (gap,) = gaps_before(connection, before=None, limit=10, line="burette")
    assert (told[0].what, told[0].number, told[0].instrument) == ("opened", one.number, "burette-1")
    heard = [event for event in told if event.what == "heard"]
    assert [(event.number, event.offset, event.data, event.at_us) for event in heard] == [
        (chunk.number, chunk.offset, chunk.data, chunk.at_us) for chunk in chunks
    ]
    closed = next(event for event in told if event.what == "closed")
    assert (closed.ending, closed.why, closed.heard_bytes) == ("lost", "the port was gone", one.heard_bytes)
    missed = next(event for event in told if event.what == "gap")
    assert (missed.number, missed.begin_us, missed.at_us) == (gap.number, gap.begin_us, gap.end_us)


@pytest.mark.parametrize("line", ["ph", "burette"])
def test_the_last_event_of_a_line_is_known_at_every_entry(full: Store, line: str) -> None:
    numbers = [event.number for event in everything(full, EVERYTHING, line)]
    with full.reader() as connection:
        for up_to in range(numbers[-1] + 3):
            wanted = max((number for number in numbers if number <= up_to), default=0)
            assert last_of_line(connection, line, up_to) == wanted


@pytest.fixture
def filler(store: Store) -> Filler:
    return Filler(store)


@pytest.fixture
def ph(filler: Filler) -> OpenCapture:
    return filler.open("ph", "ph-meter-1")


def test_a_frame_that_silence_completed_is_told_as_a_silence(
    store: Store, filler: Filler, ph: OpenCapture
) -> None:
    filler.hear(ph, b"pH 3.41\r\n", [Answer("ph", "3.41", "pH")])
    frames = [FrameRow(place, ph.number, None, 9 + place, 1, "filler") for place in range(2)]
    number = store.writer.submit(lambda tx: filler._in(tx, "frames.completed", frame=frames)).result(10)
    silences = [event for event in everything(store, EVERYTHING) if event.what == "silent"]
    assert [(event.number, event.capture, event.at_us) for event in silences] == [
        (number, ph.number, filler.at_us)
    ]
    with store.reader() as connection:
        assert last_of_line(connection, "ph", number) == number


def test_the_newest_run_of_the_daemon_is_known(store: Store, filler: Filler) -> None:
    with store.reader() as connection:
        assert newest_session(connection) == filler.session
