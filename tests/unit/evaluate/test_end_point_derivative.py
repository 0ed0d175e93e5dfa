import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar

from evaluate.curve import Curve, clean_curve
from evaluate.end_point import Direction, EndPointLimits, Mark, NoEndPoint
from evaluate.end_point_derivative import first_derivative_end_points, second_derivative_end_points
from evaluate.errors import OutOfRangeError
from tests.fakes.titration_curves import PHOSPHORIC_ACID, STRONG_ACID, WINE, read
from tests.fakes.titration_phreeqc import ph_at
from tundish.selftest.tables import rows

END_ML = 21.0
EQUIVALENCE_ML = 18.317074  # stoichiometry of the wine in the fakes


def published(name: str, signal: str) -> Curve:
    table = rows(f"titration_curves/{name}.csv")
    return clean_curve([float(row["volume_ml"]) for row in table], [float(row[signal]) for row in table])


def wine(step_ml: float, **faults: float) -> Curve:
    return clean_curve(*read(WINE, step_ml, end_ml=END_ML, **faults))  # type: ignore[arg-type]  # seed is whole


def jump(
    centre_ml: float = 5.0, height: float = 6.0, width_ml: float = 0.2, step_ml: float = 0.1, count: int = 101
) -> Curve:
    volumes = tuple(step_ml * i for i in range(count))
    return Curve(volumes, tuple(4.0 + height * math.tanh((v - centre_ml) / width_ml) for v in volumes))


# Published tables.


@pytest.mark.parametrize(
    ("name", "signal", "found_ml"),
    [
        ("weak_acid_naoh_harvey_9_5", "ph", 15.65),  # Harvey 2000, table 9.5, printed column
        ("oxalic_acid_naoh_mv_and_ph", "mv", 6.05),  # report, table 5.3, printed column
    ],
)
def test_first_derivative_end_points__published_columns(name: str, signal: str, found_ml: float) -> None:
    assert first_derivative_end_points(published(name, signal)).only().volume_ml == pytest.approx(found_ml)


@pytest.mark.parametrize(
    ("name", "signal", "low_ml", "high_ml"),
    [
        ("strong_acid_naoh_harvey_9_2", "ph", 24.0, 26.0),
        ("iron_cerium_redox_harvey_9_17", "e_v_she", 45.0, 55.0),
        ("acetic_acid_naoh_sparse", "ph", 99.0, 101.0),
    ],
)
def test_first_derivative_end_points__published_ties_are_marked_and_bracketed(
    name: str, signal: str, low_ml: float, high_ml: float
) -> None:
    point = first_derivative_end_points(published(name, signal)).only()
    assert Mark.TIED in point.marks
    assert (point.low_ml, point.high_ml) == (low_ml, high_ml)


@pytest.mark.parametrize(
    ("name", "signal", "true_ml", "within_ml"),
    [
        ("strong_acid_naoh_harvey_9_2", "ph", 25.00, 0.005),
        ("acetic_acid_naoh_sparse", "ph", 100.0, 0.001),
        ("iron_cerium_redox_harvey_9_17", "e_v_she", 50.0, 0.05),
        ("weak_acid_naoh_harvey_9_5", "ph", 15.60 + 0.10 * 24.0 / (24.0 + 11.0), 0.0005),  # printed column
        ("oxalic_acid_naoh_mv_and_ph", "mv", 5.90 + 0.30 * 1606.667 / (1606.667 + 1673.333), 0.0005),
    ],
)
def test_second_derivative_end_points__published_equivalence(
    name: str, signal: str, true_ml: float, within_ml: float
) -> None:
    point = second_derivative_end_points(published(name, signal)).only()
    assert point.volume_ml == pytest.approx(true_ml, abs=within_ml)
    assert Mark.TIED not in point.marks


# A grid of curves whose truth is known.

# Greatest error of the zero of the second derivative over all phases, from an independent computation on a
# wine of the same kind (25 mL, near 17 mL), rounded up.
BIAS_ML = {0.02: 0.004, 0.05: 0.0125, 0.1: 0.029, 0.2: 0.067, 0.5: 0.18}


