"""The dead-stop end point at a threshold: the current passes it and stays beyond."""

import math
from collections.abc import Sequence

from evaluate.checks import finite, not_negative
from evaluate.end_point import Direction, EndPoint, EndPoints, Method, NoEndPoint
from evaluate.errors import EvaluateError


def dead_stop_threshold(
    time_s: Sequence[float],
    volume_ml: Sequence[float],
    current: Sequence[float],
    *,
    threshold: float,
    hold_s: float,
    direction: Direction = Direction.RISING,
) -> EndPoints:
    """Return the volume from which on the current stays beyond a threshold for a time.

    Parameters
    ----------
    time_s : sequence of float
        Time of each reading, never going back, shape ``(n,)``. [s]
    volume_ml : sequence of float
        Volume dispensed by then, never going back, shape ``(n,)``. [mL]
    current : sequence of float
        Polarisation current, shape ``(n,)``; readings that are nan are passed over. [µA]
    threshold : float
        Current to pass. [µA]
    hold_s : float
        Time it must stay beyond, 10 to 30 s being usual (recalled). [s]
    direction : Direction
        RISING: at or above the threshold counts. FALLING: at or below it.

    Returns
    -------
    EndPoints
        None with a reason, or one: the volume at the first reading of the first stretch that lasts, with the
        volume of the reading before as the lower end of the bracket. [mL]

    Raises
    ------
    EvaluateError
        If the three differ in length, time or volume goes back, or no direction is given.
    OutOfRangeError
        If the threshold, a time or a volume is not finite, or the hold is negative.

    Notes
    -----
    A drop that falls between the electrodes passes the threshold for a moment; only a stretch that lasts
    means that iodine is left over.

    References
    ----------
    .. [1] C. W. Foulk, A. T. Bawden, A new type of end-point in electrometric titration, J. Am. Chem. Soc. 48
       (1926) 2045. Status: principle published; threshold and hold common practice, no source.
    """
    threshold, hold_s = finite("threshold", threshold), not_negative("hold", hold_s, "s")
    readings = _readings(time_s, volume_ml, current)
    if not readings:
        return _none(NoEndPoint.TOO_FEW_POINTS, "no reading has a current")
    rising = _is_rising(direction)
    beyond = [value >= threshold if rising else value <= threshold for _, _, value in readings]
    if not any(beyond):
        words = f"{threshold:g} is not passed by any of {len(readings)} readings"
        return _none(NoEndPoint.NEVER_REACHED, words)
    start, longest_s = _lasting(readings, beyond, hold_s)
    if start is None:
        words = f"{threshold:g} was held for {longest_s:g} s at most, {hold_s:g} s are wanted"
        return _none(NoEndPoint.NOT_HELD, words)
    if start == 0:
        words = f"the first reading is {readings[0][2]:g}, beyond {threshold:g}"
        return _none(NoEndPoint.STARTS_BEYOND, words)
    return EndPoints(Method.DEAD_STOP_THRESHOLD, (_first_beyond(readings, start),))


def _none(reason: NoEndPoint, words: str) -> EndPoints:
    return EndPoints.none(Method.DEAD_STOP_THRESHOLD, (reason, words))


def _readings(
    time_s: Sequence[float], volume_ml: Sequence[float], current: Sequence[float]
) -> list[tuple[float, float, float]]:
    if not len(time_s) == len(volume_ml) == len(current):
        counts = f"{len(time_s)} times, {len(volume_ml)} volumes and {len(current)} currents"
        raise EvaluateError(f"{counts} came; one of each is wanted for every reading")
    for name, values in (("time", time_s), ("volume", volume_ml)):
        steps = [finite(name, value) for value in values]
        if steps != sorted(steps):
            raise EvaluateError(f"{name} goes back; give the readings in the order heard", name=name)
    rows = zip(time_s, volume_ml, current, strict=True)
    return [row for row in rows if math.isfinite(row[2])]


def _is_rising(direction: Direction) -> bool:
    if direction is Direction.EITHER:
        raise EvaluateError("a threshold is passed rising or falling; say which", name="direction")
    return direction is Direction.RISING


def _lasting(
    readings: list[tuple[float, float, float]], beyond: list[bool], hold_s: float
) -> tuple[int | None, float]:
    """Return where the first stretch begins that lasts, and the time of the longest stretch."""
    start, longest_s = None, 0.0
    for i, (time_s, _, _) in enumerate(readings):
        if not beyond[i]:
            start = None
            continue
        start = i if start is None else start
        longest_s = max(longest_s, time_s - readings[start][0])
        if longest_s >= hold_s:
            return start, longest_s
    return None, longest_s


def _first_beyond(readings: list[tuple[float, float, float]], start: int) -> EndPoint:
    low, high = readings[start - 1], readings[start]
    step_ml = high[1] - low[1]
    slope = (high[2] - low[2]) / step_ml if step_ml > 0 else math.copysign(math.inf, high[2] - low[2])
    return EndPoint(high[1], high[2], low[1], high[1], Method.DEAD_STOP_THRESHOLD, slope, math.inf)
