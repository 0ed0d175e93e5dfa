"""Checks on a titration while it runs: a step function over the readings of a growing curve."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from evaluate.checks import finite, in_range, not_negative, positive
from evaluate.curve_noise import LEAST_READINGS, noise_with_rhythm
from evaluate.errors import EvaluateError


class LiveWarning(StrEnum):
    """What looks wrong with a running titration."""

    START_OUTSIDE = "the curve starts outside its window"
    NO_ANSWER = "titrant was dosed and the signal did not answer"
    FLAT = "the signal does not move at all"
    NOISE_BURST = "the signal is noisy"
    TOO_QUIET = "the noise is lower than a stirred cell shows"
    OVERSHOOT = "the end value was passed by too much"
    TIME_LIMIT = "the run takes too long"
    RUN_OUT = "the burette is about to run out"
    NO_SIGNAL = "readings come without a signal"


class LiveReading(NamedTuple):
    """One reading of a running titration."""

    time_s: float
    volume_ml: float
    signal: float
    """nan where the instrument gave none. [pH, mV or µA]"""


@dataclass(frozen=True, slots=True)
class LiveLimits:
    """What a running titration must keep to; a check is off until its limit is given."""

    start_low: float = -math.inf
    start_high: float = math.inf
    answer_dose_ml: float = math.inf
    """Titrant within which the signal must move by `least_answer`. [mL]"""
    least_answer: float = 0.0
    flat_s: float = math.inf
    """Time within which the signal must move by more than `flat_span`. [s]"""
    flat_span: float = 0.0
    most_noise: float = math.inf
    """Deviation of one reading from which the signal is noisy. [unit of the signal]"""
    least_noise: float = 0.0
    """Deviation of one reading below which the stirrer may stand still. [unit of the signal]"""
    noise_readings: int = 24
    end_value: float = math.nan
    """Value at which dosing should stop. [unit of the signal]"""
    most_overshoot: float = math.inf
    rising: bool = True
    """Whether the signal rises towards the end value."""
    longest_s: float = math.inf
    capacity_ml: float = math.inf
    reserve_ml: float = 0.0
    """What is left in the burette when to warn. [mL]"""
    missing_in_a_row: int = 3

    def __post_init__(self) -> None:
        for name in ("answer_dose_ml", "flat_s", "most_noise", "longest_s", "capacity_ml"):
            _positive_or_off(name, getattr(self, name))
        for name in ("least_answer", "flat_span", "least_noise", "reserve_ml"):
            not_negative(name, getattr(self, name))
        if not self.start_low < self.start_high:
            raise EvaluateError(f"the start window {self.start_low:g} to {self.start_high:g} is empty")
        _positive_or_off("most_overshoot", self.most_overshoot)
        in_range("noise_readings", self.noise_readings, LEAST_READINGS, math.inf)
        in_range("missing_in_a_row", self.missing_in_a_row, 1, math.inf)


class LiveState(NamedTuple):
    """What a run has shown so far; begin with an empty one."""

    first: LiveReading | None = None
    start: LiveReading | None = None
    """The first reading with a signal."""
    latest: LiveReading | None = None
    answered: LiveReading | None = None
    """The last reading at which the signal had answered to titrant."""
    moved: LiveReading | None = None
    """The last reading at which the signal had moved at all."""
    recent: tuple[LiveReading, ...] = ()
    missing: int = 0
    """Readings without a signal, in a row up to now."""
    active: frozenset[LiveWarning] = frozenset()


class LiveFinding(NamedTuple):
    """A warning at the reading with which it began."""

    warning: LiveWarning
    words: str
    time_s: float
    volume_ml: float


def watch(
    state: LiveState, limits: LiveLimits, reading: LiveReading
) -> tuple[LiveState, tuple[LiveFinding, ...]]:
    """Take one reading of a running titration and return what begins to look wrong with it.

    Parameters
    ----------
    state : LiveState
        What the run has shown so far.
    limits : LiveLimits
        What it must keep to.
    reading : LiveReading
        Time [s], volume dispensed [mL] and signal; a signal of nan counts as missing.

    Returns
    -------
    tuple of LiveState and tuple of LiveFinding
        The state to pass in next, whose `active` says what holds now, and the warnings that begin with this
        reading. A warning that lasts is told once; one that ends and comes back is told again.

    Raises
    ------
    OutOfRangeError
        If time or volume is not finite, the volume negative or the signal infinite.
    EvaluateError
        If the time goes back.

    Notes
    -----
    Memory and work are bounded by `noise_readings`. A dead-stop run is flat until its end: leave
    `answer_dose_ml` and `flat_s` off there.

    References
    ----------
    .. [1] Checks of the bench, as a person at the burette makes them. Status: common practice, no source.
    """
    _check(state, reading)
    state = _taken(state, limits, reading)
    told = {warning: words for warning, check in _CHECKS.items() if (words := check(state, limits, reading))}
    found = tuple(
        LiveFinding(warning, words, reading.time_s, reading.volume_ml)
        for warning, words in told.items()
        if warning not in state.active
    )
    return state._replace(active=frozenset(told)), found


def _positive_or_off(name: str, value: float) -> None:
    if value != math.inf:
        positive(name, value)


def _check(state: LiveState, reading: LiveReading) -> None:
    finite("time", reading.time_s)
    not_negative("volume", reading.volume_ml, "mL")
    if math.isinf(reading.signal):
        finite("signal", reading.signal)
    if state.latest is not None and reading.time_s < state.latest.time_s:
        raise EvaluateError(f"time goes back from {state.latest.time_s:g} to {reading.time_s:g} s")


def _taken(state: LiveState, limits: LiveLimits, reading: LiveReading) -> LiveState:
    """Return the state with the reading in it."""
    first = state.first or reading
    if math.isnan(reading.signal):
        return state._replace(first=first, latest=reading, missing=state.missing + 1)
    answered = _kept(state.answered, reading, limits.least_answer, strictly=False)
    moved = _kept(state.moved, reading, limits.flat_span, strictly=True)
    is_later = state.latest is None or reading.time_s > state.latest.time_s
    recent = (*state.recent, reading)[-limits.noise_readings :] if is_later else state.recent
    return LiveState(first, state.start or reading, reading, answered, moved, recent, 0, state.active)


def _kept(earlier: LiveReading | None, now: LiveReading, span: float, *, strictly: bool) -> LiveReading:
    """Return the earlier reading while the signal stays near it, else this one."""
    if earlier is None:
        return now
    away = abs(now.signal - earlier.signal)
    return now if away > span or (away == span and not strictly) else earlier


def _start_outside(state: LiveState, limits: LiveLimits, _: LiveReading) -> str:
    if state.start is None or limits.start_low <= state.start.signal <= limits.start_high:
        return ""
    return f"it starts at {state.start.signal:g}, {limits.start_low:g} to {limits.start_high:g} is expected"


def _no_answer(state: LiveState, limits: LiveLimits, reading: LiveReading) -> str:
    dosed = reading.volume_ml - state.answered.volume_ml if state.answered else 0.0
    if dosed < limits.answer_dose_ml:
        return ""
    return f"{dosed:g} mL were dosed since the signal last moved by {limits.least_answer:g}; look for air"


def _flat(state: LiveState, limits: LiveLimits, reading: LiveReading) -> str:
    still_s = reading.time_s - state.moved.time_s if state.moved else 0.0
    if still_s < limits.flat_s:
        return ""
    return f"for {still_s:g} s the signal has not moved by more than {limits.flat_span:g}; look at the probe"


def _noise_burst(state: LiveState, limits: LiveLimits, _: LiveReading) -> str:
    if math.isinf(limits.most_noise) or len(state.recent) < limits.noise_readings:
        return ""
    noise = noise_with_rhythm([r.time_s for r in state.recent], [r.signal for r in state.recent])
    if noise.level <= limits.most_noise:
        return ""
    rhythm = f" with a period of {noise.period_s:g} s" if noise.period_s else ""
    return f"the noise is {noise.level:g}{rhythm}, {limits.most_noise:g} is allowed; look at the stir bar"


def _too_quiet(state: LiveState, limits: LiveLimits, _: LiveReading) -> str:
    if limits.least_noise == 0 or len(state.recent) < limits.noise_readings:
        return ""
    noise = noise_with_rhythm([r.time_s for r in state.recent], [r.signal for r in state.recent])
    if noise.level >= limits.least_noise:
        return ""
    return f"the noise is {noise.level:g}, below {limits.least_noise:g}; see whether the stirrer turns"


def _overshoot(_: LiveState, limits: LiveLimits, reading: LiveReading) -> str:
    beyond = (reading.signal - limits.end_value) * (1 if limits.rising else -1)
    if not beyond > limits.most_overshoot:
        return ""
    return f"the signal is {beyond:g} beyond {limits.end_value:g}, {limits.most_overshoot:g} is allowed"


def _time_limit(state: LiveState, limits: LiveLimits, reading: LiveReading) -> str:
    run_s = reading.time_s - state.first.time_s if state.first else 0.0
    return f"it runs for {run_s:g} s, {limits.longest_s:g} s is allowed" if run_s > limits.longest_s else ""


def _run_out(_: LiveState, limits: LiveLimits, reading: LiveReading) -> str:
    left_ml = limits.capacity_ml - reading.volume_ml
    if left_ml > limits.reserve_ml:
        return ""
    return f"{left_ml:g} mL are left of {limits.capacity_ml:g}; past it the result is above range, no number"


def _no_signal(state: LiveState, limits: LiveLimits, _: LiveReading) -> str:
    if state.missing < limits.missing_in_a_row:
        return ""
    return f"{state.missing} readings in a row came without a signal; look at the plug"


_CHECKS: dict[LiveWarning, Callable[[LiveState, LiveLimits, LiveReading], str]] = {
    LiveWarning.START_OUTSIDE: _start_outside,
    LiveWarning.NO_ANSWER: _no_answer,
    LiveWarning.FLAT: _flat,
    LiveWarning.NOISE_BURST: _noise_burst,
    LiveWarning.TOO_QUIET: _too_quiet,
    LiveWarning.OVERSHOOT: _overshoot,
    LiveWarning.TIME_LIMIT: _time_limit,
    LiveWarning.RUN_OUT: _run_out,
    LiveWarning.NO_SIGNAL: _no_signal,
}