@pytest.mark.parametrize(("step_ml", "most_ml"), BIAS_ML.items())
@pytest.mark.parametrize(("noise", "drift"), [(0.0, 0.0), (0.005, 0.0), (0.01, 0.05), (0.02, -0.05)])
def test_second_derivative_end_points__independent_charge_balance_grid(
    step_ml: float, most_ml: float, noise: float, drift: float
) -> None:
    phases = [0.0, 0.15, 0.3, 0.5, 0.65, 0.8]
    curves = [wine(step_ml, phase=phase, noise=noise, drift=drift) for phase in phases]
    errors = [second_derivative_end_points(curve).only().volume_ml - EQUIVALENCE_ML for curve in curves]
    assert max(map(abs, errors)) <= most_ml


@pytest.mark.parametrize(("step_ml", "most_ml"), BIAS_ML.items())
def test_second_derivative_end_points__independent_bias_is_as_large_as_the_table_says(
    step_ml: float, most_ml: float
) -> None:
    phases = [i / 20 for i in range(20)]
    found = [second_derivative_end_points(wine(step_ml, phase=phase)).only().volume_ml for phase in phases]
    assert max(abs(volume - EQUIVALENCE_ML) for volume in found) > 0.8 * most_ml


@pytest.mark.parametrize("noise", [0.02, 0.05])
def test_second_derivative_end_points__independent_heavy_noise_on_fine_steps(noise: float) -> None:
    for seed in range(5):
        point = second_derivative_end_points(wine(0.02, noise=noise, seed=seed)).only()
        assert point.volume_ml == pytest.approx(EQUIVALENCE_ML, abs=0.01)


def test_second_derivative_end_points__independent_phreeqc_curve() -> None:
    volumes = [16.0 + 0.05 * i for i in range(100)]
    found = second_derivative_end_points(clean_curve(volumes, ph_at(WINE, volumes))).only().volume_ml
    assert found == pytest.approx(WINE.equivalence_ml, abs=0.0125)


@pytest.mark.parametrize("step_ml", [0.05, 0.1, 0.2, 0.5])
def test_first_derivative_end_points__independent_within_half_a_step(step_ml: float) -> None:
    for phase in (0.0, 0.25, 0.5, 0.75):
        found = first_derivative_end_points(wine(step_ml, phase=phase)).only().volume_ml
        assert found == pytest.approx(EQUIVALENCE_ML, abs=0.5 * step_ml + 0.01)


@pytest.mark.parametrize("step_ml", [0.1, 0.2, 0.5])
@pytest.mark.parametrize(("noise", "drift"), [(0.005, 0.0), (0.01, 0.05), (0.02, -0.05)])
def test_first_derivative_end_points__independent_within_a_step_through_noise_and_drift(
    step_ml: float, noise: float, drift: float
) -> None:
    for phase in (i / 10 for i in range(10)):
        found = first_derivative_end_points(wine(step_ml, phase=phase, noise=noise, drift=drift)).only()
        assert found.volume_ml == pytest.approx(EQUIVALENCE_ML, abs=step_ml + 0.01)


def test_first_derivative_end_points__independent_near_the_steepest_place_of_a_spline() -> None:
    curve = wine(0.1)
    slope = CubicSpline(curve.volume_ml, curve.signal).derivative()
    best = minimize_scalar(lambda v: -float(slope(v)), bounds=(17.5, 19.0), method="bounded").x
    assert first_derivative_end_points(curve).only().volume_ml == pytest.approx(best, abs=0.06)


# Limits.


def test_second_derivative_end_points__limit_a_symmetric_jump_is_met_exactly() -> None:
    assert second_derivative_end_points(jump(5.0)).only().volume_ml == pytest.approx(5.0, abs=1e-9)


def test_second_derivative_end_points__limit_a_jump_between_readings_is_met_exactly() -> None:
    assert second_derivative_end_points(jump(5.05)).only().volume_ml == pytest.approx(5.05, abs=1e-9)


def test_first_derivative_end_points__limit_a_jump_between_readings_is_met_exactly() -> None:
    point = first_derivative_end_points(jump(5.05)).only()
    assert point.volume_ml == pytest.approx(5.05)
    assert (point.low_ml, point.high_ml) == pytest.approx((5.0, 5.1))
    assert point.slope == pytest.approx((curve_at(5.1) - curve_at(5.0)) / 0.1)
    assert point.signal == pytest.approx(4.0)


