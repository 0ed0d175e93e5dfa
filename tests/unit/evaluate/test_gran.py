import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evaluate.curve import Curve, clean_curve
from evaluate.end_point import EndPointLimits, Mark, NoEndPoint
from evaluate.errors import OutOfRangeError, TooFewPointsError
from evaluate.gran import GranKind, gran_end_point, gran_values, gran_values_of_potential
from tests.fakes.titration_curves import STRONG_ACID, Acid, Flask, read
from tests.fakes.titration_phreeqc import ph_at
from tundish.selftest.tables import rows

WEAK_ACID = Flask(50.0, (Acid(0.05, (4.76,)),), 0.0, 0.1)  # ends at 25 mL
LINE = Curve((0.0, 1.0, 2.0, 3.0), (4.0, 3.0, 2.0, 1.0))


def published(name: str, signal: str = "ph") -> Curve:
    table = rows(f"titration_curves/{name}.csv")
    volumes = [float(next(iter(row.values()))) for row in table]
    return clean_curve(volumes, [float(row[signal]) for row in table])


def strong(low_ml: float, high_ml: float) -> Curve:
    return clean_curve(*read(STRONG_ACID, 1.0, end_ml=40.0)).between(low_ml, high_ml)


# What is left over.


def test_gran_values__published_strong_acid() -> None:
    # Harvey 2000, table 9.2: 0.100 mol/L in 50.00 mL is 5 mmol; after 20.00 mL of 0.200 mol/L, 1 mmol.
    values = gran_values(published("strong_acid_naoh_harvey_9_2"), GranKind.ACID, 50.0)
    assert values.signal[0] == pytest.approx(5.0, abs=0.005)
    assert values.at(20.0) == pytest.approx(1.0, abs=0.015)


def test_gran_values__closed_form_worked_by_hand() -> None:
    curve = Curve((2.0, 3.0), (3.0, 11.0))
    assert gran_values(curve, GranKind.ACID, 48.0).signal == pytest.approx((0.05, 51e-11))
    assert gran_values(curve, GranKind.BASE, 48.0).signal == pytest.approx((50e-11, 0.051))
    assert gran_values(curve, GranKind.BASE, 48.0, pkw=13.0).signal == pytest.approx((50e-10, 0.51))
    assert gran_values(curve, GranKind.WEAK_ACID).signal == pytest.approx((0.002, 3e-11))


def test_gran_values__limit_no_flask_volume_makes_acid_and_weak_acid_alike() -> None:
    curve = Curve((2.0, 3.0), (3.0, 4.0))
    assert gran_values(curve, GranKind.ACID).signal == gran_values(curve, GranKind.WEAK_ACID).signal


