import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants as si

from evaluate.errors import OutOfRangeError
from evaluate.permittivity import debye_huckel_step, ethanol_mass_fraction, permittivity

NOT_FINITE = (math.nan, math.inf, -math.inf)
STRENGTHS = st.floats(0.0, 20.0)
CELSIUS = st.floats(0.0, 50.0)


# Density of water and ethanol at 20 °C by powers of the mass fraction, kg/m3: formula of the international
# alcoholometric tables, OIML R 22 and annex of Directive 76/766/EEC, as carried by public programs.
ALCOHOL_TABLES = (
    *(9.982012300e2, -1.929769495e2, 3.891238958e2, -1.668103923e3, 1.352215441e4, -8.829278388e4),
    *(3.062874042e5, -6.138381234e5, 7.470172998e5, -5.478461354e5, 2.234460334e5, -3.903285426e4),
)


def alcohol_density(mass_fraction: float) -> float:
    return float(np.polynomial.polynomial.polyval(mass_fraction, ALCOHOL_TABLES))


@pytest.mark.parametrize("mass_fraction", [0.01, 0.04, 0.08, 0.12, 0.16])
def test_ethanol_mass_fraction__published_alcoholometric_tables(mass_fraction: float) -> None:
    strength = 100 * mass_fraction * alcohol_density(mass_fraction) / alcohol_density(1.0)
    assert float(ethanol_mass_fraction(strength)) == pytest.approx(mass_fraction, rel=2.5e-3)


def test_ethanol_mass_fraction__published_densities_of_its_parts() -> None:
    assert alcohol_density(1.0) == pytest.approx(789.24, abs=0.005)
    assert alcohol_density(0.0) == pytest.approx(998.20, abs=0.005)


def test_ethanol_mass_fraction__closed_form_the_stated_line_in_exact_fractions() -> None:
    exact = Fraction("0.2") * Fraction("0.78924") / (Fraction("0.99820") - 20 * Fraction("0.00130"))
    assert float(ethanol_mass_fraction(20.0)) == pytest.approx(float(exact), rel=1e-12)


def test_ethanol_mass_fraction__limit_none_in_water() -> None:
    assert ethanol_mass_fraction([0.0]).tolist() == [0.0]


@given(STRENGTHS)
def test_ethanol_mass_fraction__law_it_is_lighter_than_its_volume(strength: float) -> None:
    assert float(ethanol_mass_fraction(strength)) <= strength / 100


def test_ethanol_mass_fraction__independent_volumes_that_add_up() -> None:
    # Without contraction on mixing, 12 mL of ethanol in 100 mL stand beside 88 mL of water.
    ideal = 12 * 0.78924 / (12 * 0.78924 + 88 * 0.99820)
    assert float(ethanol_mass_fraction(12.0)) == pytest.approx(ideal, rel=0.02)


@pytest.mark.parametrize("bad", [-0.1, 20.1, *NOT_FINITE])
def test_ethanol_mass_fraction__refuses_what_lies_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        ethanol_mass_fraction([10.0, bad])


@pytest.mark.parametrize("celsius", [0.0, 10.0, 20.0, 30.0, 40.0, 50.0])
def test_permittivity__published_water_of_ray(celsius: float) -> None:
    # P. S. Ray, Appl. Opt. 11 (1972) 1836, static part, as carried by public programs; 78.54 at 25 °C.
    away = celsius - 25.0
    static = 78.54 * (1 - 4.579e-3 * away + 1.19e-5 * away**2 - 2.8e-8 * away**3)
    assert float(permittivity(0.0, celsius)) == pytest.approx(static, rel=2e-3)


@pytest.mark.parametrize(
    ("celsius", "tabulated"),
    [(0.0, 87.740), (10.0, 83.832), (20.0, 80.103), (30.0, 76.546), (40.0, 73.151), (50.0, 69.910)],
)
def test_permittivity__closed_form_shape_in_temperature_as_measured(celsius: float, tabulated: float) -> None:
    # Malmberg and Maryott 1956: their equation as carried by public programs, worked out by hand; 78.303 at
    # 25 °C. Only the shape is used.
    assert float(permittivity(0.0, celsius)) == pytest.approx(78.54 * tabulated / 78.304, abs=0.0015)


