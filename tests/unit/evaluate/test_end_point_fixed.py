import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator, interp1d

from evaluate.curve import Curve, clean_curve
from evaluate.end_point import Direction, EndPointLimits, Mark, NoEndPoint
from evaluate.end_point_fixed import fixed_value_end_point
from evaluate.errors import OutOfRangeError
from tests.fakes.titration_curves import WINE, read
from tests.fakes.titration_phreeqc import ph_at
from tundish.selftest.tables import rows

RISING = Curve((0.0, 1.0, 2.0, 3.0), (3.0, 5.0, 9.0, 10.0))


def wine(step_ml: float, phase: float) -> Curve:
    return clean_curve(*read(WINE, step_ml, phase=phase, end_ml=21.0))


@pytest.mark.parametrize(("target", "volume_ml"), [(7.0, 5.948), (8.2, 6.054)])
def test_fixed_value_end_point__published_readings(target: float, volume_ml: float) -> None:
    # Straight line between the printed readings 6.455 at 5.900 mL and 9.863 at 6.200 mL.
    table = rows("titration_curves/oxalic_acid_naoh_mv_and_ph.csv")
    curve = clean_curve([float(r["volume_ml"]) for r in table], [float(r["ph"]) for r in table])
    point = fixed_value_end_point(curve, target).only()
    assert point.volume_ml == pytest.approx(volume_ml, abs=0.0005)
    assert (point.low_ml, point.high_ml) == (5.9, 6.2)
    assert point.slope == pytest.approx((9.863 - 6.455) / 0.3)


# Least and greatest error over twenty phases: straight lines of numpy.interp on the charge balance, less its
# explicit volume, rounded outwards.
@pytest.mark.parametrize(
    ("target", "step_ml", "low_ml", "high_ml"),
    [
        (7.0, 0.05, -0.0025, 0.0),
        (7.0, 0.1, -0.0102, 0.0),
        (7.0, 0.2, -0.0537, 0.0),
        (8.2, 0.05, -0.0154, 0.0006),
        (8.2, 0.1, -0.0355, 0.0043),
        (8.2, 0.2, -0.0764, 0.0167),
    ],
)
def test_fixed_value_end_point__independent_charge_balance_grid(
    target: float, step_ml: float, low_ml: float, high_ml: float
) -> None:
    found = [fixed_value_end_point(wine(step_ml, i / 20), target).only().volume_ml for i in range(20)]
    errors = [volume - WINE.volume_at(target) for volume in found]
    assert low_ml < min(errors) < 0.97 * low_ml
    assert max(errors) < high_ml


# The same errors, widened by what noise and drift can move the curve where it passes the target.
@pytest.mark.parametrize(("noise", "drift"), [(0.005, 0.0), (0.01, 0.05), (0.02, -0.05)])
@pytest.mark.parametrize(
    ("target", "step_ml", "low_ml", "high_ml"),
    [
        (7.0, 0.05, -0.0025, 0.0),
        (7.0, 0.2, -0.0537, 0.0),
        (8.2, 0.05, -0.0154, 0.0006),
        (8.2, 0.2, -0.0764, 0.0167),
    ],
)
def test_fixed_value_end_point__independent_charge_balance_grid_with_noise_and_drift(
    target: float, step_ml: float, low_ml: float, high_ml: float, noise: float, drift: float
) -> None:
    ml_per_ph = (WINE.volume_at(target + 0.2) - WINE.volume_at(target - 0.2)) / 0.4
    more_ml = (4 * noise + abs(drift)) * ml_per_ph
    for phase in (i / 10 for i in range(10)):
        read_off = read(WINE, step_ml, phase=phase, end_ml=21.0, noise=noise, drift=drift, seed=7)
        point = fixed_value_end_point(clean_curve(*read_off), target).only()
        assert low_ml - more_ml < point.volume_ml - WINE.volume_at(target) < high_ml + more_ml


