import math

import pytest

from evaluate.errors import OutOfRangeError, TooFewPointsError
from evaluate.series import MAGNITUDE_LIMIT, series


def test_values_come_back_as_floats_in_their_order() -> None:
    assert series("titres", iter([3, 1, 2])) == [3.0, 1.0, 2.0]


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1.001e150, -1.001e150])
def test_a_value_that_is_no_number_is_refused_by_its_name(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="titres must be"):
        series("titres", [1.0, bad])


def test_the_greatest_size_itself_is_taken() -> None:
    assert series("titres", [1e150, -1e150]) == [MAGNITUDE_LIMIT, -MAGNITUDE_LIMIT]


def test_too_few_values_are_counted() -> None:
    with pytest.raises(TooFewPointsError, match="titres: 2 given, at least 3 are needed"):
        series("titres", [1.0, 2.0], wanted=3)
    with pytest.raises(TooFewPointsError, match="at least 1"):
        series("titres", [])
    assert series("titres", [2.5]) == [2.5]
