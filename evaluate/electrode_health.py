"""How an electrode ages: the trend of its figures, and when one of them leaves its limit."""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from evaluate.checks import finite
from evaluate.errors import EvaluateError, NotPredictableError
from evaluate.series import series
from evaluate.trend import DEFAULT_PROBABILITY, Crossing, Trend, crossing, loss_rate, straight_line


class HealthVerdict(StrEnum):
    """What the trend of a figure says."""

    STEADY = "steady"
    """No change that could be told from scatter."""
    WORSENING = "worsening"
    IMPROVING = "improving"
    FAILED = "beyond its limit already"


class Health(NamedTuple):
    """The trend of one figure of an electrode since it was last cleaned."""

    verdict: HealthVerdict
    trend: Trend
    fails: Crossing | None
    """When the limit is reached; None unless it is worsening. [day]"""


def forecast_health(
    day: Sequence[float],
    value: Sequence[float],
    limit: float,
    *,
    falls: bool,
    cleaned_on: Sequence[float] = (),
    probability: float = DEFAULT_PROBABILITY,
) -> Health:
    """Return whether a figure of an electrode worsens, and when it will reach its limit.

    Parameters
    ----------
    day : sequence of float
        Day of each calibration, in order, shape ``(n,)``. [d]
    value : sequence of float
        The figure: slope [%], response time [s], size of the offset [mV] or noise [mV], shape ``(n,)``.
    limit : float
        Value at which the electrode fails. [unit of the value]
    falls : bool
        Whether the figure falls as the electrode ages (slope) or rises (the others).
    cleaned_on : sequence of float
        Days of cleaning or filling: calibrations before the last one do not count. [d]
    probability : float
        Of the intervals, 0.5 to 0.9999. [1]

    Returns
    -------
    Health
        Verdict, straight line, and the day of failure with its interval. [d]

    Raises
    ------
    TooFewPointsError
        If fewer than three calibrations count.
    OutOfRangeError
        If a number is not finite.
    EvaluateError
        If days go back, or the two differ in length.

    Notes
    -----
    A straight line and its prediction interval (`evaluate.trend`). Electrodes fail faster at the end than a
    line says, so the earliest day is the one to plan by.

    References
    ----------
    .. [1] Least squares. Common practice, no source for its use on electrodes.
    """
    days, values = series("day", day), series("value", value)
    if len(days) != len(values) or days != sorted(days):
        raise EvaluateError("one value is wanted for each day, and days in order", name="day")
    since = max(series("cleaned on", [days[0], *cleaned_on]))
    points = [(d, v) for d, v in zip(days, values, strict=True) if d >= since]
    trend = straight_line([d for d, _ in points], [v for _, v in points])
    beyond = values[-1] - finite("limit", limit)
    if (beyond <= 0) if falls else (beyond >= 0):
        return Health(HealthVerdict.FAILED, trend, None)
    if not loss_rate(trend, probability=probability).is_certain:
        return Health(HealthVerdict.STEADY, trend, None)
    if (trend.slope > 0) is falls:
        return Health(HealthVerdict.IMPROVING, trend, None)
    return Health(HealthVerdict.WORSENING, trend, _failure(trend, limit, probability))


def _failure(trend: Trend, limit: float, probability: float) -> Crossing | None:
    try:
        return crossing(trend, limit, probability=probability)
    except NotPredictableError:
        return None