@given(st.floats(0.0, 14.0), st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_gran_values__law_acid_times_base_is_the_ion_product(ph: float, volume: float, start: float) -> None:
    curve = Curve((volume,), (ph,))
    acid = gran_values(curve, GranKind.ACID, start).signal[0]
    base = gran_values(curve, GranKind.BASE, start).signal[0]
    assert acid * base == pytest.approx((start + volume) ** 2 * 1e-14, rel=1e-9)


def test_gran_values__independent_charge_balance_leaves_what_stoichiometry_says() -> None:
    values = gran_values(strong(0.0, 20.0), GranKind.ACID, 50.0)
    wanted = [0.2 * (25.0 - v) for v in values.volume_ml]
    assert values.signal == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize("bad", [math.inf, -1.0, math.nan])
def test_gran_values__refuses_a_start_volume_that_is_none(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="start volume"):
        gran_values(Curve((1.0,), (3.0,)), GranKind.ACID, bad)


@pytest.mark.parametrize(("ph", "pkw"), [(-1.01, 14.0), (15.1, 14.0), (3.0, 11.9), (3.0, 15.1)])
def test_gran_values__refuses_what_no_flask_shows(ph: float, pkw: float) -> None:
    with pytest.raises(OutOfRangeError, match=r"pH|pKw"):
        gran_values(Curve((1.0,), (ph,)), GranKind.BASE, 1.0, pkw)


# From a potential.


@pytest.mark.parametrize(("low_cm3", "grams"), [(0.0, 3.1614), (4.0, 3.1684)])
def test_gran_values_of_potential__published_sea_water(low_cm3: float, grams: float) -> None:
    # SOP 3b of 2007: 140.32 g, acid of 1.02393 g/cm3, 24.25 degrees; simple Gran line on its data.
    volts = published("seawater_alkalinity_sop3b", "e_v").between(low_cm3, 9.0)
    curve = Curve(volts.volume_ml, tuple(1000 * e for e in volts.signal))
    values = gran_values_of_potential(curve, 140.32 / 1.02393, 24.25, rises=True)
    assert gran_end_point(values).only().volume_ml * 1.02393 == pytest.approx(grams, abs=0.0001)


def test_gran_values_of_potential__limit_the_greatest_exponential_is_one() -> None:
    values = gran_values_of_potential(Curve((1.0, 2.0), (100.0, -9000.0)), 9.0, 25.0, rises=True)
    assert values.signal == pytest.approx((10.0, 0.0), abs=1e-100)


@settings(max_examples=30)
@given(st.floats(-500.0, 500.0), st.floats(0.0, 100.0), st.booleans())
def test_gran_values_of_potential__law_an_offset_of_the_electrode_does_not_matter(
    offset: float, temperature: float, rises: bool
) -> None:
    mv = (50.0, 40.0, 25.0, 0.0)
    plain = gran_values_of_potential(Curve((1.0, 2.0, 3.0, 4.0), mv), 20.0, temperature, rises=rises)
    moved = Curve((1.0, 2.0, 3.0, 4.0), tuple(e + offset for e in mv))
    values = gran_values_of_potential(moved, 20.0, temperature, rises=rises)
    assert values.signal == pytest.approx(plain.signal, rel=1e-9)


@pytest.mark.parametrize("rises", [True, False])
def test_gran_values_of_potential__independent_of_the_way_by_ph(rises: bool) -> None:
    curve = strong(0.0, 24.0)
    sign = -59.15934 if rises else 59.15934  # mV per pH at 25 degrees, CODATA 2022
    potential = Curve(curve.volume_ml, tuple(400.0 + sign * ph for ph in curve.signal))
    by_mv = gran_end_point(gran_values_of_potential(potential, 50.0, 25.0, rises=rises)).only().volume_ml
    assert by_mv == pytest.approx(25.0, abs=0.001)


@pytest.mark.parametrize(
    ("start", "temperature"), [(-1.0, 25.0), (1.0, -0.1), (1.0, 100.1), (math.nan, 25.0)]
)
def test_gran_values_of_potential__refuses_what_no_flask_is(start: float, temperature: float) -> None:
    with pytest.raises(OutOfRangeError):
        gran_values_of_potential(Curve((1.0,), (3.0,)), start, temperature, rises=True)


def test_gran_values_of_potential__refuses_an_empty_curve() -> None:
    with pytest.raises(TooFewPointsError, match="points of a Gran line: 0 given, at least 1"):
        gran_values_of_potential(Curve((), ()), 1.0, 25.0, rises=True)


# The line.


@pytest.mark.parametrize(
    ("low_ml", "high_ml", "found_ml"), [(14.0, 15.6, 15.631), (10.0, 15.6, 15.570), (12.0, 15.5, 15.531)]
)
def test_gran_end_point__published_weak_acid(low_ml: float, high_ml: float, found_ml: float) -> None:
    # Harvey 2000, table 9.5; the choice of points moves the answer by 0.1 mL.
    part = published("weak_acid_naoh_harvey_9_5").between(low_ml, high_ml)
    found = gran_end_point(gran_values(part, GranKind.WEAK_ACID), least_r_squared=0.99).only()
    assert found.volume_ml == pytest.approx(found_ml, abs=0.0006)


def test_gran_end_point__published_misprint_is_caught_by_the_guard() -> None:
    # Harvey 2000, table 9.2: 12.50 at 30.00 mL is a misprint for 12.10.
    curve = published("strong_acid_naoh_harvey_9_2").between(26.0, 50.0)
    spoilt = gran_end_point(gran_values(curve, GranKind.BASE, 50.0))
    assert spoilt.reason is NoEndPoint.NOT_STRAIGHT
    assert "0.897" in spoilt.detail


def test_gran_end_point__published_strong_acid_with_its_slope() -> None:
    curve = published("strong_acid_naoh_harvey_9_2").between(0.0, 24.0)
    found = gran_end_point(gran_values(curve, GranKind.ACID, 50.0), slope=-0.200).only()
    assert found.volume_ml == pytest.approx(25.00, abs=0.01)
    assert found.slope == pytest.approx(-0.200, rel=0.01)


@pytest.mark.parametrize(
    ("kind", "low_ml", "high_ml", "slope"),
    [(GranKind.ACID, 10.0, 24.0, -0.2), (GranKind.BASE, 26.0, 39.0, 0.2)],
)
def test_gran_end_point__independent_charge_balance(
    kind: GranKind, low_ml: float, high_ml: float, slope: float
) -> None:
    found = gran_end_point(gran_values(strong(low_ml, high_ml), kind, 50.0), slope=slope).only()
    assert found.volume_ml == pytest.approx(25.0, abs=0.001)


def test_gran_end_point__independent_phreeqc_weak_acid() -> None:
    volumes = [20.0 + 0.5 * i for i in range(10)]
    curve = clean_curve(volumes, ph_at(WEAK_ACID, volumes))
    assert gran_end_point(gran_values(curve, GranKind.WEAK_ACID)).only().volume_ml == pytest.approx(
        25.0, abs=0.005
    )


def test_gran_end_point__independent_polyfit() -> None:
    values = gran_values(strong(5.0, 20.0), GranKind.ACID, 50.0)
    slope, intercept = np.polyfit(values.volume_ml, values.signal, 1)
    found = gran_end_point(values).only()
    assert found.volume_ml == pytest.approx(float(-intercept / slope), abs=1e-9)
    assert found.slope == pytest.approx(float(slope))


def zero_by_numpy(volume_ml: list[float], ph: list[float]) -> float:
    volumes = np.array(volume_ml)
    slope, at_zero = np.polyfit(volumes, (50.0 + volumes) * 10 ** -np.array(ph), 1)
    return float(-at_zero / slope)


def spread_of_zero_ml(volume_ml: list[float], noise: float) -> float:
    """Propagate a noise of pH through least squares to the zero of the line that has it at 25 mL."""
    volumes = np.array(volume_ml)
    left, away = 25.0 - volumes, volumes - volumes.mean()
    weights = 1 / len(volumes) + (25.0 - volumes.mean()) * away / (away @ away)
    return float(np.sqrt(np.sum((weights * left) ** 2)) * math.log(10) * noise)


@pytest.mark.parametrize("step_ml", [0.1, 0.2, 0.5, 1.0])
@pytest.mark.parametrize(("noise", "drift"), [(0.0, 0.0), (0.002, 0.0), (0.005, 0.02), (0.005, -0.02)])
def test_gran_end_point__independent_charge_balance_grid(step_ml: float, noise: float, drift: float) -> None:
    for phase in (i / 10 for i in range(10)):
        volumes, ph = read(STRONG_ACID, step_ml, phase=phase, end_ml=24.0, noise=noise, drift=drift, seed=3)
        _, still = read(STRONG_ACID, step_ml, phase=phase, end_ml=24.0, drift=drift)
        moved_ml = abs(zero_by_numpy(volumes, still) - 25.0)
        found = gran_end_point(gran_values(Curve(tuple(volumes), tuple(ph)), GranKind.ACID, 50.0)).only()
        assert found.volume_ml == pytest.approx(zero_by_numpy(volumes, ph), abs=1e-6)
        assert abs(found.volume_ml - 25.0) <= moved_ml + 4 * spread_of_zero_ml(volumes, noise) + 0.001


def test_gran_end_point__limit_points_of_a_line_give_its_zero_and_no_bracket() -> None:
    point = gran_end_point(LINE).only()
    assert (point.volume_ml, point.low_ml, point.high_ml) == (4.0, 4.0, 4.0)
    assert point.signal_to_noise == math.inf


@given(st.floats(0.1, 100.0), st.floats(0.0, 50.0), st.floats(0.01, 10.0))
def test_gran_end_point__law_scale_does_not_matter_and_shift_carries_over(
    scale: float, shift: float, stretch: float
) -> None:
    changed = Curve(
        tuple(shift + stretch * v for v in LINE.volume_ml), tuple(-scale * y for y in LINE.signal)
    )
    assert gran_end_point(changed).only().volume_ml == pytest.approx(shift + 4 * stretch, rel=1e-9)


def test_the_bracket_runs_over_the_zeros_of_either_half() -> None:
    # Halves of slope -1 and -2 through (0, 10), (1, 9) and (2, 8), (3, 6): zeros at 10 and 6 mL.
    point = gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (10.0, 9.0, 8.0, 6.0)), least_r_squared=0.9).only()
    assert (point.low_ml, point.high_ml) == pytest.approx((6.0, 10.0))
    assert Mark.WIDE_BRACKET in point.marks


