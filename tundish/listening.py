"""Hear one line without a store: every piece is shown, what the driver makes of it, and what seems wrong.

The line is heard just as the daemon hears it, with two exceptions: nothing is sent, since what a driver
acknowledges the instrument forgets; and a broker is listened to under another name, so that what it holds for
the daemon stays there.
"""

import asyncio
from dataclasses import replace

from acquire.clock import SystemClock, now
from acquire.config import FarSource, LineSettings, MqttSource
from acquire.doctor.evidence import Evidence, Signals
from acquire.doctor.hints import Hint
from acquire.doctor.ward import Examination, Ward
from acquire.line_state import Condition, LineState
from acquire.lines.build import transport_for
from acquire.supervisor import Supervisor
from tundish.errors import LineNotHeardError
from tundish.mute import MuteDrivers
from tundish.screen import Say, Screen
from tundish.wiring import LinePlan

ROUND_S = 0.5
"""How often control lines and hints are looked at. [s]"""

ENDED = (Condition.STOPPED, Condition.FAILED)


async def listen(plan: LinePlan, for_s: float | None, say: Say) -> None:
    """Show what comes until the line ends, or for a time. [s]

    Raises
    ------
    LineNotHeardError
        If the line cannot be opened at the beginning; one that is lost later is tried again.
    """
    if isinstance(plan.settings.source, FarSource):
        raise LineNotHeardError(f"line {plan.settings.name!r} is of a far bench; listen to it there")
    if plan.factory().to_send():
        say("this driver asks its instrument; nothing is asked here, so only what comes by itself is shown")
    listening = Listening(plan, say)
    try:
        async with asyncio.timeout(for_s):
            await listening.until_it_ends()
    except TimeoutError:
        say(f"{for_s:g} seconds are over")
    finally:
        await listening.stop()
    listening.sum_up()


class Listening:
    """One line, heard for whoever looks on."""

    def __init__(self, plan: LinePlan, say: Say) -> None:
        self._say = say
        self._name = plan.settings.name
        self._clock = SystemClock()
        self._ward = Ward()
        self._changed = asyncio.Event()
        self._was_open = False
        self._why = ""
        self._signals: Signals | None = None
        self._given: set[str] = set()
        self._supervisor = Supervisor(
            self._ward.before(Screen(say)),
            self._clock,
            make_transport=transport_for,
            on_change=self._on_change,
        )
        self._supervisor.add_line(aside(plan.settings), MuteDrivers(plan.factory))

    async def until_it_ends(self) -> None:
        """Hear, and say what changes."""
        while True:
            state = self._supervisor.states()[0]
            self._tell_state(state)
            if state.state in ENDED:
                return
            self._tell_hints(await self._examine())
            await self._a_round()

    async def stop(self) -> None:
        """Let go of the line."""
        await self._supervisor.stop_all()

    def sum_up(self) -> None:
        """Say what was heard in all."""
        self._signals = None
        examination = self._ward.examine(self._name, now(self._clock))
        self._say(totals(examination.evidence))
        self._tell_hints(examination)

    async def _examine(self) -> Examination:
        self._show_signals(await asyncio.to_thread(self._supervisor.signals, self._name))
        return self._ward.examine(self._name, now(self._clock), self._signals)

    async def _a_round(self) -> None:
        try:
            async with asyncio.timeout(ROUND_S):
                await self._changed.wait()
        except TimeoutError:
            pass
        self._changed.clear()

    def _on_change(self, state: LineState) -> None:
        self._ward.changed(state)
        self._was_open = self._was_open or state.state is Condition.OPEN
        self._changed.set()

    def _tell_state(self, state: LineState) -> None:
        if not self._was_open and state.state in (Condition.WAITING, Condition.FAILED):
            raise LineNotHeardError(state.why)
        if state.why != self._why:
            self._why = state.why
            if state.why:
                self._say(f"{state.state}: {state.why}")

    def _show_signals(self, signals: Signals | None) -> None:
        if signals is not None and signals != self._signals:
            self._say(f"control lines: {signals}")
        self._signals = signals

    def _tell_hints(self, examination: Examination) -> None:
        for hint in examination.hints:
            if hint.code not in self._given:
                self._given.add(hint.code)
                self._say(in_words(hint))


def aside(settings: LineSettings) -> LineSettings:
    """Return the settings of a line that takes nothing away from the daemon."""
    source = settings.source
    if not isinstance(source, MqttSource):
        return settings
    return replace(
        settings, source=replace(source, client_id=f"{source.client_id}-listen", session_expiry_s=0)
    )


def in_words(hint: Hint) -> str:
    """Write a hint for a person."""
    return f"HINT  {hint.words}\n      seen: {hint.because}\n      do:   {hint.what_to_do}"


def totals(evidence: Evidence) -> str:
    """Write the counts of what was heard."""
    refused = ", ".join(f"{count} {reason}" for reason, count in sorted(evidence.refusals.items()))
    return (
        f"{evidence.heard_bytes} bytes heard, {evidence.frames_read} frames read, "
        f"{evidence.frames_refused} refused{f' ({refused})' if refused else ''}"
    )