def curve_at(volume_ml: float) -> float:
    return 4.0 + 6.0 * math.tanh((volume_ml - 5.05) / 0.2)


# Laws.


@settings(max_examples=25)
@given(st.floats(0.2, 5.0), st.floats(-100.0, 100.0), st.sampled_from([1.0, -1.0]))
def test_second_derivative_end_points__law_scale_offset_and_sign_move_nothing(
    scale: float, offset: float, sign: float
) -> None:
    curve = jump(5.03)
    changed = Curve(curve.volume_ml, tuple(offset + sign * scale * y for y in curve.signal))
    plain = second_derivative_end_points(curve).only()
    assert second_derivative_end_points(changed).only().volume_ml == pytest.approx(plain.volume_ml, abs=1e-6)


@settings(max_examples=25)
@given(st.floats(0.5, 20.0), st.floats(0.0, 30.0))
def test_first_derivative_end_points__law_stretching_the_volume_stretches_the_answer(
    stretch: float, start_ml: float
) -> None:
    curve = jump(5.05)
    changed = Curve(tuple(start_ml + stretch * v for v in curve.volume_ml), curve.signal)
    assert first_derivative_end_points(changed).only().volume_ml == pytest.approx(start_ml + stretch * 5.05)


@settings(max_examples=25)
@given(st.floats(2.0, 8.0))
def test_second_derivative_end_points__law_the_answer_lies_in_its_bracket(centre_ml: float) -> None:
    point = second_derivative_end_points(jump(centre_ml)).only()
    assert point.low_ml <= point.volume_ml <= point.high_ml
    assert point.bracket_ml == pytest.approx(0.1)


# Several end points.


def test_second_derivative_end_points__independent_two_end_points_of_phosphoric_acid() -> None:
    curve = clean_curve(*read(PHOSPHORIC_ACID, 0.2, phase=0.3, end_ml=26.0))
    found = second_derivative_end_points(curve)
    assert [point.volume_ml for point in found.found] == [
        pytest.approx(10.0, abs=0.08),
        pytest.approx(20.0, abs=0.08),
    ]


def test_a_small_second_jump_counts_from_its_share_on() -> None:
    volumes = tuple(0.1 * i for i in range(101))
    signal = tuple(10 * math.tanh((v - 3.05) / 0.2) + 2 * math.tanh((v - 7.05) / 0.2) for v in volumes)
    curve = Curve(volumes, signal)
    assert len(second_derivative_end_points(curve, EndPointLimits(least_share=0.19))) == 2
    assert len(second_derivative_end_points(curve, EndPointLimits(least_share=0.21))) == 1


def test_two_jumps_that_run_into_each_other_are_one() -> None:
    volumes = tuple(0.1 * i for i in range(101))
    signal = tuple(math.tanh((v - 4.9) / 0.3) + math.tanh((v - 5.3) / 0.3) for v in volumes)
    assert len(second_derivative_end_points(Curve(volumes, signal))) == 1


# None, with a reason.


@pytest.mark.parametrize("evaluate", [first_derivative_end_points, second_derivative_end_points])
@pytest.mark.parametrize(
    ("volumes", "reason"),
    [
        ((0.0, 1.0, 2.0, 3.0), NoEndPoint.TOO_FEW_POINTS),
        ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0), NoEndPoint.SPAN_TOO_SMALL),
    ],
)
def test_a_short_or_level_curve_has_no_end_point(
    evaluate: type, volumes: tuple[float, ...], reason: NoEndPoint
) -> None:
    assert evaluate(Curve(volumes, (7.0,) * len(volumes))).reason is reason


def test_first_derivative_end_points__limit_a_straight_line_has_no_jump() -> None:
    volumes = tuple(map(float, range(20)))
    signal = tuple(v + 0.2 * math.sin(v) for v in volumes)
    assert first_derivative_end_points(Curve(volumes, signal)).reason is NoEndPoint.NO_JUMP


def test_second_derivative_end_points__limit_noise_alone_is_no_jump() -> None:
    source = np.random.default_rng(2)
    for _ in range(20):
        curve = Curve(tuple(map(float, range(60))), tuple(source.standard_normal(60).tolist()))
        assert second_derivative_end_points(curve).reason in {NoEndPoint.NO_JUMP, NoEndPoint.EDGE}


