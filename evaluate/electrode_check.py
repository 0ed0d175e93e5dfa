"""Whether an electrode may be used: limits for its calibration, an independent buffer, its response time."""

from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from evaluate.checks import enough, finite, positive
from evaluate.electrode import BufferReading, Electrode, ph_from_mv
from evaluate.errors import ContradictionError, EvaluateError, NotPredictableError
from evaluate.statistics import mean

LEAST_READINGS: Final = 6  # [1]; three that move and three that have settled
FINAL_READINGS: Final = 3  # [1]; their mean stands for the final value


class Acceptance(StrEnum):
    """What is to become of a calibration."""

    ACCEPT = "accept"
    WARN = "warn"
    REFUSE = "refuse"


class ElectrodeLimits(NamedTuple):
    """Limits of a calibration. Outside `good_*` it warns, outside `usable_*` it is refused.

    The usable pair is that of USP <791> as revised with USP 39 (published); the good pair is common practice
    (recalled); the buffer distance is that of DIN 19268:2021, 5.3.2 (published).
    """

    good_slope_pct: tuple[float, float] = (95.0, 105.0)
    usable_slope_pct: tuple[float, float] = (90.0, 105.0)
    good_offset_mv: float = 15.0
    usable_offset_mv: float = 30.0
    most_residual_ph: float = 0.05
    least_apart_ph: float = 2.0
    """Distance of neighbouring buffers below which it warns. [pH]"""


class ElectrodeVerdict(NamedTuple):
    """Whether a calibration may be used, and why not."""

    acceptance: Acceptance
    reasons: tuple[str, ...] = ()


class Verification(NamedTuple):
    """What an electrode showed in a buffer it was not calibrated with."""

    found_ph: float
    buffer_ph: float
    tolerance_ph: float
    lies_between: bool
    """Whether its pH lies between the buffers of the calibration, as USP <791> wants it."""

    @property
    def difference_ph(self) -> float:
        """Found less buffer. [pH]"""
        return self.found_ph - self.buffer_ph

    @property
    def passes(self) -> bool:
        """Whether the difference is within the tolerance."""
        return abs(self.difference_ph) <= self.tolerance_ph


def judge_electrode(electrode: Electrode, limits: ElectrodeLimits | None = None) -> ElectrodeVerdict:
    """Return whether a calibration may be used.

    Parameters
    ----------
    electrode : Electrode
        A calibration. [%; mV; pH]
    limits : ElectrodeLimits, optional
        Limits to hold it against.

    Returns
    -------
    ElectrodeVerdict
        The gravest finding, and all findings in words.

    Raises
    ------
    OutOfRangeError
        If the slope, offset or a residual is not finite.

    Notes
    -----
    A figure on a limit is within it.

    References
    ----------
    .. [1] USP <791> as revised with USP 39, first supplement: slope 90 to 105 %, offset 30 mV. Published.
    """
    limits = limits or ElectrodeLimits()
    refused, warned = _unusable(electrode, limits), _less_than_good(electrode, limits)
    if refused:
        return ElectrodeVerdict(Acceptance.REFUSE, refused + warned)
    return ElectrodeVerdict(Acceptance.WARN if warned else Acceptance.ACCEPT, warned)


def _unusable(electrode: Electrode, limits: ElectrodeLimits) -> tuple[str, ...]:
    """Return in words what forbids the use of a calibration."""
    slope, offset = finite("slope", electrode.slope_pct), finite("offset", electrode.offset_mv)
    worst = max((abs(finite("residual", value)) for value in electrode.residuals_ph), default=0.0)
    found = []
    if not _within(slope, limits.usable_slope_pct):
        found.append(f"slope {slope:.1f} %, usable is {_words(limits.usable_slope_pct)} %")
    if abs(offset) > limits.usable_offset_mv:
        found.append(f"offset {offset:.1f} mV, usable is {limits.usable_offset_mv:g} mV")
    if worst > limits.most_residual_ph:
        found.append(f"a buffer is off by {worst:.3f} pH, {limits.most_residual_ph:g} is allowed")
    return tuple(found)


