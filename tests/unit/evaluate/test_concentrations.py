import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from evaluate.concentrations import (
    brix_from_density,
    density_from_brix,
    mg_per_l_from_ppm,
    molar_from_normality,
    normality_from_molar,
    ppm_from_mg_per_l,
)
from evaluate.errors import OutOfRangeError

NOT_FINITE = (math.nan, math.inf, -math.inf)
BRIX = st.floats(0.0, 60.0)

# Nicolaus Copernicus University, physics laboratory tables: % by mass and density at 20 °C [kg/m3].
DENSITY_TABLE = [(5, 1017.84), (10, 1038.13), (15, 1059.16), (20, 1080.94), (25, 1103.54), (30, 1126.98)]


@pytest.mark.parametrize(
    ("normality", "equivalents", "molar"),
    [
        (0.01, 2, 0.005),
        (1 / 64, 2, 1 / 128),
        (0.02, 2, 0.01),
        (0.05, 2, 0.025),
        (0.1, 6, 0.1 / 6),
        (0.1, 1, 0.1),
    ],
)
def test_molar_from_normality__closed_form_the_labels_on_the_bottles(
    normality: float, equivalents: int, molar: float
) -> None:
    assert molar_from_normality(normality, equivalents) == pytest.approx(molar, rel=1e-15)


def test_molar_from_normality__limit_zero_is_zero() -> None:
    assert molar_from_normality(0.0, 2) == 0.0


@given(st.floats(0.0, 10.0), st.integers(1, 8))
def test_molar_from_normality__law_the_round_trip_changes_nothing(normality: float, equivalents: int) -> None:
    molar = molar_from_normality(normality, equivalents)
    assert normality_from_molar(molar, equivalents) == pytest.approx(normality, rel=1e-12)


def test_molar_from_normality__independent_exact_fractions() -> None:
    assert molar_from_normality(0.3, 7) == pytest.approx(float(Fraction("0.3") / 7), rel=1e-15)


@pytest.mark.parametrize(
    ("normality", "equivalents"), [(-0.1, 2), (0.1, 0), (0.1, 9), (0.1, -1), (math.nan, 2)]
)
def test_molar_from_normality__refuses_bad_inputs(normality: float, equivalents: int) -> None:
    with pytest.raises(OutOfRangeError):
        molar_from_normality(normality, equivalents)


def test_molar_from_normality__limit_eight_equivalents_are_the_most() -> None:
    assert molar_from_normality(0.8, 8) == pytest.approx(0.1, rel=1e-15)
    with pytest.raises(OutOfRangeError, match=r"from 1 to 8, not 8\.05"):
        molar_from_normality(0.8, 8.05)  # type: ignore[arg-type]  # what a form may send


def test_molar_from_normality__refuses_half_an_electron() -> None:
    with pytest.raises(OutOfRangeError, match=r"whole number, not 1\.5"):
        molar_from_normality(0.1, 1.5)  # type: ignore[arg-type]  # what a form may send


def test_normality_from_molar__closed_form_iodine_and_iodate() -> None:
    assert normality_from_molar(0.01, 2) == pytest.approx(0.02, rel=1e-15)
    assert normality_from_molar(1 / 60, 6) == pytest.approx(0.1, rel=1e-15)


def test_normality_from_molar__limit_one_equivalent_changes_nothing() -> None:
    assert normality_from_molar(0.1, 1) == 0.1


@given(st.floats(0.0, 10.0), st.integers(1, 7))
def test_normality_from_molar__law_one_more_equivalent_adds_one_concentration(c: float, z: int) -> None:
    assert normality_from_molar(c, z + 1) - normality_from_molar(c, z) == pytest.approx(c, abs=1e-12)


def test_normality_from_molar__independent_exact_fractions() -> None:
    assert normality_from_molar(0.0123, 5) == pytest.approx(float(Fraction("0.0123") * 5), rel=1e-15)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_normality_from_molar__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        normality_from_molar(bad, 2)


def test_ppm_from_mg_per_l__closed_form_must_of_density_1_1() -> None:
    assert ppm_from_mg_per_l(110.0, 1.1) == pytest.approx(100.0, rel=1e-14)


def test_ppm_from_mg_per_l__limit_at_density_one_the_number_stays() -> None:
    assert ppm_from_mg_per_l(350.0, 1.0) == 350.0


@given(st.floats(0.0, 1000.0), st.floats(0.7, 1.5))
def test_ppm_from_mg_per_l__law_the_round_trip_changes_nothing(mg_per_l: float, density: float) -> None:
    assert mg_per_l_from_ppm(ppm_from_mg_per_l(mg_per_l, density), density) == pytest.approx(mg_per_l)


def test_ppm_from_mg_per_l__independent_mass_over_mass() -> None:
    litre_mg = Fraction("0.992") * 1000 * 1000  # a litre of dry wine
    assert ppm_from_mg_per_l(35.0, 0.992) == pytest.approx(float(Fraction(35) / litre_mg * 10**6), rel=1e-14)


