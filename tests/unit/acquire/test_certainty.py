"""Up to when all that arrived is known to be kept."""

from dataclasses import dataclass

from acquire.certainty import Certainty
from acquire.events import Instant
from tests.unit.acquire.conftest import Bench

STEP_S = 0.1


@dataclass
class Ear:
    """A line that says of itself what the test wants."""

    last_round_ns: int | None = None
    unkept_since: Instant | None = None


def test_without_lines_it_is_now() -> None:
    assert Certainty().until_ns({}, 100) == 100


def test_a_round_proves_only_once_it_has_ended() -> None:
    certainty, ear = Certainty(), Ear(last_round_ns=50)
    assert certainty.until_ns({"a": ear}, 60) == 50
    ear.last_round_ns = 70
    assert certainty.until_ns({"a": ear}, 80) == 50
    ear.last_round_ns = 90
    assert certainty.until_ns({"a": ear}, 95) == 70


def test_a_reader_that_hangs_moves_nothing() -> None:
    certainty, ear = Certainty(), Ear(last_round_ns=50)
    assert [certainty.until_ns({"a": ear}, at) for at in (60, 160, 260)] == [50, 50, 50]


def test_what_waits_to_be_kept_goes_before_everything() -> None:
    ears = {"a": Ear(last_round_ns=50), "b": Ear(unkept_since=Instant(0, 40)), "c": Ear()}
    assert Certainty().until_ns(ears, 60) == 40


def test_a_line_that_was_lost_is_forgotten() -> None:
    certainty, ear = Certainty(), Ear(last_round_ns=50)
    certainty.until_ns({"a": ear}, 60)
    ear.last_round_ns = None
    assert certainty.until_ns({"a": ear}, 200) == 200


async def test_bytes_that_are_being_kept_hold_the_moment_back(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.hold()
    line.arrive(b"pH 3.41\n")
    arrived_ns = bench.clock.monotonic_ns()
    await bench.clock.advance(STEP_S)
    assert bench.supervisor.kept_until_ns() == arrived_ns
    bench.sink.release()
    await bench.clock.advance(STEP_S)
    assert bench.supervisor.kept_until_ns() == bench.clock.monotonic_ns()


async def test_bytes_that_the_sink_did_not_take_hold_it_back_until_their_gap_is_kept(bench: Bench) -> None:
    line = await bench.add()
    bench.sink.full = True
    line.arrive(b"pH 3.41\n")
    lost_ns = bench.clock.monotonic_ns()
    await bench.clock.advance(STEP_S)
    assert bench.supervisor.kept_until_ns() == lost_ns
    bench.sink.full = False
    line.arrive(b"pH 3.42\n")
    await bench.clock.advance(2.0)
    assert bench.sink.gaps[0].begin.monotonic_ns == lost_ns
    assert bench.supervisor.kept_until_ns() == bench.clock.monotonic_ns()
