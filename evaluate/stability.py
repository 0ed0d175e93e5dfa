"""When a streaming value has settled: a step function over its readings."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from evaluate.checks import finite, in_range, not_negative, positive
from evaluate.curve_line import fit_line
from evaluate.errors import EvaluateError


class Settled(StrEnum):
    """How far a value has come."""

    WAITING = "waiting"
    STABLE = "stable"
    TIMED_OUT = "timed out"
    """The longest wait ran out before the value was stable; it may be used only with this mark."""


@dataclass(frozen=True, slots=True)
class StabilityRule:
    """What counts as settled. Usual for pH: 0.01 pH or 0.5 to 1 mV in 15 to 30 s (recalled, a setting)."""

    span: float
    """Greatest less least value in the window, at most. [unit of the value]"""
    window_s: float
    """Time over which that must hold. [s]"""
    longest_wait_s: float
    """Time after which waiting ends. [s]"""
    least_readings: int = 3
    """Fewest readings in the window. [1]"""
    longest_gap_s: float = math.inf
    """A longer silence starts the window anew. [s]"""

    def __post_init__(self) -> None:
        not_negative("span", self.span)
        positive("window", self.window_s, "s")
        in_range("longest wait", self.longest_wait_s, self.window_s, math.inf, "s")
        in_range("least readings", self.least_readings, 2, math.inf)
        if self.longest_gap_s != math.inf:
            positive("longest gap", self.longest_gap_s, "s")


class StabilityState(NamedTuple):
    """What one value has shown so far; begin with an empty one."""

    started_s: float | None = None
    latest_s: float | None = None
    window: tuple[tuple[float, float], ...] = ()
    """Readings that still count: (time [s], value)."""


class Stability(NamedTuple):
    """What is to be said of a value after a reading."""

    verdict: Settled
    value: float
    """Mean of the window; nan while there is no reading. [unit of the value]"""
    span: float
    """Greatest less least value in the window. [unit of the value]"""
    drift_per_s: float
    """Slope of the window; nan below two readings. [unit of the value per s]"""
    waited_s: float
    """Time since the first reading. [s]"""


def settle(
    state: StabilityState, rule: StabilityRule, time_s: float, value: float
) -> tuple[StabilityState, Stability]:
    """Take one reading of a streaming value and say whether it has settled.

    Parameters
    ----------
    state : StabilityState
        What the value has shown so far.
    rule : StabilityRule
        What counts as settled.
    time_s : float
        Time of the reading on a clock that never goes back. [s]
    value : float
        The reading; nan where the instrument gave none, which starts the window anew. [any unit]

    Returns
    -------
    tuple of StabilityState and Stability
        The state to pass in next, and the verdict. STABLE may turn to WAITING again if the value moves on.

    Raises
    ------
    OutOfRangeError
        If the time is not finite or the value infinite.
    EvaluateError
        If the time goes back.

    Notes
    -----
    Stable: the window reaches back `window_s`, holds enough readings and spans no more than `span`. A drift
    slow enough to pass is reported beside the value. Memory grows with the readings of a window alone.

    References
    ----------
    .. [1] No standard with a readable number was found. Status: common practice, no source.
    """
    time_s = finite("time", time_s)
    if state.latest_s is not None and time_s < state.latest_s:
        raise EvaluateError(f"time goes back from {state.latest_s:g} to {time_s:g} s; use a steady clock")
    started_s = time_s if state.started_s is None else state.started_s
    reading = () if math.isnan(value) else ((time_s, finite("value", value)),)
    window = (*_window(state, rule, time_s), *reading) if reading else ()
    state = state._replace(started_s=started_s, latest_s=time_s, window=window)
    return state, _judged(window, rule, time_s - started_s)


def _window(state: StabilityState, rule: StabilityRule, time_s: float) -> tuple[tuple[float, float], ...]:
    """Return the earlier readings that count: the last at or before the window's edge, and all after."""
    if state.latest_s is None or time_s - state.latest_s > rule.longest_gap_s:
        return ()
    edge_s = time_s - rule.window_s
    older = sum(when <= edge_s for when, _ in state.window)
    return state.window[max(older - 1, 0) :]


def _judged(window: tuple[tuple[float, float], ...], rule: StabilityRule, waited_s: float) -> Stability:
    times, values = [when for when, _ in window], [value for _, value in window]
    span = max(values) - min(values) if values else math.nan
    mean = math.fsum(values) / len(values) if values else math.nan
    drift = fit_line(times, values).slope if len(set(times)) > 1 else math.nan
    full = len(window) >= rule.least_readings and times[-1] - times[0] >= rule.window_s
    if full and span <= rule.span:
        verdict = Settled.STABLE
    else:
        verdict = Settled.TIMED_OUT if waited_s >= rule.longest_wait_s else Settled.WAITING
    return Stability(verdict, mean, span, drift, waited_s)
