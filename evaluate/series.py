"""The check that every statistic makes on the numbers it is given."""

from collections.abc import Iterable
from typing import Final

from evaluate.checks import enough, in_range

MAGNITUDE_LIMIT: Final = 1e150  # [1] greatest size of a value: squares and their sums stay finite; our choice


def series(name: str, values: Iterable[float], wanted: int = 1) -> list[float]:
    """Return the values as floats, in their order.

    Raises
    ------
    OutOfRangeError
        If one of them is not finite or its size exceeds `MAGNITUDE_LIMIT`.
    TooFewPointsError
        If there are fewer than `wanted`.
    """
    numbers = [in_range(name, value, -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT) for value in values]
    enough(name, len(numbers), wanted)
    return numbers