def test_a_bracket_that_is_too_wide_is_refused() -> None:
    values = Curve((0.0, 1.0, 2.0, 3.0), (10.0, 9.0, 8.0, 6.0))
    limits = EndPointLimits(widest_gap_ml=3.9)
    assert gran_end_point(values, limits, least_r_squared=0.9).reason is NoEndPoint.GAP_TOO_WIDE


def test_a_level_half_leaves_the_bracket_open() -> None:
    point = gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (10.0, 10.0, 8.0, 6.0)), least_r_squared=0.5).only()
    assert point.high_ml == math.inf


@pytest.mark.parametrize(
    ("slope", "found"), [(-1.1107, 1), (-0.9095, 1), (-1.1115, 0), (-0.9085, 0), (1.0, 0)]
)
def test_the_slope_must_be_near_the_one_of_theory(slope: float, found: int) -> None:
    result = gran_end_point(LINE, slope=slope)
    assert len(result) == found
    assert found == 1 or result.reason is NoEndPoint.WRONG_SLOPE


def test_three_points_are_too_few_and_four_are_enough() -> None:
    assert gran_end_point(LINE.between(0.0, 2.0)).reason is NoEndPoint.TOO_FEW_POINTS
    assert len(gran_end_point(LINE)) == 1


def test_level_points_have_no_zero() -> None:
    assert gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (5.0,) * 4)).reason is NoEndPoint.SPAN_TOO_SMALL
    around = gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (5.0, 6.0, 6.0, 5.0)), least_r_squared=0.0)
    assert around.reason is NoEndPoint.WRONG_SLOPE