@pytest.mark.parametrize("step_ml", [0.05, 0.1, 0.2, 0.5])
def test_fixed_value_end_point__independent_monotone_cubic_is_no_better(step_ml: float) -> None:
    """The step across the end point sets the error, not the way from one reading to the next."""
    wide = EndPointLimits(widest_gap_ml=1.0)
    ours, cubic = [], []
    for phase in (i / 20 for i in range(20)):
        volumes, signal = read(WINE, step_ml, phase=phase, end_ml=21.0)
        curve = clean_curve(volumes, signal)
        ours.append(abs(fixed_value_end_point(curve, 8.2, wide).only().volume_ml - WINE.volume_at(8.2)))
        near = PchipInterpolator(curve.volume_ml, curve.signal).solve(8.2, extrapolate=False)
        cubic.append(abs(float(near[0]) - WINE.volume_at(8.2)))
    assert max(cubic) == pytest.approx(max(ours), rel=0.35)


def test_fixed_value_end_point__independent_phreeqc() -> None:
    volumes = [18.0 + 0.01 * i for i in range(60)]
    point = fixed_value_end_point(clean_curve(volumes, ph_at(WINE, volumes)), 8.2).only()
    assert point.volume_ml == pytest.approx(WINE.volume_at(8.2), abs=0.001)


@settings(max_examples=50)
@given(st.floats(3.5, 11.0))
def test_fixed_value_end_point__independent_scipy_interpolation(target: float) -> None:
    curve = wine(0.2, 0.3)
    theirs = float(interp1d(curve.signal, curve.volume_ml)(target))
    assert fixed_value_end_point(curve, target).only().volume_ml == pytest.approx(theirs, abs=1e-9)


def test_fixed_value_end_point__limit_a_reading_on_the_value() -> None:
    point = fixed_value_end_point(RISING, 9.0).only()
    assert (point.volume_ml, point.signal) == (2.0, 9.0)


def test_fixed_value_end_point__limit_the_first_or_last_reading_on_the_value() -> None:
    assert fixed_value_end_point(RISING, 3.0).only().volume_ml == 0.0
    assert fixed_value_end_point(RISING, 10.0).only().volume_ml == 3.0


@given(st.floats(3.1, 9.9), st.floats(0.1, 50.0), st.floats(-100.0, 100.0))
def test_fixed_value_end_point__law_scale_and_offset_of_both_axes(
    target: float, scale: float, offset: float
) -> None:
    plain = fixed_value_end_point(RISING, target).only().volume_ml
    changed = Curve(
        tuple(200.0 + scale * v for v in RISING.volume_ml), tuple(offset - scale * y for y in RISING.signal)
    )
    found = fixed_value_end_point(changed, offset - scale * target, same_crossing()).only().volume_ml
    assert found == pytest.approx(200.0 + scale * plain, abs=1e-6 * scale)


def same_crossing() -> EndPointLimits:
    return EndPointLimits(direction=Direction.FALLING)


@pytest.mark.parametrize(
    ("target", "reason", "said"),
    [
        (11.0, NoEndPoint.NEVER_REACHED, "the last reading is 10, 11 is not reached"),
        (2.0, NoEndPoint.STARTS_BEYOND, "the first reading is 3, beyond 2"),
    ],
)
def test_a_value_outside_the_curve_has_no_end_point(target: float, reason: NoEndPoint, said: str) -> None:
    found = fixed_value_end_point(RISING, target)
    assert (found.reason, found.detail) == (reason, said)


def test_a_rail_reading_left_in_makes_a_second_crossing() -> None:
    found = fixed_value_end_point(Curve((0.0, 1.0, 2.0, 3.0, 4.0), (3.0, 14.0, 4.0, 7.5, 9.0)), 7.0)
    assert found.reason is NoEndPoint.CROSSED_AGAIN
    assert "7 is crossed 3 times from 0.364 mL on" in found.detail


def test_a_curve_that_comes_back_does_not_count_as_reaching() -> None:
    found = fixed_value_end_point(
        Curve((0.0, 1.0, 2.0), (3.0, 9.0, 4.0)), 7.0, EndPointLimits(direction=Direction.RISING)
    )
    assert found.reason is NoEndPoint.CROSSED_AGAIN


def test_crossings_through_noise_are_one_with_all_of_them_in_its_bracket() -> None:
    curve = Curve((0.0, 1.0, 1.01, 1.02, 1.03, 2.0), (3.0, 6.9, 7.1, 6.9, 7.1, 9.0))
    point = fixed_value_end_point(curve, 7.0).only()
    assert point.volume_ml == pytest.approx(1.015)
    assert (point.low_ml, point.high_ml) == (1.0, 1.03)
    assert point.marks == (Mark.NOISY,)


