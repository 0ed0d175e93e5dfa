import pytest
from structlog.testing import capture_logs

from acquire.errors import LineNameError, NotATtyError, PortLostError
from acquire.events import FrameRead, FrameRefused
from acquire.line_state import Condition
from acquire.reasons import DRIVER_FAULT, PARTIAL
from acquire.sink import Ending
from tests.fakes.driver import FakeFactory, ScriptedDriver
from tests.fakes.line_driver import POISON, FakeLineDrivers
from tests.unit.acquire.conftest import Bench

STEP_S = 0.05  # [s] longer than chunks gather


async def test_what_arrives_is_kept_with_what_the_driver_made_of_it(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert bench.capture.data == b"pH 3.41\n"
    assert [type(event) for event in bench.capture.events] == [FrameRead]
    assert (bench.state().bytes_heard, bench.state().frames_read) == (8, 1)


async def test_an_opening_names_line_instrument_driver_device_and_settings(bench: Bench) -> None:
    await bench.add()
    opening = bench.capture.opening
    assert (opening.line, opening.instrument, opening.driver.name) == ("ph", "ph-meter", "fake-lines")
    assert (opening.device, opening.settings) == ("/dev/fake", "9600 8N1")


async def test_pieces_that_come_while_a_turn_is_being_kept_are_one_chunk_of_the_next(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.hold()
    line.arrive(b"pH ")
    await bench.clock.advance(0.001)
    line.arrive(b"3.4")
    await bench.clock.advance(0.015)
    line.arrive(b"1\n")
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    chunks = [chunk.data for hearing in bench.capture.hearings for chunk in hearing.chunks]
    assert chunks == [b"pH ", b"3.41\n"]


async def test_a_lost_line_is_open_again_well_within_10_s_of_its_return(bench: Bench) -> None:
    line = await bench.add()
    line.absent(20)
    line.end()
    await bench.clock.advance(60)
    line.refusals.clear()
    await bench.clock.advance(5)
    assert bench.state().state is Condition.OPEN


async def test_a_half_line_at_the_loss_is_refused_as_partial(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"pH 3.41\npH 3.")
    line.end()
    await bench.clock.advance(STEP_S)
    capture = bench.sink.captures[0]
    assert capture.refusals == [(b"pH 3.", PARTIAL)]
    assert capture.accounts_for_every_byte()
    assert capture.closing is not None
    assert (capture.closing.ending, capture.closing.why) == (Ending.LOST, "the cable was pulled")


async def test_a_loss_leaves_a_gap_from_the_loss_to_the_reopening(bench: Bench) -> None:
    line = await bench.add()
    line.end()
    await bench.clock.advance(1)
    [gap] = bench.sink.gaps
    closing = bench.sink.captures[0].closing
    assert closing is not None
    assert (gap.begin, gap.end) == (closing.at, bench.sink.captures[1].opening.at)
    assert gap.end.monotonic_ns - gap.begin.monotonic_ns == 200_000_000
    assert gap.lost_bytes is None


async def test_a_port_that_is_absent_at_the_start_leaves_a_gap_too() -> None:
    bench = Bench(absent_at_first=1)
    await bench.add()
    await bench.clock.advance(1)
    assert [gap.why for gap in bench.sink.gaps] == ["port /dev/fake does not exist; is the cable plugged in?"]


async def test_a_waiting_line_says_why_in_plain_words() -> None:
    bench = Bench(absent_at_first=1)
    await bench.add()
    assert bench.state().state is Condition.WAITING
    assert bench.state().why == "port /dev/fake does not exist; is the cable plugged in?"


async def test_the_state_of_a_waiting_line_dates_from_the_first_attempt() -> None:
    bench = Bench(absent_at_first=50)
    await bench.add()
    since = bench.state().since
    await bench.clock.advance(30)
    assert bench.state().since == since


async def test_repeated_faults_are_counted_in_the_log_and_not_repeated() -> None:
    bench = Bench(absent_at_first=5)
    with capture_logs() as entries:
        await bench.add()
        await bench.clock.advance(30)
    assert [entry["event"] for entry in entries] == ["line.unavailable", "line.recovered"]
    assert entries[1]["attempts"] == 5
    assert entries[1]["waited_s"] == pytest.approx(0.2 + 0.4 + 0.8 + 1.6 + 3.2)


async def test_a_line_that_was_healthy_for_a_minute_is_tried_again_at_once() -> None:
    bench = Bench(absent_at_first=4)
    line = await bench.add()
    await bench.clock.advance(70)
    line.end()
    await bench.clock.advance(0.21)
    assert bench.state().state is Condition.OPEN
    assert line.openings == 6


async def test_a_stop_keeps_what_was_read_and_refuses_the_half_frame(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"pH 3.41\npH")
    await bench.supervisor.stop_all()
    assert bench.capture.data == b"pH 3.41\npH"
    assert bench.capture.refusals == [(b"pH", PARTIAL)]
    assert bench.capture.closing is not None
    assert bench.capture.closing.ending is Ending.STOPPED
    assert bench.state().state is Condition.STOPPED
    assert line.closed


async def test_a_waiting_line_stops_at_once_and_keeps_its_gap() -> None:
    bench = Bench(absent_at_first=50)
    await bench.add()
    await bench.supervisor.stop_all()
    assert bench.state().state is Condition.STOPPED
    assert len(bench.sink.gaps) == 1


async def test_a_line_that_hangs_is_cut_off_after_the_time_limit(bench: Bench) -> None:
    line = await bench.add()
    line.hangs = True
    stopping = bench.spawn(bench.supervisor.stop_all(timeout_s=3))
    await bench.clock.advance(2.9)
    assert not stopping.done()
    await bench.clock.advance(0.1)
    await stopping
    assert bench.state().state is Condition.FAILED
    assert line.closed


async def test_a_finished_file_closes_the_capture_as_complete_and_is_not_read_again(bench: Bench) -> None:
    line = await bench.add()
    line.end(Ending.COMPLETE, "the file was read to its end")
    await bench.clock.advance(10)
    assert bench.capture.closing is not None
    assert bench.capture.closing.ending is Ending.COMPLETE
    assert line.openings == 1
    assert bench.sink.gaps == []


async def test_an_error_of_the_program_fails_one_line_and_no_other(bench: Bench) -> None:
    sick, well = await bench.add("sick"), await bench.add("well")
    with capture_logs() as entries:
        sick.fail(RuntimeError("a bug"))
        well.arrive(b"pH 3.41\n")
        await bench.clock.advance(STEP_S)
    assert (bench.state("sick").state, bench.state("sick").why) == (Condition.FAILED, "RuntimeError: a bug")
    assert sick.closed
    assert bench.state("well").state is Condition.OPEN
    assert bench.sink.of("well")[0].data == b"pH 3.41\n"
    assert [(entry["event"], entry["log_level"]) for entry in entries] == [("line.failed", "error")]


async def test_what_is_no_port_is_refused_once_and_for_good(bench: Bench) -> None:
    settings = bench.settings("ph")
    with capture_logs() as entries:
        bench.supervisor.add_line(settings, FakeLineDrivers())
        line = bench.transports["ph"]
        line.absent(1)
        line.refusals.append(
            NotATtyError("/dev/ph", "/dev/ph is not a serial port; name the port's device file")
        )
        await bench.clock.advance(60)
    assert (bench.state().state, bench.state().why) == (
        Condition.FAILED,
        "/dev/ph is not a serial port; name the port's device file",
    )
    assert line.openings == 2
    assert [entry["event"] for entry in entries] == ["line.unavailable", "line.failed"]
    assert "exc_info" not in entries[1]
    assert len(bench.sink.gaps) == 1


async def test_a_line_that_was_refused_for_good_can_be_started_again(bench: Bench) -> None:
    bench.supervisor.add_line(bench.settings("ph"), FakeLineDrivers())
    bench.transports["ph"].refusals.append(NotATtyError("/dev/ph", "/dev/ph is not a serial port"))
    await bench.clock.advance(1)
    await bench.supervisor.restart_line("ph")
    await bench.clock.advance(0)
    assert bench.state().state is Condition.OPEN


async def test_a_driver_that_cannot_be_made_fails_its_line(bench: Bench) -> None:
    await bench.add(driver=FakeFactory(lambda: ScriptedDriver([]), errors=[ValueError("no such table")]))
    assert (bench.state().state, bench.state().why) == (Condition.FAILED, "ValueError: no such table")


async def test_a_driver_that_raises_costs_one_frame_and_is_recorded_as_a_fault(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(POISON + b"\n")
    await bench.clock.advance(STEP_S)
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert bench.capture.refusals == [(POISON + b"\n", DRIVER_FAULT)]
    assert "the driver broke" in str(bench.capture.hearings[0].fault)
    assert bench.state().frames_read == 1
    assert bench.capture.accounts_for_every_byte()


async def test_the_driver_is_told_the_time_when_it_asked_for_it(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(silence_ns=2_000_000_000))
    line.arrive(b"pH 3.")
    await bench.clock.advance(1.9)
    assert bench.capture.events == []
    await bench.clock.advance(0.2)
    assert bench.capture.refusals == [(b"pH 3.", PARTIAL)]


async def test_refusals_are_counted_and_the_newest_is_shown(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(silence_ns=1_000_000_000))
    for _ in range(2):
        line.arrive(b"pH 3.")
        await bench.clock.advance(2)
    assert bench.state().frames_refused == 2
    assert str(bench.state().last_refusal).startswith("partial: silent until")


async def test_of_many_refusals_the_first_and_the_tenth_are_logged(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(silence_ns=1_000_000_000))
    with capture_logs() as entries:
        for _ in range(12):
            line.arrive(b"?")
            await bench.clock.advance(2)
    assert [(entry["event"], entry["count"]) for entry in entries] == [
        ("line.refused", 1),
        ("line.refused", 10),
    ]


async def test_an_overflow_ends_the_capture_and_counts_what_was_lost(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"pH 3.")
    line.overflow(70)
    await bench.clock.advance(STEP_S)
    line.arrive(b"41\npH 3.42\n")
    await bench.clock.advance(STEP_S)
    before, after = bench.sink.captures
    assert before.refusals == [(b"pH 3.", PARTIAL)]
    assert after.data == b"41\npH 3.42\n"
    assert bench.sink.gaps[0].lost_bytes == bench.state().overflow_bytes == 70


async def test_what_waits_for_the_sink_and_what_found_no_room_is_told_meanwhile(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.hold()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    line.arrive(b"pH 3.42\n")
    line.overflow(70)
    assert (bench.state().waiting_bytes, bench.state().overflow_bytes) == (8, 70)
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    assert (bench.state().waiting_bytes, bench.state().overflow_bytes) == (0, 70)


async def test_a_line_can_be_added_and_changed_while_another_runs(bench: Bench) -> None:
    other = await bench.add("other")
    await bench.add("ph")
    await bench.supervisor.change_line(bench.settings("ph"), FakeLineDrivers(greeting=b"hello"))
    await bench.clock.advance(0)
    assert bench.transports["ph"].sent == [b"hello"]
    assert other.openings == 1
    assert bench.state("other").state is Condition.OPEN
    assert [capture.closing is None for capture in bench.sink.of("ph")] == [False, True]


async def test_a_stopped_line_can_be_started_again(bench: Bench) -> None:
    await bench.add()
    await bench.supervisor.stop_line("ph")
    await bench.supervisor.restart_line("ph")
    await bench.clock.advance(0)
    assert bench.state().state is Condition.OPEN


async def test_a_line_that_is_stopped_from_the_start_is_listed_and_not_opened(bench: Bench) -> None:
    bench.supervisor.add_line(bench.settings("ph"), FakeLineDrivers(), stopped="stopped by AB")
    await bench.clock.advance(60)
    assert (bench.state().state, bench.state().why) == (Condition.STOPPED, "stopped by AB")
    assert bench.transports["ph"].openings == 0
    await bench.supervisor.restart_line("ph")
    await bench.clock.advance(0)
    assert (bench.state().state, bench.state().why) == (Condition.OPEN, "")


async def test_a_line_can_be_changed_into_one_that_is_stopped_and_says_why(bench: Bench) -> None:
    await bench.add()
    await bench.supervisor.change_line(bench.settings("ph"), FakeLineDrivers(), stopped="in repair")
    await bench.supervisor.stop_all()
    assert (bench.state().state, bench.state().why) == (Condition.STOPPED, "in repair")
    assert bench.capture.closing is not None


async def test_a_removed_line_is_forgotten(bench: Bench) -> None:
    await bench.add()
    await bench.supervisor.remove_line("ph")
    assert bench.supervisor.states() == ()


async def test_two_lines_cannot_have_one_name(bench: Bench) -> None:
    await bench.add()
    with pytest.raises(LineNameError, match="there is a line 'ph' already"):
        bench.supervisor.add_line(bench.settings("ph"), FakeLineDrivers())


async def test_an_unknown_line_is_refused_with_the_known_ones(bench: Bench) -> None:
    await bench.add()
    with pytest.raises(LineNameError, match="no line 'redox'; known: ph"):
        await bench.supervisor.stop_line("redox")


async def test_every_change_of_state_is_told(bench: Bench) -> None:
    line = await bench.add()
    line.end()
    await bench.clock.advance(0.1)
    await bench.supervisor.stop_all()
    told = [Condition.OPENING, Condition.OPEN, Condition.WAITING, Condition.STOPPED]
    assert bench.conditions() == told


async def test_a_refused_frame_is_an_event_of_its_capture(bench: Bench) -> None:
    line = await bench.add()
    line.arrive(b"half")
    await bench.supervisor.stop_all()
    assert [type(event) for event in bench.capture.events] == [FrameRefused]
    assert line.refuse_send is None


async def test_a_port_lost_while_sending_is_opened_again(bench: Bench) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=b"\x06"))
    line.refuse_send = PortLostError("/dev/fake", "/dev/fake was lost while sending")
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(1)
    first, second = bench.sink.captures
    assert first.closing is not None
    assert (first.closing.ending, first.closing.why) == (Ending.LOST, "/dev/fake was lost while sending")
    assert second.closing is None