def test_a_zero_far_beyond_the_points_is_marked() -> None:
    assert gran_end_point(LINE).only().marks == ()
    far = gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (10.0, 9.0, 8.0, 7.0))).only()
    before = gran_end_point(Curve((10.0, 11.0, 12.0, 13.0), (10.0, 11.0, 12.0, 13.0))).only()
    assert far.marks == before.marks == (Mark.FAR_EXTRAPOLATION,)


def test_a_good_line_does_not_prove_a_right_answer() -> None:
    # Sea water: true 3.0830 cm3, and the simple line lies 0.15 % high with an r squared of 0.99999.
    volts = published("seawater_alkalinity_sop3b", "e_v")
    curve = Curve(volts.volume_ml, tuple(1000 * e for e in volts.signal))
    values = gran_values_of_potential(curve, 140.32 / 1.02393, 24.25, rises=True)
    point = gran_end_point(values, least_r_squared=0.9999).only()
    assert point.volume_ml == pytest.approx(3.0830 * 1.0015, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "bad"),
    [("least_r_squared", -0.1), ("least_r_squared", 1.005), ("slope_share", 0.0), ("slope_share", math.nan)],
)
def test_gran_end_point__refuses_limits_that_make_no_sense(name: str, bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        gran_end_point(LINE, **{name: bad})  # type: ignore[arg-type]  # a keyword with a number


def test_a_line_must_explain_999_thousandths_unless_another_share_is_given() -> None:
    # Residuals of +1, -1, -1, +1 beside a slope of b: r squared is 1 - 4 / (5 b**2 + 4).
    def bent(r_squared: float) -> Curve:
        b = math.sqrt((4 / (1 - r_squared) - 4) / 5)
        return Curve((0.0, 1.0, 2.0, 3.0), (50 * b + 1, 49 * b - 1, 48 * b - 1, 47 * b + 1))

    assert len(gran_end_point(bent(0.99901))) == 1
    assert gran_end_point(bent(0.99899)).reason is NoEndPoint.NOT_STRAIGHT


def test_the_ends_of_every_range_of_a_flask_are_taken() -> None:
    curve = Curve((1.0, 2.0), (-1.0, 15.0))
    assert len(gran_values(curve, GranKind.BASE, 0.0, 12.0)) == 2
    assert len(gran_values(curve, GranKind.BASE, 0.0, 15.0)) == 2
    assert len(gran_values_of_potential(curve, 0.0, 0.0, rises=True)) == 2
    assert len(gran_values_of_potential(curve, 0.0, 100.0, rises=True)) == 2
    assert len(gran_values_of_potential(curve.between(0.0, 1.0), 0.0, 25.0, rises=True)) == 1


def test_a_point_as_far_away_as_the_points_span_is_not_marked() -> None:
    at_the_limit = gran_end_point(Curve((0.0, 1.0, 2.0, 3.0), (6.0, 5.0, 4.0, 3.0))).only()
    assert at_the_limit.marks == ()