@pytest.mark.parametrize(
    ("mg_per_l", "density"), [(-1, 1), (1, 0), (1, 0.69), (1, 1.51), (math.nan, 1), (1, math.nan)]
)
def test_ppm_from_mg_per_l__refuses_bad_inputs(mg_per_l: float, density: float) -> None:
    with pytest.raises(OutOfRangeError):
        ppm_from_mg_per_l(mg_per_l, density)


def test_mg_per_l_from_ppm__closed_form_must_of_density_1_1() -> None:
    assert mg_per_l_from_ppm(100.0, 1.1) == pytest.approx(110.0, rel=1e-14)


def test_mg_per_l_from_ppm__limit_nothing_is_nothing() -> None:
    assert mg_per_l_from_ppm(0.0, 1.1) == 0.0


@given(st.floats(0.0, 1000.0), st.floats(0.7, 1.4))
def test_mg_per_l_from_ppm__law_a_denser_liquid_holds_more_in_a_litre(ppm: float, density: float) -> None:
    assert mg_per_l_from_ppm(ppm, density + 0.1) >= mg_per_l_from_ppm(ppm, density)


def test_mg_per_l_from_ppm__independent_exact_fractions() -> None:
    assert mg_per_l_from_ppm(10.0, 0.9935) == pytest.approx(float(10 * Fraction("0.9935")), rel=1e-15)


@pytest.mark.parametrize("bad", [-1.0, *NOT_FINITE])
def test_mg_per_l_from_ppm__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        mg_per_l_from_ppm(bad, 1.0)


@pytest.mark.parametrize(("brix", "kg_per_m3"), DENSITY_TABLE)
def test_density_from_brix__published_university_table(brix: float, kg_per_m3: float) -> None:
    # Printed to 0.01 kg/m3 from an older scale of density, which begins 0.03 higher.
    assert density_from_brix(brix) * 1000 == pytest.approx(kg_per_m3, abs=0.06)


def test_density_from_brix__limit_no_sugar_is_water() -> None:
    # Water at 20 °C: 998.2 kg/m3 (Tanaka 2001 gives 998.2067).
    assert density_from_brix(0.0) * 1000 == pytest.approx(998.2067, abs=0.01)


@given(st.floats(0.0, 59.9))
def test_density_from_brix__law_more_sugar_is_denser(brix: float) -> None:
    assert density_from_brix(brix + 0.1) > density_from_brix(brix)


@pytest.mark.parametrize("brix", [1, 5, 10, 15, 20, 25, 30, 35, 40])
def test_density_from_brix__independent_polynomial_in_specific_gravity(brix: float) -> None:
    # A cubic fitted to the older NBS table, 0 to 40 °Brix, by apparent specific gravity in air at 20/20 °C.
    air = 0.0012
    gravity = (density_from_brix(brix) - air) / (density_from_brix(0.0) - air)
    by_gravity = float(np.polyval([182.46007, -775.68212, 1262.7794, -669.56218], gravity))
    assert by_gravity == pytest.approx(brix, abs=0.025)


def test_density_from_brix__independent_horner_scheme() -> None:
    coefficients = [-17.2890, 13.4853, -3.9643, 40.9299, 135.3705, 385.1761, 998.2010]
    assert density_from_brix(60.0) == pytest.approx(float(np.polyval(coefficients, 0.6)) / 1000, rel=1e-14)


@pytest.mark.parametrize("bad", [-0.01, 60.01, *NOT_FINITE])
def test_density_from_brix__refuses_what_lies_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        density_from_brix(bad)


@pytest.mark.parametrize(("brix", "kg_per_m3"), DENSITY_TABLE)
def test_brix_from_density__published_university_table(brix: float, kg_per_m3: float) -> None:
    assert brix_from_density(kg_per_m3 / 1000) == pytest.approx(brix, abs=0.015)


def test_brix_from_density__limit_both_ends_of_the_range() -> None:
    assert brix_from_density(density_from_brix(0.0)) == pytest.approx(0.0, abs=1e-9)
    assert brix_from_density(density_from_brix(60.0)) == pytest.approx(60.0, abs=1e-9)


@given(BRIX)
def test_brix_from_density__law_it_undoes_the_density(brix: float) -> None:
    assert brix_from_density(density_from_brix(brix)) == pytest.approx(brix, abs=1e-8)


def test_brix_from_density__independent_root_finder() -> None:
    def excess(brix: float) -> float:
        return density_from_brix(brix) - 1.0900

    assert brix_from_density(1.0900) == pytest.approx(brentq(excess, 0.0, 60.0, xtol=1e-12), abs=1e-9)


@pytest.mark.parametrize("bad", [0.99, 1.29, *NOT_FINITE])
def test_brix_from_density__refuses_what_no_sucrose_solution_has(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        brix_from_density(bad)