def test_a_run_that_stops_at_the_jump_says_so() -> None:
    found = second_derivative_end_points(wine(0.1).between(0.0, 18.25))
    assert found.reason is NoEndPoint.EDGE
    assert "is the first or the last" in found.detail


def test_a_run_that_begins_at_the_jump_says_so() -> None:
    assert second_derivative_end_points(wine(0.1).between(18.35, 21.0)).reason is NoEndPoint.EDGE


@pytest.mark.parametrize(
    ("low_ml", "high_ml", "reason"),
    [(18.15, 21.0, NoEndPoint.TOO_FEW_BEFORE), (10.0, 18.55, NoEndPoint.TOO_FEW_AFTER)],
)
def test_two_points_on_a_side_are_too_few(low_ml: float, high_ml: float, reason: NoEndPoint) -> None:
    found = second_derivative_end_points(wine(0.1).between(low_ml, high_ml))
    assert found.reason is reason
    assert "2 points" in found.detail


def test_three_points_on_either_side_are_enough() -> None:
    assert len(second_derivative_end_points(wine(0.1).between(18.05, 18.65))) == 1


def test_a_gap_at_the_jump_is_refused_if_it_is_too_wide() -> None:
    curve = wine(0.5)
    assert (
        second_derivative_end_points(curve, EndPointLimits(widest_gap_ml=0.4)).reason
        is NoEndPoint.GAP_TOO_WIDE
    )
    assert len(second_derivative_end_points(curve, EndPointLimits(widest_gap_ml=0.6))) == 1


def test_a_jump_against_the_given_direction_does_not_count() -> None:
    limits = EndPointLimits(direction=Direction.FALLING)
    assert second_derivative_end_points(jump(), limits).reason in {NoEndPoint.EDGE, NoEndPoint.NO_JUMP}


# Marks and quality.


def test_a_wide_step_and_heavy_noise_are_marked() -> None:
    assert second_derivative_end_points(wine(0.2)).only().marks == (Mark.WIDE_BRACKET,)
    assert second_derivative_end_points(wine(0.05)).only().marks == ()
    assert Mark.NOISY in second_derivative_end_points(wine(0.05, noise=0.3)).only().marks


def test_signal_to_noise_is_the_rise_over_the_noise() -> None:
    clear = second_derivative_end_points(wine(0.05, noise=0.01)).only()
    assert clear.signal_to_noise == pytest.approx(4.0 / 0.01, rel=0.5)
    assert second_derivative_end_points(STEPS).only().signal_to_noise == math.inf


STEPS = Curve(tuple(map(float, range(20))), (0.0,) * 9 + (1.0, 9.0) + (10.0,) * 9)


def test_rail_readings_and_a_wrong_volume_do_not_move_the_end_point() -> None:
    volumes, signal = read(WINE, 0.1, end_ml=END_ML)
    plain = second_derivative_end_points(clean_curve(volumes, signal)).only().volume_ml
    signal[40], volumes[60], signal[100] = 16.0, 99.0, math.nan
    spoilt = clean_curve(volumes, signal, rail_low=0.0, rail_high=14.0)
    assert second_derivative_end_points(spoilt).only().volume_ml == plain


def test_a_strong_acid_is_found_within_a_hundredth_of_a_step() -> None:
    curve = clean_curve(*read(STRONG_ACID, 0.1, phase=0.4, end_ml=30.0))
    assert second_derivative_end_points(curve).only().volume_ml == pytest.approx(25.0, abs=0.02)


# Refusals.