def _less_than_good(electrode: Electrode, limits: ElectrodeLimits) -> tuple[str, ...]:
    """Return in words what a person should know of a calibration."""
    slope, offset = electrode.slope_pct, electrode.offset_mv
    found = []
    if not _within(slope, limits.good_slope_pct):
        found.append(f"slope {slope:.1f} %, good is {_words(limits.good_slope_pct)} %")
    if abs(offset) > limits.good_offset_mv:
        found.append(f"offset {offset:.1f} mV, good is {limits.good_offset_mv:g} mV")
    if _apart(electrode) < limits.least_apart_ph:
        found.append(f"buffers less than {limits.least_apart_ph:g} pH apart")
    return tuple(found)


def _within(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]


def _words(limits: tuple[float, float]) -> str:
    return f"{limits[0]:g} to {limits[1]:g}"


def _apart(electrode: Electrode) -> float:
    """Return the least distance of neighbouring buffers, infinite where fewer than two are known."""
    return min(
        (later - earlier for earlier, later in pairwise(sorted(electrode.buffers_ph))), default=float("inf")
    )


def verify_electrode(
    electrode: Electrode, reading: BufferReading, tolerance_ph: float = 0.05
) -> Verification:
    """Return how far an electrode is off in a buffer that had no part in its calibration.

    Parameters
    ----------
    electrode : Electrode
        The calibration to verify.
    reading : BufferReading
        Potential in a buffer of the calibration's pH range that is none of its buffers. One outside the
        range, such as one near the pH of wine, is taken and marked. [pH; mV]
    tolerance_ph : float
        Allowed difference, more than 0. [pH]

    Returns
    -------
    Verification
        pH found and expected, and whether it passes.

    Raises
    ------
    OutOfRangeError
        If the potential is not finite, or the tolerance not more than 0.
    ContradictionError
        If the buffer took part in the calibration.

    Notes
    -----
    A buffer of the calibration would agree by itself and say nothing.

    References
    ----------
    .. [1] USP <791> as revised with USP 39: the verification buffer lies between the two of the calibration.
       Published. Tolerance: older USP and practice, a setting.
    """
    tolerance, ph = positive("tolerance", tolerance_ph), reading.buffer.ph
    if any(abs(ph - used) <= tolerance for used in electrode.buffers_ph):
        raise ContradictionError(
            f"the buffer of pH {ph:g} took part in the calibration; verify with another one",
            name="buffer",
            value=ph,
        )
    low, high = min(electrode.buffers_ph, default=ph), max(electrode.buffers_ph, default=ph)
    found = float(ph_from_mv(electrode, reading.mv, reading.buffer.temperature_c))
    return Verification(found, ph, tolerance, lies_between=low <= ph <= high)


def response_time(time_s: Sequence[float], signal: Sequence[float], within: float) -> float:
    """Return how long an electrode took to come near its final value, and stay there.

    Parameters
    ----------
    time_s : sequence of float
        Time since it was put into the buffer, growing, six or more, shape ``(n,)``. [s]
    signal : sequence of float
        Its signal, shape ``(n,)``. [pH or mV]
    within : float
        How near: 0.05 pH or 3 mV are usual (recalled). [unit of the signal]

    Returns
    -------
    float
        Time of the first reading from which on all lie near the mean of the last three. [s]

    Raises
    ------
    TooFewPointsError
        If there are fewer than six readings.
    OutOfRangeError
        If a value is not finite or `within` not more than 0.
    EvaluateError
        If the two differ in length or time does not grow.
    NotPredictableError
        If only the last three lie near: it has not settled yet.

    Notes
    -----
    Usual judgement (recalled): below 30 s good, 60 s poor.

    References
    ----------
    .. [1] Common practice, no source.
    """
    if len(time_s) != len(signal):
        raise EvaluateError(f"{len(time_s)} times and {len(signal)} signals came; one of each is wanted")
    count = enough("readings of a response", len(signal), LEAST_READINGS)
    times, values = [finite("time", t) for t in time_s], [finite("signal", y) for y in signal]
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise EvaluateError("time does not grow from reading to reading", name="time")
    final, near = mean(values[-FINAL_READINGS:]), positive("nearness", within)
    far = [i for i, value in enumerate(values) if abs(value - final) > near]
    first = far[-1] + 1 if far else 0
    if first >= count - FINAL_READINGS:
        raise NotPredictableError(
            f"the signal still moves at {times[-1]:g} s; wait longer and read again",
            name="signal",
            value=values[-1],
        )
    return times[first]
