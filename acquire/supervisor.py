"""All lines of one daemon: each runs for itself, and can be added, changed and stopped while others run."""

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final, Protocol

import structlog

from acquire.backoff import Backoff
from acquire.certainty import Certainty
from acquire.clock import Clock, SystemClock, now, within
from acquire.config import FarSource, LineSettings
from acquire.doctor.evidence import Signals
from acquire.driver import DriverFactory
from acquire.errors import LineNameError
from acquire.events import Instant
from acquire.keeping import Keeper
from acquire.line import Line
from acquire.line_record import LineRecord, OnChange
from acquire.line_state import Condition, LineState
from acquire.lines.build import MakeTransport, lines_together
from acquire.lines.transport import Backlog
from acquire.sink import Sink
from acquire.turns import OnTheLoop, Turns

log = structlog.get_logger()

STOP_LIMIT_S: Final = 10.0  # [s] after this a line that does not end is cancelled


class Hears(Protocol):
    """What is run for one line."""

    @property
    def last_round_ns(self) -> int | None:
        """Monotonic time at which its reader thread last came round; None while there is none. [ns]"""

    @property
    def backlog(self) -> Backlog:
        """What was read and is not kept yet."""

    @property
    def unkept_since(self) -> Instant | None:
        """When the first of what came and is not known to be kept came; None if everything is."""

    def signals(self) -> Signals | None:
        """Return the control lines of its port, where it has any."""

    def stop(self) -> None:
        """Begin to end."""

    async def run(self) -> None:
        """Hear until the end."""


MakeFar = Callable[[FarSource, DriverFactory, LineRecord], Hears]
"""Makes what is run for a line of a far bench."""


@dataclass(frozen=True, slots=True)
class _Running:
    settings: LineSettings
    driver: DriverFactory
    line: Hears
    record: LineRecord
    task: asyncio.Task[None] | None
    """None of a line that is listed and was not started."""


