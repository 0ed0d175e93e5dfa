import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.burette import burette_factor, delivered_volume, pump_factor, z_factor
from evaluate.errors import OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

FRACTION = 998.2068  # kg/m3, water at 20 degrees, IAPWS-95


@pytest.mark.parametrize("row", rows("volumes/water.csv"), ids=lambda row: row["temperature_c"])
def test_z_factor__published_formula_at_four_pressures(row: dict[str, str]) -> None:
    for column, hpa in (
        ("z_850hpa", 850.0),
        ("z_900hpa", 900.0),
        ("z_1013hpa", 1013.25),
        ("z_1050hpa", 1050.0),
    ):
        found = z_factor(float(row["temperature_c"]), hpa)
        assert found == pytest.approx(float(row[column]), abs=0.00001)


def test_z_factor__limit_thin_air_leaves_the_density_alone() -> None:
    # At 600 hPa the buoyancy is 60 % of that at 1000: Z less 1000/998.2068 falls in proportion.
    bare = 1000 / FRACTION
    assert (z_factor(20.0, 600.0, 0.0) - bare) / (z_factor(20.0, 1000.0, 0.0) - bare) == pytest.approx(
        0.6, abs=0.001
    )


@given(st.floats(5.0, 39.0), st.floats(600.0, 1090.0))
def test_z_factor__law_more_with_warmth_and_with_pressure(temperature: float, pressure: float) -> None:
    assert z_factor(temperature + 1, pressure) > z_factor(temperature, pressure)
    assert z_factor(temperature, pressure + 10) > z_factor(temperature, pressure)


def test_z_factor__independent_balance_of_forces() -> None:
    # One millilitre of water, less the air it displaces, against weights less the air they displace.
    air, water, steel = 1.2, FRACTION / 1000, 8.0
    grams = (water - air / 1000) / (1 - air / 1000 / steel)
    hpa = (1.2 * 293.15 + 0.009 * 50 * math.exp(1.22)) / 0.34848
    assert z_factor(20.0, hpa) == pytest.approx(1 / grams, abs=2e-7)


@pytest.mark.parametrize(
    ("temperature", "pressure"), [(-0.1, 1013.0), (40.1, 1013.0), (20.0, 599.0), (math.nan, 1013.0)]
)
def test_z_factor__refuses_what_no_laboratory_is(temperature: float, pressure: float) -> None:
    with pytest.raises(OutOfRangeError):
        z_factor(temperature, pressure)


def test_delivered_volume__closed_form_worked_delivery() -> None:
    # 9.9612 g at 22.0 degrees, Z 1.00328, 1e-5 a degree: 9.9937 mL.
    assert delivered_volume(9.9612, 22.0, 1013.0) == pytest.approx(9.9937, abs=0.00006)


def test_delivered_volume__limit_at_twenty_degrees_the_cylinder_does_not_count() -> None:
    stiff, soft = (delivered_volume(10.0, 20.0, expansion_per_c=e) for e in (0.0, 1e-3))
    assert stiff == soft == pytest.approx(10.0285, abs=0.0001)


@given(st.floats(0.1, 100.0), st.floats(0.1, 10.0))
def test_delivered_volume__law_in_proportion_to_the_mass(mass: float, share: float) -> None:
    assert delivered_volume(share * mass, 22.0) == pytest.approx(share * delivered_volume(mass, 22.0))


def test_delivered_volume__limit_a_cylinder_of_glass_unless_another_is_given() -> None:
    glass, stiff = delivered_volume(10.0, 40.0), delivered_volume(10.0, 40.0, expansion_per_c=0.0)
    assert glass / stiff == pytest.approx(1 - 20e-5, abs=1e-9)


def test_delivered_volume__independent_exact_fractions() -> None:
    exact = Fraction("9.9612") * Fraction("1.00328") * (1 - Fraction("0.00001") * 2)
    assert delivered_volume(9.9612, 22.0, 1013.0) == pytest.approx(float(exact), abs=0.00006)
    wide = delivered_volume(10.0, 30.0, expansion_per_c=1e-3) / delivered_volume(
        10.0, 30.0, expansion_per_c=0.0
    )
    assert wide == pytest.approx(0.99, abs=1e-12)


@pytest.mark.parametrize(
    ("mass", "temperature", "expansion"),
    [
        (0.0, 20.0, 1e-5),
        (-1.0, 20.0, 1e-5),
        (math.nan, 20.0, 1e-5),
        (10.0, 41.0, 1e-5),
        (10.0, 20.0, -1e-6),
        (10.0, 20.0, 1.005e-3),
    ],
)
def test_delivered_volume__refuses_what_is_no_delivery(
    mass: float, temperature: float, expansion: float
) -> None:
    with pytest.raises(OutOfRangeError):
        delivered_volume(mass, temperature, expansion_per_c=expansion)


def test_burette_factor__closed_form_worked_by_hand() -> None:
    # 9.98, 10.00, 10.02 of 10: factor 1, scatter 0.02 of 10. All 0.01 less: 0.1 % low.
    found = burette_factor(10.0, [9.97, 9.99, 10.01])
    assert found.factor == pytest.approx(0.999)
    assert found.systematic_pct == pytest.approx(-0.1)
    assert found.random_pct == pytest.approx(0.2)


