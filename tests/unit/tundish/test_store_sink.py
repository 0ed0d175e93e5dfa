"""Step 1 and step 2: what was heard becomes rows, and each reading is taken once."""

import threading
from concurrent.futures import ThreadPoolExecutor, wait
from decimal import Decimal

from acquire.driver import DriverIdentity
from acquire.events import Filler, FrameRead, FrameRefused, Instant, Outcome, Reading, Span
from acquire.sink import Chunk, Closing, Direction, Ending, Gap, Hearing, Opening
from bench.intake import Intake
from storage.queries import (
    ReadingFilter,
    captures_before,
    chunks_after,
    faults_before,
    frame_at,
    frame_bytes,
    frames_from,
    gaps_before,
    ledger_after,
    newest_readings,
)
from storage.store import Store
from storage.verify import verify
from tests.unit.tundish.conftest import AT_US
from tundish.store_sink import StoreCapture, StoreSink
from tundish.wiring import known_drivers

AT = Instant(AT_US, 0)
DRIVER = DriverIdentity("d", "1", "text of the driver")
READING = Reading("free_so2", Outcome.VALUE, "28,50", Decimal("28.50"), "ppm", sample="W-1007")


def opening(line: str = "so2", at: Instant = AT) -> Opening:
    return Opening(line, "bur-1", DRIVER, "/dev/ttyX", "9600 8N1", at)


def sink_of(store: Store) -> StoreSink:
    session = store.begin_session("0", "", AT_US)
    return StoreSink(store.writer, session, known_drivers(store))


async def heard_once(store: Store) -> StoreCapture:
    capture = await sink_of(store).opened(opening())
    events = (
        FrameRead(Span(0, 5), (READING,)),
        Filler(Span(5, 2)),
        FrameRefused(Span(7, 3), "partial", "cut"),
    )
    await capture.heard(Hearing((Chunk(AT, b"28,50\r\nxyz"),), events, AT))
    return capture


async def test_a_hearing_is_kept_with_its_bytes_frames_and_readings(store: Store) -> None:
    await heard_once(store)
    with store.reader() as connection:
        (reading,) = newest_readings(connection, ReadingFilter(), limit=10)
        frames = frames_from(connection, reading.capture_number, offset=0, limit=10)
        (chunk,) = chunks_after(connection, reading.capture_number, after=0, limit=10)
    assert (reading.value_text, reading.value_numeral, reading.value) == ("28,50", "28.50", 28.5)
    assert [frame.outcome for frame in frames] == ["read", "filler", "refused"]
    assert chunk.data == b"28,50\r\nxyz"


async def test_the_thread_leads_from_a_reading_to_its_bytes(store: Store) -> None:
    await heard_once(store)
    with store.reader() as connection:
        (reading,) = newest_readings(connection, ReadingFilter(), limit=10)
        frame = frame_at(connection, reading.frame_number, reading.frame_ordinal)
        assert frame is not None
        assert frame_bytes(connection, frame) == b"28,50"


async def test_a_frame_over_several_chunks_is_found_whole(store: Store) -> None:
    capture = await sink_of(store).opened(opening())
    await capture.heard(Hearing((Chunk(AT, b"x\n28"), Chunk(AT, b",5")), (Filler(Span(0, 2)),), AT))
    await capture.heard(Hearing((Chunk(AT, b"0\n"),), (FrameRead(Span(2, 6), (READING,)),), AT))
    with store.reader() as connection:
        (reading,) = newest_readings(connection, ReadingFilter(), limit=1)
        frame = frame_at(connection, reading.frame_number, reading.frame_ordinal)
        assert frame is not None
        assert frame_bytes(connection, frame) == b"28,50\n"


async def test_what_was_sent_is_kept_apart_from_what_was_heard(store: Store) -> None:
    capture = await sink_of(store).opened(opening())
    await capture.heard(Hearing((Chunk(AT, b"\x05"), Chunk(AT, b"\x06", Direction.SENT)), (), AT))
    await capture.closed(Closing(Ending.STOPPED, "", AT))
    with store.reader() as connection:
        (found,) = captures_before(connection, before=None, limit=1)
    assert (found.heard_bytes, found.sent_bytes, found.ending) == (1, 1, "stopped")


