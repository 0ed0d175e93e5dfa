"""The thread that turns the lines, stepped by hand."""

from random import Random

import pytest

from simulators.channel import Channel
from simulators.clock import ManualClock
from simulators.faults import FaultBox
from simulators.loop import Loop
from simulators.numbered_lines import NumberedLines, frame
from tests.fakes.port import MemoryPort
from tests.fakes.speaker import Speaker
from tests.fakes.wirelog import MemoryWireLog


class LoopRig:
    """Two talking lines and a loop."""

    def __init__(self) -> None:
        self.clock = ManualClock()
        self.said: list[str] = []
        self.ports = {name: MemoryPort() for name in ("talk-1", "talk-2")}
        channels = [
            Channel(Speaker(name), port, self.clock, MemoryWireLog(), FaultBox([], Random(1)))
            for name, port in self.ports.items()
        ]
        self.loop = Loop(channels, self.clock, self.said.append)

    def run(self, wall_s: float) -> None:
        for _ in range(round(wall_s * 10)):
            self.loop.turn()
            self.clock.advance(0.1)
        self.loop.turn()


@pytest.fixture
def rig() -> LoopRig:
    return LoopRig()


def test_every_line_is_served(rig: LoopRig) -> None:
    rig.run(2.0)
    rig.loop.close()
    assert [bytes(port.got) for port in rig.ports.values()] == [b"#1\n#2\n"] * 2
    assert all(port.is_closed for port in rig.ports.values())


def test_a_word_of_control_strikes_one_line_only(rig: LoopRig) -> None:
    rig.run(0.5)
    rig.loop.tell("fault talk-2 half_line")
    rig.run(1.0)
    rig.loop.close()
    assert (rig.ports["talk-1"].got, rig.ports["talk-2"].got) == (b"#1\n", b"#")


def test_a_button_can_be_pressed_from_outside(rig: LoopRig) -> None:
    rig.run(0.5)
    rig.loop.tell("press talk-1 again")
    rig.run(0.1)
    rig.loop.close()
    assert rig.ports["talk-1"].got == b"again\n"


@pytest.mark.parametrize(
    "words",
    ["dance", "fault talk-9 garbage", "fault talk-1 gremlin", "fault talk-1 garbage x", "press talk-1 z"],
)
def test_control_that_makes_no_sense_is_answered_and_changes_nothing(rig: LoopRig, words: str) -> None:
    rig.loop.tell(words)
    rig.run(1.0)
    rig.loop.close()
    assert len(rig.said) == 1
    assert rig.said[0].startswith("not done: ")
    assert rig.ports["talk-1"].got == b"#1\n"


def test_quit_ends_the_loop_and_removes_the_ports(rig: LoopRig) -> None:
    rig.loop.tell("quit")
    rig.loop.run()
    assert rig.loop.stopped
    assert all(port.is_closed for port in rig.ports.values())


def test_a_line_that_has_said_all_is_announced_once() -> None:
    clock, port, said = ManualClock(), MemoryPort(), list[str]()
    lines = NumberedLines("line-000", 0.0, frames=200)
    loop = Loop([Channel(lines, port, clock, MemoryWireLog(), FaultBox([], Random(1)))], clock, said.append)
    for _ in range(20):
        loop.turn()
        clock.advance(0.1)
    loop.close()
    assert port.got.count(b"\n") == 200
    assert said == ["done"]


def test_a_numbered_frame_looks_as_it_is_documented() -> None:
    assert frame(42, 29.6128) == b"N|00000042|29.613|mg/L\r\n"
