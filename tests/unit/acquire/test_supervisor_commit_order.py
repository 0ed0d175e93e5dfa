"""What leaves on the wire leaves after the commit; what the store cannot take is counted."""

from acquire.errors import WriteStoppedError
from acquire.events import FrameRead
from acquire.gate import FITS_AFTER, STRANGE_AFTER
from acquire.line_state import Condition
from acquire.reasons import PARTIAL
from acquire.registry import DriverRegistry
from acquire.sink import Direction, Ending
from tests.fakes.line_driver import FakeAskers, FakeLineDrivers
from tests.unit.acquire.conftest import Bench

ACK = b"\x06"
STEP_S = 0.05  # [s] longer than chunks gather


async def test_an_acknowledgement_is_kept_with_its_frame_and_then_leaves(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    [hearing] = bench.capture.hearings
    assert [(chunk.direction, chunk.data) for chunk in hearing.chunks] == [
        (Direction.HEARD, b"pH 3.41\n"),
        (Direction.SENT, ACK),
    ]
    assert line.sent == [ACK]


async def test_nothing_leaves_before_the_commit_has_returned(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    bench.sink.hold()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(1)
    assert line.sent == []
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    assert line.sent == [ACK]


async def test_nothing_leaves_when_the_store_took_nothing(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert line.sent == []
    assert bench.capture.sent == b""


async def test_what_the_driver_says_first_is_kept_and_sent_at_the_opening(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(greeting=b"?\n"))
    assert bench.capture.sent == b"?\n"
    assert line.sent == [b"?\n"]


async def test_after_a_refused_sending_all_that_was_read_is_still_kept(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    line.refuse_send = WriteStoppedError("/dev/fake", "/dev/fake took no more bytes")
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(0.02)
    first = bench.sink.captures[0]
    assert first.sent == ACK
    assert first.closing is not None
    assert first.closing.why == "/dev/fake took no more bytes"


async def test_nothing_is_recorded_as_sent_that_cannot_leave(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    line.arrive(b"pH 3.41\n")
    line.end()
    await bench.clock.advance(0.01)
    assert bench.capture.data == b"pH 3.41\n"
    assert bench.capture.sent == b""


async def test_a_line_that_takes_no_bytes_is_sent_none(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    line.takes_bytes = False
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert (bench.capture.sent, line.sent) == (b"", [])


async def test_while_the_store_is_full_the_line_listens_and_counts(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.full = True
    for _ in range(3):
        line.arrive(b"pH 3.41\n")
        await bench.clock.advance(STEP_S)
    assert bench.state().state is Condition.OPEN
    assert (bench.state().unkept_bytes, bench.state().bytes_heard) == (24, 0)


async def test_when_the_store_takes_again_a_gap_says_how_much_was_lost(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = False
    line.arrive(b"pH 3.42\n")
    await bench.clock.advance(STEP_S)
    [gap] = bench.sink.gaps
    assert (gap.lost_bytes, gap.why) == (8, "the store took no more")
    assert [capture.data for capture in bench.sink.captures] == [b"", b"pH 3.42\n"]


async def test_a_quiet_line_asks_a_full_store_again_by_itself(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = False
    await bench.clock.advance(2)
    assert len(bench.sink.gaps) == 1
    assert len(bench.sink.captures) == 2


async def test_a_frame_whose_end_was_lost_is_refused_and_never_read(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"pH 3.40\npH 3.")
    await bench.clock.advance(STEP_S)
    bench.sink.full = True
    line.arrive(b"41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = False
    await bench.clock.advance(2)
    broken = bench.sink.captures[0]
    assert broken.refusals == [(b"pH 3.", PARTIAL)]
    assert sum(isinstance(event, FrameRead) for event in broken.events) == 1
    assert broken.accounts_for_every_byte()
    assert broken.closing is not None
    assert broken.closing.ending is Ending.LOST


async def test_a_store_that_is_full_at_the_opening_is_asked_again(bench: Bench) -> None:
    bench.sink.full = True
    line = await bench.add()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = False
    await bench.clock.advance(2)
    assert bench.sink.gaps[0].lost_bytes == 8
    assert bench.capture.closing is None


async def test_a_line_lost_while_the_store_is_full_is_one_gap_in_the_end(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    line.end()
    await bench.clock.advance(5)
    bench.sink.full = False
    await bench.clock.advance(5)
    assert [gap.lost_bytes for gap in bench.sink.gaps] == [8]
    assert bench.sink.captures[0].closing is not None
    assert bench.sink.captures[1].closing is None


async def test_a_stop_ends_even_while_the_store_is_full(bench: Bench) -> None:
    await bench.add()
    bench.sink.full = True
    await bench.supervisor.stop_all()
    assert bench.state().state is Condition.STOPPED


async def test_an_error_of_the_store_that_is_not_fullness_fails_the_line(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.error = RuntimeError("the store is broken")
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert bench.state().state is Condition.FAILED
    assert line.closed


async def test_an_answer_that_the_store_held_up_for_too_long_never_leaves(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=ACK))
    bench.sink.hold()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(5.1)
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    first = bench.sink.captures[0]
    assert line.sent == []
    assert first.data == b"pH 3.41\n"
    assert first.closing is not None
    assert "too long to answer" in first.closing.why


async def test_a_line_that_never_answers_says_so_until_a_byte_comes(bench: Bench) -> None:
    line = await bench.add(driver=FakeAskers())
    await bench.clock.advance(1)
    assert "asked 3 times" in bench.state().why
    assert bench.state().state is Condition.OPEN
    line.arrive(b"3.41\n")
    await bench.clock.advance(STEP_S)
    assert bench.state().why == ""


async def test_another_instrument_than_expected_is_a_state_until_the_right_one_speaks(bench: Bench) -> None:
    line = await bench.add(driver=FakeAskers(expected=b"ph-1"))
    line.arrive(b"bur-1\n")
    await bench.clock.advance(STEP_S)
    assert (bench.state().state, bench.state().why) == (Condition.UNRECOGNISED, "it says bur-1")
    line.arrive(b"ph-1\n")
    await bench.clock.advance(STEP_S)
    assert (bench.state().state, bench.state().why) == (Condition.OPEN, "")


async def test_after_many_messages_that_do_not_fit_none_is_taken_until_some_in_a_row_fit(
    bench: Bench,
) -> None:
    line = await bench.add(driver=DriverRegistry([]).factory("load-lines"))
    line.arrive(b"pH 3,412 S T 21,4C mV 209,8\r\n" * (STRANGE_AFTER - 1))
    await bench.clock.advance(STEP_S)
    assert bench.state().state is Condition.OPEN
    line.arrive(b"pH 3,412 S T 21,4C mV 209,8\r\n")
    await bench.clock.advance(STEP_S)
    assert bench.state().state is Condition.UNRECOGNISED
    assert "is this its instrument, and are speed, data bits and parity right?" in bench.state().why
    line.arrive(b"N|00000001|27.125|mg/L\r\n" * FITS_AFTER)
    await bench.clock.advance(STEP_S)
    assert bench.state().state is Condition.UNRECOGNISED
    assert bench.state().frames_read == 0
    line.arrive(b"N|00000001|27.125|mg/L\r\n")
    await bench.clock.advance(STEP_S)
    assert (bench.state().state, bench.state().why) == (Condition.OPEN, "")
    assert bench.state().frames_read == 1
