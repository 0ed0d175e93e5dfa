"""The doctor between the lines and the sink of a supervisor."""

import pytest

from acquire.doctor.ward import Ward
from acquire.events import Instant
from acquire.supervisor import Supervisor
from tests.fakes.line_driver import FakeLineDrivers
from tests.unit.acquire.conftest import Bench


@pytest.fixture
def ward(bench: Bench) -> Ward:
    ward = Ward()
    bench.supervisor = Supervisor(
        ward.before(bench.sink), bench.clock, make_transport=bench._make, on_change=ward.changed
    )
    return ward


async def test_what_is_heard_and_sent_is_seen_and_handed_on(bench: Bench, ward: Ward) -> None:
    line = await bench.add(driver=FakeLineDrivers(acknowledge=b"\x06"))
    line.arrive(b"pH 3.41\n")
    await bench.clock.advance(20)
    evidence = ward.examine("ph", _now(bench)).evidence
    assert (evidence.sample, evidence.sent_bytes, evidence.frames_read) == (b"pH 3.41\n", 1, 1)
    assert evidence.data_bits == 8
    assert evidence.listened_s == pytest.approx(20)
    assert bench.capture.data == b"pH 3.41\n"


async def test_a_silent_line_gets_its_hint_and_a_lost_one_none(bench: Bench, ward: Ward) -> None:
    line = await bench.add()
    await bench.clock.advance(20)
    assert [hint.code for hint in ward.examine("ph", _now(bench)).hints] == ["only_when_asked"]
    line.absent(50)
    line.end()
    await bench.clock.advance(20)
    assert ward.examine("ph", _now(bench)).hints == ()


async def test_a_port_that_is_lost_to_others_again_and_again_has_two_readers(
    bench: Bench, ward: Ward
) -> None:
    line = await bench.add()
    for _ in range(2):
        line.end(why="device disconnected or multiple access on port?")
        await bench.clock.advance(2)
    assert "two_readers" in [hint.code for hint in ward.examine("ph", _now(bench)).hints]


def _now(bench: Bench) -> Instant:
    return Instant(bench.clock.utc_us(), bench.clock.monotonic_ns())
