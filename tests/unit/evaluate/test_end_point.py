import math

import pytest

from evaluate.curve import Curve
from evaluate.end_point import Direction, EndPoint, EndPointLimits, EndPoints, Method, NoEndPoint
from evaluate.errors import NoEndPointError, OutOfRangeError


def point(volume_ml: float) -> EndPoint:
    return EndPoint(volume_ml, 8.2, volume_ml - 0.04, volume_ml + 0.06, Method.FIXED_VALUE, 5.0, 100.0)


def test_the_only_end_point_is_given_out() -> None:
    assert EndPoints(Method.FIXED_VALUE, (point(17.0),)).only() == point(17.0)


def test_no_end_point_says_why() -> None:
    none = EndPoints.none(Method.FIXED_VALUE, (NoEndPoint.NEVER_REACHED, "the last reading is 5"))
    assert len(none) == 0
    with pytest.raises(NoEndPointError, match="no end point by fixed value: the last reading is 5"):
        none.only()


def test_two_end_points_are_never_averaged() -> None:
    with pytest.raises(NoEndPointError, match=r"2 end points by fixed value, at 9.000, 17.000 mL"):
        EndPoints(Method.FIXED_VALUE, (point(9.0), point(17.0))).only()


def test_the_bracket_is_the_step_across_the_end_point() -> None:
    assert point(17.0).bracket_ml == pytest.approx(0.1)


def test_a_signal_that_reads_too_high_brings_a_rising_end_point_early() -> None:
    # A slope of 5 pH a mL and 0.05 pH too high: 0.01 mL early.
    assert point(17.0).shift_ml(0.05) == pytest.approx(-0.01)


def test_direction_comes_from_the_ends_unless_it_is_given() -> None:
    falling = Curve((0.0, 1.0), (5.0, 2.0))
    assert EndPointLimits().sign(falling) == -1.0
    assert EndPointLimits(direction=Direction.RISING).sign(falling) == 1.0
    assert EndPointLimits(direction=Direction.FALLING).sign(falling) == -1.0
    assert EndPointLimits().sign(Curve((0.0, 1.0), (2.0, 5.0))) == 1.0


def test_a_span_at_its_limit_is_too_small() -> None:
    curve = Curve((0.0, 1.0), (1.0, 2.0))
    assert EndPointLimits(least_span=1.0).unfit(curve, 2) == (
        NoEndPoint.SPAN_TOO_SMALL,
        "the signal spans 1, more than 1 is wanted",
    )
    assert EndPointLimits(least_span=0.9).unfit(curve, 2) is None


def test_a_bracket_at_its_limit_is_allowed() -> None:
    limits = EndPointLimits(widest_gap_ml=0.5, wide_bracket_ml=0.25)
    assert limits.too_wide(1.0, 1.5) is None
    assert limits.too_wide(1.0, 1.6) is not None
    assert not limits.is_wide(1.0, 1.25)
    assert limits.is_wide(1.0, 1.3)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("least_span", -0.1),
        ("least_span", math.nan),
        ("points_each_side", 0),
        ("widest_gap_ml", 0.0),
        ("widest_gap_ml", math.nan),
        ("wide_bracket_ml", -1.0),
        ("least_share", 1.001),
        ("least_share", -0.1),
    ],
)
def test_limits_that_make_no_sense_are_refused(name: str, value: float) -> None:
    with pytest.raises(OutOfRangeError):
        EndPointLimits(**{name: value})  # type: ignore[arg-type]  # one field of either type
