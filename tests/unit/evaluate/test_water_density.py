import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from evaluate.errors import OutOfRangeError
from evaluate.water_density import air_density, water_density
from tundish.selftest.tables import rows


@pytest.mark.parametrize("row", rows("volumes/water.csv"), ids=lambda row: row["temperature_c"])
def test_water_density__published_iapws95(row: dict[str, str]) -> None:
    found = float(water_density(float(row["temperature_c"])))
    assert found == pytest.approx(float(row["density_iapws95_kg_m3"]), abs=0.0013)


def test_water_density__published_maximum() -> None:
    # Tanaka 2001: 999.974950 kg/m3 at 3.983035 degrees.
    assert float(water_density(3.983035)) == pytest.approx(999.974950, abs=1e-7)


def test_water_density__limit_both_ends_of_the_range() -> None:
    assert water_density([0.0, 40.0]) == pytest.approx([999.8428, 992.2152], abs=0.001)


@given(st.floats(4.0, 39.9), st.floats(0.01, 0.1))
def test_water_density__law_warmer_water_is_lighter_above_four_degrees(
    temperature: float, more: float
) -> None:
    assert float(water_density(temperature + more)) < float(water_density(temperature))


def test_water_density__independent_search_for_the_maximum() -> None:
    best = minimize_scalar(lambda t: -float(water_density(t)), bounds=(0.0, 10.0), method="bounded").x
    assert best == pytest.approx(3.983035, abs=1e-4)


def test_water_density__independent_expansion_at_twenty_degrees() -> None:
    # Cubic expansion of water at 20 degrees, 2.07e-4 per degree, to which the tables of physics agree.
    low, high = water_density([19.5, 20.5])
    assert (low - high) / 998.2 == pytest.approx(2.07e-4, abs=0.02e-4)


def test_water_density__limit_a_shape_is_kept() -> None:
    assert water_density(np.full((2, 3), 20.0)).shape == (2, 3)


@pytest.mark.parametrize("bad", [-0.1, 40.1, math.nan, math.inf])
def test_water_density__refuses_a_temperature_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="water temperature"):
        water_density([20.0, bad])


def test_air_density__closed_form_oiml_formula() -> None:
    # The two terms at 1013.25 hPa and 50 %, worked by hand; e to the 1.22 is 3.387188.
    assert air_density(20.0) == pytest.approx((353.097360 - 0.45 * 3.387188) / 293.15, rel=1e-6)


@pytest.mark.parametrize(("temperature", "density"), [(0.0, 1.29104), (5.0, 1.26725), (7.5, 1.25561)])
def test_air_density__closed_form_worked_values(temperature: float, density: float) -> None:
    assert air_density(temperature) == pytest.approx(density, abs=0.00001)


@pytest.mark.parametrize("temperature", [0.0, 15.0, 25.0, 40.0])
def test_air_density__independent_gas_law(temperature: float) -> None:
    # Dry air of 28.965 g/mol.
    gas_law = 101325 * 0.028965 / (8.314462618 * (273.15 + temperature))
    assert air_density(temperature, humidity_pct=0.0) == pytest.approx(gas_law, rel=5e-4)


def test_air_density__limit_dry_air_at_zero_degrees() -> None:
    assert air_density(0.0, 1000.0, 0.0) == pytest.approx(348.48 / 273.15, rel=1e-12)


@pytest.mark.parametrize(
    ("temperature", "pressure", "humidity"), [(0.0, 600.0, 0.0), (40.0, 1100.0, 100.0), (0.0, 1100.0, 100.0)]
)
def test_air_density__limit_of_each_range_is_taken(
    temperature: float, pressure: float, humidity: float
) -> None:
    assert 0.6 < air_density(temperature, pressure, humidity) < 1.5


@given(st.floats(0.0, 39.0), st.floats(600.0, 1090.0), st.floats(0.0, 99.0))
def test_air_density__law_denser_with_pressure_lighter_with_warmth_and_moisture(
    t: float, p: float, h: float
) -> None:
    plain = air_density(t, p, h)
    assert air_density(t, p + 10, h) > plain
    assert air_density(t + 1, p, h) < plain
    assert air_density(t, p, h + 1) < plain


@pytest.mark.parametrize(
    ("temperature", "pressure", "humidity"),
    [
        (-0.1, 1013.0, 50.0),
        (40.1, 1013.0, 50.0),
        (20.0, 599.0, 50.0),
        (20.0, 1101.0, 50.0),
        (20.0, 1013.0, -1.0),
        (20.0, 1013.0, 101.0),
        (math.nan, 1013.0, 50.0),
        (20.0, math.inf, 50.0),
    ],
)
def test_air_density__refuses_what_no_laboratory_is(
    temperature: float, pressure: float, humidity: float
) -> None:
    with pytest.raises(OutOfRangeError):
        air_density(temperature, pressure, humidity)