class Supervisor:
    """Starts lines, keeps them apart, and stops them.

    Every method is to be called from the event loop in which the lines run.
    """

    def __init__(
        self,
        sink: Sink,
        clock: Clock | None = None,
        *,
        make_transport: MakeTransport | None = None,
        make_far: MakeFar | None = None,
        make_backoff: Callable[[], Backoff] = Backoff,
        make_turns: Callable[[], Turns] = OnTheLoop,
        on_change: OnChange = lambda _state: None,
    ) -> None:
        self._sink = sink
        self._clock = clock or SystemClock()
        self._make_transport = make_transport or lines_together(self._clock)
        self._make_far = make_far
        self._make_backoff = make_backoff
        self._make_turns = make_turns
        self._on_change = on_change
        self._lines: dict[str, _Running] = {}
        self._certainty = Certainty()

    def add_line(self, settings: LineSettings, driver: DriverFactory, *, stopped: str | None = None) -> None:
        """Start a line, or only list it if `stopped` says why. Raises `LineNameError` if there is one."""
        if settings.name in self._lines:
            text = f"there is a line {settings.name!r} already; change that one, or choose another name"
            raise LineNameError(text)
        self._lines[settings.name] = self._made(settings, driver, stopped)

    async def change_line(
        self, settings: LineSettings, driver: DriverFactory, *, stopped: str | None = None
    ) -> None:
        """Stop the line of that name and start it with other settings, unless `stopped` says why not.

        Raises
        ------
        LineNameError
            If there is no line of that name.
        """
        await self.stop_line(settings.name)
        self._lines[settings.name] = self._made(settings, driver, stopped)

    async def restart_line(self, name: str) -> None:
        """Stop a line and start it as it was. Raises `LineNameError`."""
        running = self._named(name)
        await self.change_line(running.settings, running.driver)

    async def stop_line(self, name: str, timeout_s: float = STOP_LIMIT_S) -> None:
        """Stop a line and keep what it had heard; it stays in the list. Raises `LineNameError`. [s]"""
        await self._stop((self._named(name),), timeout_s)

    async def remove_line(self, name: str) -> None:
        """Stop a line and forget it. Raises `LineNameError`."""
        await self.stop_line(name)
        self._lines.pop(name, None)

    async def stop_all(self, timeout_s: float = STOP_LIMIT_S) -> None:
        """Stop all lines at once and keep what they had heard. [s]"""
        await self._stop(tuple(self._lines.values()), timeout_s)

    def states(self) -> tuple[LineState, ...]:
        """Return how each line is doing, in the order in which they were added."""
        return tuple(_state(running) for running in self._lines.values())

    def signals(self, name: str) -> Signals | None:
        """Return the control lines of a line's port; from any thread. Raises `LineNameError`."""
        return self._named(name).line.signals()

    @property
    def thread_heartbeats(self) -> dict[str, int]:
        """When the reader thread of each open line last came round, by monotonic clock. [ns]"""
        rounds = ((name, running.line.last_round_ns) for name, running in self._lines.items())
        return {name: round_ns for name, round_ns in rounds if round_ns is not None}

    def kept_until_ns(self) -> int:
        """Return the moment before which nothing came that is not kept, by monotonic clock. [ns]

        Every call looks at the rounds of the readers anew; the more seldom, the earlier the moment.
        """
        lines = {name: running.line for name, running in self._lines.items()}
        return self._certainty.until_ns(lines, self._clock.monotonic_ns())

    def _named(self, name: str) -> _Running:
        if name not in self._lines:
            known = ", ".join(self._lines) or "none"
            raise LineNameError(f"there is no line {name!r}; known: {known}")
        return self._lines[name]

    def _made(self, settings: LineSettings, driver: DriverFactory, stopped: str | None) -> _Running:
        first = LineState(
            line=settings.name,
            instrument=settings.instrument,
            driver=driver.identity.name,
            state=Condition.OPENING if stopped is None else Condition.STOPPED,
            since=now(self._clock),
            why=stopped or "",
        )
        record = LineRecord(first, self._on_change)
        line = self._line(settings, driver, record)
        task = None
        if stopped is None:
            task = asyncio.create_task(line.run(), name=f"line {settings.name}")
        return _Running(settings, driver, line, record, task)

    def _line(self, settings: LineSettings, driver: DriverFactory, record: LineRecord) -> Hears:
        if isinstance(settings.source, FarSource):
            if self._make_far is None:
                raise TypeError(f"line {settings.name} is of a far bench, and nothing here collects those")
            return self._make_far(settings.source, driver, record)
        transport = self._make_transport(settings, driver, self._clock)
        keeper = Keeper(
            self._sink,
            self._clock,
            driver,
            record,
            comes_again=transport.comes_again,
            turns=self._make_turns(),
        )
        return Line(transport, keeper, record, self._clock, self._make_backoff())

    async def _stop(self, lines: Iterable[_Running], timeout_s: float) -> None:
        waiting = {each.task: each for each in lines if each.task is not None and not each.task.done()}
        for running in waiting.values():
            running.line.stop()
        if not waiting:
            return
        await within(self._clock, asyncio.wait(waiting), timeout_s)
        for task, running in waiting.items():
            if not task.done():
                log.error("line.abandoned", line=running.settings.name, waited_s=timeout_s)
                task.cancel()
        await asyncio.gather(*waiting, return_exceptions=True)
        self._abandon(running for task, running in waiting.items() if task.cancelled())

    def _abandon(self, lines: Iterable[_Running]) -> None:
        for running in lines:
            running.record.enter(Condition.FAILED, now(self._clock), "did not stop in time and was cut off")


def _state(running: _Running) -> LineState:
    """Return what a line knows of itself, with what its reader holds at this moment."""
    state, backlog = running.record.state, running.line.backlog
    overflow_bytes = state.overflow_bytes + backlog.overflow_bytes
    return replace(state, waiting_bytes=backlog.waiting_bytes, overflow_bytes=overflow_bytes)
