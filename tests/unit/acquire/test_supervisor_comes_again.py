"""Lines whose other end holds what we did not keep: brokers and folders."""

from acquire.line_state import Condition
from acquire.sink import Ending
from tests.fakes.transport import FakeTransport
from tests.unit.acquire.conftest import Bench

STEP_S = 0.05  # [s] longer than chunks gather


async def _line_that_comes_again(bench: Bench, *, captures_follow: bool = False) -> FakeTransport:
    bench.prepare = lambda transport: _prepare(transport, captures_follow)
    return await bench.add()


def _prepare(transport: FakeTransport, captures_follow: bool) -> None:
    transport.comes_again, transport.captures_follow = True, captures_follow


async def test_a_piece_is_acknowledged_after_the_commit_and_not_before(bench: Bench) -> None:
    line = await _line_that_comes_again(bench)
    bench.sink.hold()
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert line.kept_bytes == 0
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    assert line.kept_bytes == 8


async def test_what_the_store_does_not_take_is_not_acknowledged_and_not_counted_as_lost(bench: Bench) -> None:
    line = await _line_that_comes_again(bench)
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert line.kept_bytes == 0
    assert bench.state().unkept_bytes == 0
    assert (bench.state().state, bench.state().why) == (Condition.WAITING, "the store took no more")


async def test_when_the_store_takes_things_again_the_line_is_opened_and_its_gap_lost_no_bytes(
    bench: Bench,
) -> None:
    line = await _line_that_comes_again(bench)
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = False
    await bench.clock.advance(5)
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    assert [capture.data for capture in bench.sink.captures] == [b"", b"pH 3.41\n"]
    assert [(gap.why, gap.lost_bytes) for gap in bench.sink.gaps] == [("the store took no more", None)]
    assert line.kept_bytes == 16


async def test_no_capture_begins_before_a_file_does(bench: Bench) -> None:
    await _line_that_comes_again(bench, captures_follow=True)
    await bench.clock.advance(10)
    assert bench.state().state is Condition.OPEN
    assert bench.sink.captures == []


async def test_each_file_is_a_capture_of_its_own_and_the_line_stays_open(bench: Bench) -> None:
    line = await _line_that_comes_again(bench, captures_follow=True)
    for name in ("a.csv", "b.csv"):
        line.begin(name)
        line.arrive(b"pH 3.41\n")
        line.close_capture()
        await bench.clock.advance(STEP_S)
    captures = [
        (one.opening.device, one.data, one.closing and one.closing.ending) for one in bench.sink.captures
    ]
    assert captures == [("a.csv", b"pH 3.41\n", Ending.COMPLETE), ("b.csv", b"pH 3.41\n", Ending.COMPLETE)]
    assert line.openings == 1


async def test_a_file_whose_end_the_store_did_not_take_is_closed_when_it_can_be(bench: Bench) -> None:
    line = await _line_that_comes_again(bench, captures_follow=True)
    line.begin("a.csv")
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(STEP_S)
    bench.sink.full = True
    line.close_capture()
    await bench.clock.advance(STEP_S)
    assert [capture.closing for capture in bench.sink.captures] == [None]
    bench.sink.full = False
    await bench.clock.advance(5)
    assert [one.closing and one.closing.ending for one in bench.sink.captures] == [Ending.COMPLETE]


async def test_a_gap_of_a_folder_ends_when_the_folder_is_back_and_not_with_the_next_file(
    bench: Bench,
) -> None:
    line = await _line_that_comes_again(bench, captures_follow=True)
    line.end(Ending.LOST, "the folder is gone")
    await bench.clock.advance(1)
    assert [gap.why for gap in bench.sink.gaps] == ["the folder is gone"]
    assert bench.sink.captures == []
