"""The whole way from a real pseudo-terminal to the sink, cable faults and all."""

import gc
import threading
from collections.abc import AsyncIterator
from pathlib import Path

import psutil
import pytest
import pytest_asyncio

from acquire.backoff import Backoff
from acquire.config import CaptureFileSource, DevicePath, LineSettings, PortUrl, SerialSource
from acquire.line_state import Condition, LineState
from acquire.reasons import PARTIAL
from acquire.sink import Ending
from acquire.supervisor import Supervisor
from tests.fakes.line_driver import FakeLineDrivers
from tests.fakes.sink import FakeSink
from tests.fakes.terminal import PluggedTerminal

pytestmark = pytest.mark.needs("pseudo-terminals")
CYCLES = 200


class Wired:
    """A supervisor on the system's clock that tries a lost port again after a few milliseconds."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sink = FakeSink()
        self.supervisor = Supervisor(
            self.sink,
            make_backoff=lambda: Backoff(first_s=0.002, cap_s=0.01),
            on_change=self._note,
        )
        self._states: dict[str, LineState] = {}

    def add(self, name: str) -> PluggedTerminal:
        terminal = PluggedTerminal(self.folder / name)
        source = SerialSource(DevicePath(str(terminal.path)))
        self.supervisor.add_line(LineSettings(name, name, source), FakeLineDrivers())
        return terminal

    async def until(self, name: str, condition: Condition) -> None:
        await self.sink.until(lambda: name in self._states and self._states[name].state is condition)

    async def until_open_with_capture(self, name: str, count: int) -> None:
        await self.sink.until(lambda: len(self.sink.of(name)) == count)

    def _note(self, state: LineState) -> None:
        self._states[state.line] = state
        self.sink.changed()


@pytest_asyncio.fixture
async def wired(tmp_path: Path) -> AsyncIterator[Wired]:
    wired = Wired(tmp_path)
    yield wired
    await wired.supervisor.stop_all()


async def test_bytes_on_a_wire_reach_the_sink_whole(wired: Wired) -> None:
    terminal = wired.add("ph")
    terminal.plug()
    await wired.until_open_with_capture("ph", 1)
    for number in range(50):
        terminal.write(f"pH 3.{number:02}\n".encode())
    sent = b"".join(f"pH 3.{number:02}\n".encode() for number in range(50))
    [capture] = wired.sink.of("ph")
    await wired.sink.until(lambda: capture.data == sent)
    assert len(capture.events) == 50
    terminal.unplug()


async def test_two_hundred_unplugs_leave_no_thread_and_no_descriptor_and_lose_no_line(wired: Wired) -> None:
    terminal = wired.add("ph")
    await wired.until("ph", Condition.WAITING)
    gc.collect()
    descriptors = psutil.Process().num_fds()
    for cycle in range(CYCLES):
        terminal.plug()
        await wired.until_open_with_capture("ph", cycle + 1)
        terminal.write(b"pH 3.41\n")
        await wired.sink.until(lambda: wired.sink.of("ph")[-1].data == b"pH 3.41\n")
        terminal.unplug()
        await wired.sink.until(lambda: wired.sink.of("ph")[-1].closing is not None)
    await wired.supervisor.stop_all()
    assert not [thread.name for thread in threading.enumerate() if thread.name.startswith("line ")]
    assert psutil.Process().num_fds() == descriptors
    assert len(wired.sink.gaps) == CYCLES + 1


async def test_a_half_line_at_an_unplug_is_refused_as_partial(wired: Wired) -> None:
    terminal = wired.add("ph")
    terminal.plug()
    await wired.until_open_with_capture("ph", 1)
    [capture] = wired.sink.of("ph")
    terminal.write(b"pH 3.")
    await wired.sink.until(lambda: capture.data == b"pH 3.")
    terminal.unplug()
    await wired.sink.until(lambda: capture.closing is not None)
    assert capture.refusals == [(b"pH 3.", PARTIAL)]


async def test_pulling_one_cable_leaves_the_other_line_alone(wired: Wired) -> None:
    pulled, other = wired.add("pulled"), wired.add("other")
    pulled.plug()
    other.plug()
    await wired.until("pulled", Condition.OPEN)
    await wired.until_open_with_capture("other", 1)
    pulled.unplug()
    await wired.until("pulled", Condition.WAITING)
    other.write(b"pH 3.41\n")
    await wired.sink.until(lambda: wired.sink.of("other")[0].data == b"pH 3.41\n")
    assert len(wired.sink.of("other")) == 1
    other.unplug()


async def test_open_readers_show_that_they_come_round(wired: Wired) -> None:
    terminal = wired.add("ph")
    terminal.plug()
    await wired.until_open_with_capture("ph", 1)
    assert list(wired.supervisor.thread_heartbeats) == ["ph"]
    await wired.supervisor.stop_all()
    assert wired.supervisor.thread_heartbeats == {}
    terminal.unplug()


async def test_a_conversation_by_url_is_kept_on_both_sides(wired: Wired) -> None:
    source = SerialSource(PortUrl("loop://"))  # brings back what we send
    wired.supervisor.add_line(LineSettings("echo", "echo", source), FakeLineDrivers(greeting=b"?\n"))
    await wired.until_open_with_capture("echo", 1)
    [capture] = wired.sink.of("echo")
    await wired.sink.until(lambda: capture.data == b"?\n")
    assert capture.sent == b"?\n"


async def test_a_capture_file_is_heard_once_to_its_end(wired: Wired, tmp_path: Path) -> None:
    path = tmp_path / "bench.bin"
    path.write_bytes(b"pH 3.41\n" * 20_000)
    settings = LineSettings("file", "file", CaptureFileSource(path))
    wired.supervisor.add_line(settings, FakeLineDrivers(acknowledge=b"\x06"))
    await wired.until("file", Condition.STOPPED)
    [capture] = wired.sink.of("file")
    assert capture.data == path.read_bytes()
    assert len(capture.events) == 20_000
    assert capture.sent == b""
    assert capture.closing is not None
    assert capture.closing.ending is Ending.COMPLETE