@pytest.mark.parametrize(("count", "full"), [(9, False), (10, True)])
def test_burette_factor__limit_ten_deliveries_make_a_full_check(count: int, full: bool) -> None:
    found = burette_factor(10.0, [10.0] * count)
    assert found.factor == pytest.approx(1.0)
    assert (found.random_pct, found.n, found.is_full_check) == (0.0, count, full)


@given(st.lists(st.floats(9.0, 11.0), min_size=2, max_size=12), st.floats(0.1, 10.0))
def test_burette_factor__law_scale_changes_nothing(volumes: list[float], scale: float) -> None:
    plain, scaled = burette_factor(10.0, volumes), burette_factor(10 * scale, [scale * v for v in volumes])
    assert scaled.factor == pytest.approx(plain.factor)
    assert scaled.random_pct == pytest.approx(plain.random_pct, abs=1e-9)
    assert 1 + plain.systematic_pct / 100 == pytest.approx(plain.factor)


def test_burette_factor__independent_numpy() -> None:
    volumes = [9.9937, 9.9951, 9.9920, 9.9944]
    found = burette_factor(10.0, volumes)
    assert found.factor == pytest.approx(float(np.mean(volumes)) / 10)
    assert found.random_pct == pytest.approx(float(np.std(volumes, ddof=1)) * 10)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_burette_factor__refuses_what_is_no_volume(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        burette_factor(bad, [10.0, 10.0])
    with pytest.raises(OutOfRangeError):
        burette_factor(10.0, [10.0, bad])


def test_burette_factor__refuses_one_delivery() -> None:
    with pytest.raises(TooFewPointsError):
        burette_factor(10.0, [10.0])


def test_pump_factor__closed_form_true_over_found() -> None:
    found = pump_factor(0.1, [0.0990, 0.0992, 0.0988], most_rsd_pct=1.0)
    assert found.factor == pytest.approx(0.1 / 0.0990)
    assert found.rsd_pct == pytest.approx(100 * 0.0002 / 0.0990)
    assert found.is_accepted


def test_pump_factor__limit_a_true_pump() -> None:
    found = pump_factor(0.1, [0.1, 0.1, 0.1])
    assert found.factor == pytest.approx(1.0)
    assert (found.rsd_pct, found.n, found.reasons) == (0.0, 3, ())


@pytest.mark.parametrize(
    ("found", "reason"),
    [
        ([0.1, 0.1], "2 titrations, 3 are wanted"),
        ([0.0994, 0.1, 0.1006], "they scatter by 0.60 %, 0.5 % is allowed"),
        ([0.0949] * 3, "1.0537 is further than 5 % from 1"),
        ([0.1064] * 3, "0.9398 is further than 5 % from 1"),
    ],
)
def test_a_pump_factor_is_not_accepted_with_its_reason(found: list[float], reason: str) -> None:
    factor = pump_factor(0.1, found)
    assert factor.reasons == (reason,)
    assert not factor.is_accepted


def test_a_pump_factor_within_its_limits_is_accepted() -> None:
    assert pump_factor(0.1, [0.0996, 0.1, 0.1004]).is_accepted
    assert pump_factor(0.1, [0.1 / 1.0499] * 3).is_accepted
    assert pump_factor(0.1, [0.1 / 0.9501] * 3).is_accepted
    assert not pump_factor(0.1, [0.1 / 1.0501] * 3).is_accepted
    assert not pump_factor(0.1, [0.1 / 0.9499] * 3).is_accepted
    assert pump_factor(0.1, [0.1, 0.1], least_count=2).is_accepted


@given(st.floats(0.01, 1.0), st.floats(0.5, 2.0))
def test_pump_factor__law_the_factor_puts_the_finding_right(true: float, share: float) -> None:
    found = [true * share * s for s in (0.999, 1.0, 1.001)]
    assert pump_factor(true, found).factor * sum(found) / 3 == pytest.approx(true)


def test_pump_factor__independent_numpy() -> None:
    values = np.array([0.0991, 0.0994, 0.0989, 0.0993])
    found = pump_factor(0.1, values.tolist())
    assert found.factor == pytest.approx(float(0.1 / values.mean()))
    assert found.rsd_pct == pytest.approx(float(100 * values.std(ddof=1) / values.mean()))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_pump_factor__refuses_what_is_no_concentration_or_limit(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        pump_factor(bad, [0.1, 0.1])
    with pytest.raises(OutOfRangeError):
        pump_factor(0.1, [0.1, bad])
    with pytest.raises(OutOfRangeError):
        pump_factor(0.1, [0.1, 0.1], most_rsd_pct=bad)
    with pytest.raises(OutOfRangeError):
        pump_factor(0.1, [0.1, 0.1], most_change_pct=bad)


def test_pump_factor__refuses_one_titration() -> None:
    with pytest.raises(TooFewPointsError):
        pump_factor(0.1, [0.1])
    with pytest.raises(TooFewPointsError, match="wanted titrations"):
        pump_factor(0.1, [0.1, 0.1], least_count=1)