async def test_frames_that_silence_completes_need_no_chunk(store: Store) -> None:
    capture = await sink_of(store).opened(opening())
    await capture.heard(Hearing((Chunk(AT, b"28,50"),), (), AT))
    await capture.heard(Hearing((), (FrameRead(Span(0, 5), (READING,)),), AT))
    with store.reader() as connection:
        assert ledger_after(connection, after=0, limit=100)[-2].action == "frames.completed"
        assert newest_readings(connection, ReadingFilter(), limit=1)[0].value_text == "28,50"


async def test_a_fault_of_a_driver_is_recorded_beside_the_bytes(store: Store) -> None:
    capture = await sink_of(store).opened(opening())
    await capture.heard(Hearing((Chunk(AT, b"x"),), (), AT, fault="ValueError: no"))
    with store.reader() as connection:
        (fault,) = faults_before(connection, before=None, limit=10)
    assert (fault.source, fault.text) == ("driver", "ValueError: no")


async def test_a_driver_is_entered_at_its_first_use_only(store: Store) -> None:
    sink = sink_of(store)
    await sink.opened(opening("a"))
    await sink.opened(opening("b"))
    with store.reader() as connection:
        numbers = {one.driver_number for one in captures_before(connection, before=None, limit=10)}
    assert len(numbers) == 1


async def test_the_time_between_two_runs_is_a_gap(store: Store) -> None:
    capture = await sink_of(store).opened(opening())
    await capture.closed(Closing(Ending.STOPPED, "", AT))
    later = Instant(AT_US + 60_000_000, 0)
    await sink_of(store).opened(opening(at=later))
    with store.reader() as connection:
        (gap,) = gaps_before(connection, before=None, limit=10)
    assert (gap.begin_us, gap.end_us, gap.why) == (AT_US, later.utc_us, "the daemon was not running")


async def test_a_gap_is_kept_with_its_lost_bytes(store: Store) -> None:
    await sink_of(store).gap(Gap("so2", "bur-1", AT, Instant(AT_US + 5, 5), "the spool was full", 17))
    with store.reader() as connection:
        (gap,) = gaps_before(connection, before=None, limit=10)
    assert (gap.line, gap.lost_bytes) == ("so2", 17)


async def test_step_2_takes_each_reading_once_and_normalises_it(store: Store) -> None:
    await heard_once(store)
    intake = Intake(store, lambda: AT_US, "tundish")
    assert [intake.step(), intake.step()] == [1, 0]
    with store.reader() as connection:
        (reading,) = newest_readings(connection, ReadingFilter(), limit=1)
    assert (reading.normal_text, reading.normal_unit) == ("28.50", "mg/L")


async def test_a_step_says_whether_it_left_readings_that_were_there(store: Store) -> None:
    capture = await heard_once(store)
    for count in range(1, 3):
        span = Span(5 + 5 * count, 5)
        await capture.heard(Hearing((Chunk(AT, b"28,50"),), (FrameRead(span, (READING,)),), AT))
    intake = Intake(store, lambda: AT_US, "tundish", batch=2)
    assert [(intake.step(), intake.behind) for _ in range(3)] == [(2, True), (1, False), (0, False)]


async def test_step_2_goes_on_from_its_place_after_a_crash(store: Store) -> None:
    capture = await heard_once(store)
    Intake(store, lambda: AT_US, "tundish").step()
    await capture.heard(Hearing((Chunk(AT, b"28,50"),), (FrameRead(Span(10, 5), (READING,)),), AT))
    assert Intake(store, lambda: AT_US, "tundish").step() == 1


async def test_a_step_that_nobody_waits_for_any_more_does_not_collide_with_the_next(store: Store) -> None:
    await heard_once(store)
    intake = Intake(store, lambda: AT_US, "tundish")
    gate = threading.Event()
    with ThreadPoolExecutor(2) as threads:
        store.writer.submit(lambda _tx: gate.wait(10))
        steps = [threads.submit(intake.step) for _ in range(2)]
        wait(steps, timeout=0.2)  # both are under way as far as they can be
        gate.set()
        assert sorted(step.result(10) for step in steps) == [0, 1]


async def test_everything_that_was_entered_verifies(store: Store) -> None:
    await heard_once(store)
    Intake(store, lambda: AT_US, "tundish").step()
    with store.reader() as connection:
        assert verify(connection).in_order