def test_permittivity__closed_form_the_stated_fit_in_ethanol() -> None:
    w = float(ethanol_mass_fraction(20.0))
    expected = float(np.polyval([-3.9474, -56.942, 78.54], w))
    assert float(permittivity(20.0, 25.0)) == pytest.approx(expected, abs=1e-4)


def test_permittivity__limit_the_anchor_at_25_degrees() -> None:
    assert float(permittivity(0.0, 25.0)) == pytest.approx(78.54, abs=1e-3)


@given(STRENGTHS, CELSIUS)
def test_permittivity__law_alcohol_and_warmth_lower_it(strength: float, celsius: float) -> None:
    assert float(permittivity(strength * 0.9, celsius)) >= float(permittivity(strength, celsius))
    assert float(permittivity(strength, celsius * 0.9)) >= float(permittivity(strength, celsius))


def test_permittivity__independent_water_of_another_formula() -> None:
    # G. C. Akerlof, H. I. Oshry, J. Am. Chem. Soc. 72 (1950) 2844, as carried by public programs.
    t = np.array([273.15, 293.15, 298.15, 303.15, 313.15, 323.15])
    other = 5321 / t + 233.76 - 0.9297 * t + 1.417e-3 * t**2 - 8.292e-7 * t**3
    assert np.allclose(permittivity(0.0, t - 273.15), other, rtol=5e-3)


@pytest.mark.parametrize("bad", [-0.1, 50.1, *NOT_FINITE])
def test_permittivity__refuses_what_lies_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        permittivity(12.0, bad)


def test_debye_huckel_step__limit_without_ions_there_is_no_step() -> None:
    assert float(debye_huckel_step(12.0, 20.0, 0.0)) == 0.0


def test_debye_huckel_step__closed_form_water_at_25_degrees() -> None:
    # A = 0.509 and B a = 0.3286 x 5 at 25 °C in water are the textbook constants.
    root = 0.038**0.5
    expected = 0.509 * root / (1 + 0.3286 * 5 * root)
    assert float(debye_huckel_step(0.0, 25.0, 0.038)) == pytest.approx(expected, rel=5e-3)


@given(STRENGTHS, st.floats(20.0, 40.0), st.floats(0.001, 0.09))
def test_debye_huckel_step__law_it_grows_with_ions_and_with_alcohol(
    strength: float, celsius: float, ionic: float
) -> None:
    step = float(debye_huckel_step(strength, celsius, ionic))
    assert float(debye_huckel_step(strength, celsius, ionic * 1.1)) > step
    assert float(debye_huckel_step(strength * 0.9, celsius, ionic)) <= step


@pytest.mark.parametrize(("strength", "celsius"), [(0.0, 20.0), (10.0, 20.0), (10.0, 40.0), (15.0, 25.0)])
def test_debye_huckel_step__independent_constants_of_nature(strength: float, celsius: float) -> None:
    # A and B from charge, Boltzmann and Avogadro constants instead of the rounded numbers.
    relative = float(permittivity(strength, celsius))
    energy = si.epsilon_0 * relative * si.k * (celsius + si.zero_Celsius)
    ions_per_m3 = 2 * si.N_A * 1000
    b = (si.e**2 * ions_per_m3 / energy) ** 0.5
    a = si.e**2 * b / (8 * math.pi * energy * math.log(10))
    root = 0.038**0.5
    expected = a * root / (1 + b * 5e-10 * root)
    assert float(debye_huckel_step(strength, celsius, 0.038)) == pytest.approx(expected, rel=1e-3)


def test_debye_huckel_step__limit_arrays_are_broadcast() -> None:
    assert debye_huckel_step([[0.0], [10.0]], [20.0, 25.0, 30.0], 0.038).shape == (2, 3)


@pytest.mark.parametrize("bad", [-0.001, 0.1001, *NOT_FINITE])
def test_debye_huckel_step__refuses_a_bad_ionic_strength(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        debye_huckel_step(12.0, 20.0, bad)
