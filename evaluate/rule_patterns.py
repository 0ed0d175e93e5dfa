"""Patterns in a row of scores, each as the positions where it is complete.

Every pattern takes the scores of one control in time order, shape ``(n,)``, none missing, and returns an
array of bool of the same shape. "Beyond k" is strict: a value exactly on a limit is inside. A score of 0
lies on neither side. A pattern is complete at a position only if the value there belongs to it.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Scores = NDArray[np.float64]
    Fired = NDArray[np.bool_]

    Pattern = Callable[[Scores], Fired]


def beyond(limit: float) -> "Pattern":
    """Return the pattern of a value beyond the limit, on either side."""
    return lambda z: abs(z) > limit


def between(low: float, high: float) -> "Pattern":
    """Return the pattern of a value beyond the low limit and not beyond the high one."""
    return lambda z: (abs(z) > low) & (abs(z) <= high)


def some_of(count: int, window: int, limit: float) -> "Pattern":
    """Return the pattern of `count` of the last `window` values beyond the limit on one side.

    A row shorter than the window can complete it: what came before could not undo it.
    """

    def fired(z: "Scores") -> "Fired":
        high, low = z > limit, z < -limit
        found: Fired = (high & (_recent(high, window) >= count)) | (low & (_recent(low, window) >= count))
        return found

    return fired


def some_between(count: int, window: int, low: float, high: float) -> "Pattern":
    """Return the pattern of `count` of the last `window` values between the two limits, whichever side."""

    def fired(z: "Scores") -> "Fired":
        inside = between(low, high)(z)
        found: Fired = inside & (_recent(inside, window) >= count)
        return found

    return fired


def only_between(count: int, window: int, low: float, high: float) -> "Pattern":
    """Return the pattern of a value between the limits while fewer than `count` of the last `window` are."""
    enough = some_between(count, window, low, high)
    return lambda z: between(low, high)(z) & ~enough(z)


def monotone(points: int) -> "Pattern":
    """Return the pattern of `points` values in a row that rise, or that fall, at every step."""

    def fired(z: "Scores") -> "Fired":
        steps = _steps(z)
        found: Fired = (_run(steps > 0) >= points - 1) | (_run(steps < 0) >= points - 1)
        return found

    return fired


def alternating(points: int) -> "Pattern":
    """Return the pattern of `points` values in a row that go up and down in turn."""

    def fired(z: "Scores") -> "Fired":
        steps = _steps(z)
        turns = steps[1:] * steps[:-1] < 0
        return _shifted(_run(turns) >= points - 2, len(z))

    return fired


def all_within(points: int, limit: float) -> "Pattern":
    """Return the pattern of `points` values in a row within the limit."""
    return lambda z: _run(abs(z) <= limit) >= points


def none_within(points: int, limit: float) -> "Pattern":
    """Return the pattern of `points` values in a row beyond the limit, both sides among them."""

    def fired(z: "Scores") -> "Fired":
        high, low = _recent(z > limit, points), _recent(z < -limit, points)
        found: Fired = (high + low >= points) & (high > 0) & (low > 0)
        return found

    return fired


def _steps(z: "Scores") -> "Scores":
    """Return the change at each position; the first has none and counts as no change."""
    import numpy as np

    return np.diff(z, prepend=z[:1])


def _run(true: "Fired") -> "NDArray[np.int64]":
    """Return how many positions in a row, up to each, are true."""
    import numpy as np

    positions = np.arange(len(true))
    last_false = np.maximum.accumulate(np.where(true, -1, positions)) if len(true) else positions
    found: NDArray[np.int64] = positions - last_false
    return found


def _recent(true: "Fired", window: int) -> "NDArray[np.int64]":
    """Return how many of the last `window` positions are true, the present one among them."""
    import numpy as np

    gathered = np.cumsum(true, dtype=np.int64)
    before = np.concatenate([np.zeros(window, dtype=np.int64), gathered])[: len(true)]
    found: NDArray[np.int64] = gathered - before
    return found


def _shifted(fired: "Fired", length: int) -> "Fired":
    """Move a pattern found between neighbours to the later of the two."""
    import numpy as np

    missing = length - len(fired)
    return np.concatenate([np.zeros(missing, dtype=np.bool_), fired])