def test_crossings_at_the_limit_of_one_are_one() -> None:
    curve = Curve((0.0, 1.0, 1.5, 2.0, 3.0), (6.0, 8.0, 6.0, 8.0, 9.0))  # crossed at 0.5, 1.25 and 1.75 mL
    assert len(fixed_value_end_point(curve, 7.0, same_crossing_ml=1.25)) == 1
    assert fixed_value_end_point(curve, 7.0, same_crossing_ml=1.24).reason is NoEndPoint.CROSSED_AGAIN


@pytest.mark.parametrize(("step_ml", "found"), [(0.0249, 1), (0.0251, 0)])
def test_crossings_within_five_hundredths_of_a_millilitre_are_one_by_default(
    step_ml: float, found: int
) -> None:
    curve = Curve((0.0, step_ml, 2 * step_ml, 3 * step_ml, 3.0), (6.0, 8.0, 6.0, 8.0, 9.0))
    assert len(fixed_value_end_point(curve, 7.0)) == found


def test_a_peak_that_comes_back_at_once_is_no_end_point() -> None:
    peak = Curve((0.0, 0.02, 0.04), (6.0, 8.0, 6.0))
    found = fixed_value_end_point(peak, 7.0, EndPointLimits(direction=Direction.RISING))
    assert found.reason is NoEndPoint.CROSSED_AGAIN


def test_a_direction_may_be_asked_for() -> None:
    falling = EndPointLimits(direction=Direction.FALLING)
    assert fixed_value_end_point(RISING, 7.0, falling).reason is NoEndPoint.STARTS_BEYOND
    assert fixed_value_end_point(Curve((0.0, 1.0), (9.0, 5.0)), 7.0, falling).only().volume_ml == 0.5


def test_the_width_of_the_step_is_judged() -> None:
    assert fixed_value_end_point(RISING, 7.0).only().marks == (Mark.WIDE_BRACKET,)
    assert fixed_value_end_point(RISING, 7.0, EndPointLimits(wide_bracket_ml=1.0)).only().marks == ()
    narrow = EndPointLimits(widest_gap_ml=0.9)
    assert fixed_value_end_point(RISING, 7.0, narrow).reason is NoEndPoint.GAP_TOO_WIDE


def test_drift_moves_a_wine_end_point_by_less_than_a_hundredth_of_a_millilitre() -> None:
    # 3 mV are 0.05 pH.
    drifted = clean_curve(*read(WINE, 0.02, end_ml=21.0, drift=0.05))
    moved = fixed_value_end_point(drifted, 8.2).only()
    assert moved.volume_ml == pytest.approx(WINE.volume_at(8.2), abs=0.01)
    assert abs(moved.shift_ml(0.05)) < 0.01


def test_one_point_or_a_level_curve_has_no_end_point() -> None:
    assert fixed_value_end_point(Curve((1.0,), (7.0,)), 7.0).reason is NoEndPoint.TOO_FEW_POINTS
    assert fixed_value_end_point(Curve((1.0, 2.0), (7.0, 7.0)), 7.0).reason is NoEndPoint.SPAN_TOO_SMALL
    assert len(fixed_value_end_point(Curve((1.0, 2.0), (6.0, 8.0)), 7.0)) == 1


def test_signal_to_noise_is_the_step_over_the_noise() -> None:
    source = np.random.default_rng(1)
    volumes = np.arange(0.0, 300.0)
    curve = Curve(tuple(volumes.tolist()), tuple((volumes + 0.01 * source.standard_normal(300)).tolist()))
    assert fixed_value_end_point(curve, 15.5).only().signal_to_noise == pytest.approx(1.0 / 0.01, rel=0.5)
    assert fixed_value_end_point(RISING, 7.0).only().signal_to_noise == math.inf


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_fixed_value_end_point__refuses_a_target_that_is_no_number(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="target must be"):
        fixed_value_end_point(RISING, bad)


@pytest.mark.parametrize("bad", [-0.01, math.nan])
def test_fixed_value_end_point__refuses_a_negative_width_of_one_crossing(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="same crossing"):
        fixed_value_end_point(RISING, 7.0, same_crossing_ml=bad)
