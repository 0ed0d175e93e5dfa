"""What the tests of hearing share."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field

import pytest

from acquire.backoff import Backoff
from acquire.clock import Clock
from acquire.config import DevicePath, LineSettings, SerialSource
from acquire.driver import DriverFactory
from acquire.line_state import Condition, LineState
from acquire.supervisor import Supervisor
from tests.fakes.clock import FakeClock
from tests.fakes.line_driver import FakeLineDrivers
from tests.fakes.sink import FakeCapture, FakeSink
from tests.fakes.transport import FakeTransport


@dataclass
class Bench:
    """A supervisor of lines without wires, whose time the test moves."""

    clock: FakeClock = field(default_factory=FakeClock)
    sink: FakeSink = field(default_factory=FakeSink)
    changes: list[LineState] = field(default_factory=list)
    transports: dict[str, FakeTransport] = field(default_factory=dict)
    absent_at_first: int = 0
    prepare: Callable[[FakeTransport], None] = lambda _transport: None

    def __post_init__(self) -> None:
        self.supervisor = Supervisor(
            self.sink,
            self.clock,
            make_transport=self._make,
            make_backoff=lambda: Backoff(chance=lambda: 1.0),
            on_change=self.changes.append,
        )

    async def add(self, name: str = "ph", driver: DriverFactory | None = None) -> FakeTransport:
        """Start a line and let it come to rest."""
        self.supervisor.add_line(self.settings(name), driver or FakeLineDrivers())
        await self.clock.advance(0)
        return self.transports[name]

    def spawn(self, work: Coroutine[object, object, None]) -> asyncio.Task[None]:
        return asyncio.create_task(work)

    def settings(self, name: str) -> LineSettings:
        return LineSettings(name, f"{name}-meter", SerialSource(DevicePath(f"/dev/{name}")))

    def state(self, name: str = "ph") -> LineState:
        return next(state for state in self.supervisor.states() if state.line == name)

    def conditions(self, name: str = "ph") -> list[Condition]:
        return [state.state for state in self.changes if state.line == name]

    @property
    def capture(self) -> FakeCapture:
        """The newest one."""
        return self.sink.captures[-1]

    def _make(self, settings: LineSettings, _driver: DriverFactory, clock: Clock) -> FakeTransport:
        source = settings.source
        assert isinstance(source, SerialSource)
        assert isinstance(source.port, DevicePath)
        transport = FakeTransport(clock)
        transport.absent(self.absent_at_first)
        self.prepare(transport)
        self.transports[source.port.path.removeprefix("/dev/")] = transport
        return transport


@pytest.fixture
def bench() -> Bench:
    """Return a bench without lines."""
    return Bench()