@pytest.mark.parametrize("bad", [math.nan, -1.0])
def test_first_derivative_end_points__refuses_limits_that_make_no_sense(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        first_derivative_end_points(jump(), EndPointLimits(least_span=bad))


@pytest.mark.parametrize("bad", [math.inf, -1.0])
def test_second_derivative_end_points__refuses_limits_that_make_no_sense(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        second_derivative_end_points(jump(), EndPointLimits(wide_bracket_ml=bad))


# Each setting, on either side of it.


def of_steps(steps: list[float]) -> Curve:
    """Curve with the given slopes over steps of 1 mL."""
    return Curve(
        tuple(map(float, range(len(steps) + 1))), tuple(sum(steps[:i]) for i in range(len(steps) + 1))
    )


def zigzag(rise: float, places: tuple[int, ...]) -> Curve:
    """Readings of +1 and -1 in turn, and a rise of the signal by `rise` at each place."""
    signal = [(-1.0) ** i + rise * sum(i >= place for place in places) for i in range(60)]
    return Curve(tuple(map(float, range(60))), tuple(signal))


# Each of +1, -1, +1 lies 2 from the mean of its neighbours, whose scatter is sqrt(1.5) of one reading's.
ZIGZAG_NOISE = 1.482602218505602 * 2 / math.sqrt(1.5)


@pytest.mark.parametrize(("share", "tied"), [(0.981, True), (0.979, False)])
def test_a_neighbour_of_98_hundredths_is_a_tie(share: float, tied: bool) -> None:
    point = first_derivative_end_points(of_steps([1.0] * 4 + [10.0, 10.0 * share] + [1.0] * 4)).only()
    assert (Mark.TIED in point.marks) is tied


@pytest.mark.parametrize(("steep", "found"), [(3.01, 1), (2.99, 0)])
def test_a_jump_is_three_times_as_steep_as_usual(steep: float, found: int) -> None:
    assert len(second_derivative_end_points(of_steps([1.0] * 5 + [steep] + [1.0] * 4))) == found


@pytest.mark.parametrize(("to_noise", "found"), [(8.05, 1), (7.95, 0)])
def test_a_jump_rises_by_eight_times_the_noise(to_noise: float, found: int) -> None:
    rise = to_noise * ZIGZAG_NOISE - 2.0  # the readings beside it add 2
    result = first_derivative_end_points(zigzag(rise, (30,)))
    assert len(result) == found
    assert found == 1 or result.reason is NoEndPoint.NO_JUMP


@pytest.mark.parametrize(("to_noise", "noisy"), [(29.8, True), (30.2, False)])
def test_a_jump_of_thirty_times_the_noise_is_clear(to_noise: float, noisy: bool) -> None:
    point = first_derivative_end_points(zigzag(to_noise * ZIGZAG_NOISE - 2.0, (30,))).only()
    assert point.signal_to_noise == pytest.approx(to_noise)
    assert (Mark.NOISY in point.marks) is noisy


@pytest.mark.parametrize(("to_noise", "found"), [(8.05, 2), (7.95, 1)])
def test_a_second_jump_rises_by_eight_times_the_noise_too(to_noise: float, found: int) -> None:
    lower = zigzag(to_noise * ZIGZAG_NOISE - 2.0, (40,))
    higher = zigzag(100.0, (20,))
    both = Curve(
        lower.volume_ml,
        tuple(a + b - (-1.0) ** i for i, (a, b) in enumerate(zip(lower.signal, higher.signal, strict=True))),
    )
    assert len(first_derivative_end_points(both)) == found


@pytest.mark.parametrize(("to_noise", "found"), [(6.05, 2), (5.95, 1)])
def test_two_jumps_are_parted_by_six_times_the_noise_of_a_slope(to_noise: float, found: int) -> None:
    # The lower jump takes two steps of a + 2 and a - 2; the slope between the jumps goes down to -2.
    half = to_noise * math.sqrt(2) * ZIGZAG_NOISE - 4.0
    curve = zigzag(half, (40, 41))
    both = Curve(curve.volume_ml, tuple(y + 100.0 * (i >= 20) for i, y in enumerate(curve.signal)))
    assert len(first_derivative_end_points(both)) == found


def test_limits_are_a_tenth_of_a_millilitre_three_points_and_a_tenth_of_the_slope() -> None:
    limits = EndPointLimits()
    assert (limits.wide_bracket_ml, limits.points_each_side, limits.least_share) == (0.1, 3, 0.1)
    assert (limits.least_span, limits.widest_gap_ml) == (0.0, math.inf)


def test_five_points_are_looked_at_and_four_are_not() -> None:
    steps = [1.0, 9.0, 1.0, 1.0]
    bare = EndPointLimits(points_each_side=1)
    assert len(second_derivative_end_points(of_steps(steps), bare)) == 1
    assert second_derivative_end_points(of_steps(steps[:3]), bare).reason is NoEndPoint.TOO_FEW_POINTS
