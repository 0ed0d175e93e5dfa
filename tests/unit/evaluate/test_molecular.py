import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq

from evaluate.errors import OutOfRangeError, UnknownNameError
from evaluate.molecular import free_so2_needed, molecular_fraction, molecular_so2, sulfurous_pk
from evaluate.permittivity import debye_huckel_step
from tundish.selftest import tables

OIV = "oiv-as323-04c"
NOT_FINITE = (math.nan, math.inf, -math.inf)
PH = st.floats(2.5, 4.5)
FREE = st.floats(0.1, 300.0)
ALCOHOL = st.floats(0.0, 20.0)
CELSIUS = st.floats(20.0, 40.0)
TABLE_I = tables.rows("wine/so2_pk_thermodynamic.csv")
READ_CELLS = [row for row in tables.rows("wine/so2_pk_mixed.csv") if float(row["alcohol_pct_vol"]) <= 15]
NEEDED = [row for row in tables.rows("wine/so2_free_needed_published.csv") if row["fits_formula"] == "yes"]
UC_1982 = [row for row in NEEDED if row["table_id"] == "UC1982"]


def table_i() -> RegularGridInterpolator:
    cells = {(float(r["alcohol_pct_vol"]), float(r["temperature_c"])): float(r["value"]) for r in TABLE_I}
    alcohols, degrees = sorted({a for a, _ in cells}), sorted({t for _, t in cells})
    return RegularGridInterpolator((alcohols, degrees), [[cells[a, t] for t in degrees] for a in alcohols])


@pytest.mark.parametrize(
    "row", READ_CELLS, ids=lambda row: f"{row['alcohol_pct_vol']}-{row['temperature_c']}"
)
def test_sulfurous_pk__published_cells_less_the_theoretical_step(row: dict[str, str]) -> None:
    # Table I as read, less the Debye-Hückel term of an independent computation; the tolerance is that of
    # the theory.
    found = float(sulfurous_pk(OIV, float(row["alcohol_pct_vol"]), float(row["temperature_c"])))
    assert found == pytest.approx(float(row["dh_check"]), abs=0.002)


@pytest.mark.parametrize(("name", "pk"), [("single-1.81", 1.81), ("single-1.77", 1.77)])
def test_sulfurous_pk__limit_one_figure_for_every_wine(name: str, pk: float) -> None:
    assert float(sulfurous_pk(name)) == pk
    assert float(sulfurous_pk(name, 13.0, 12.0)) == pk


@given(ALCOHOL, CELSIUS)
def test_sulfurous_pk__independent_interpolation_by_scipy(alcohol: float, celsius: float) -> None:
    thermodynamic = float(table_i()((alcohol, celsius)))
    mixed = thermodynamic - float(debye_huckel_step(alcohol, celsius, 0.038))
    assert float(sulfurous_pk(OIV, alcohol, celsius)) == pytest.approx(mixed, abs=1e-12)


@given(ALCOHOL, st.floats(20.0, 39.0))
def test_sulfurous_pk__law_it_rises_with_temperature_and_alcohol(alcohol: float, celsius: float) -> None:
    pk = float(sulfurous_pk(OIV, alcohol, celsius))
    assert float(sulfurous_pk(OIV, alcohol, celsius + 1)) > pk
    assert float(sulfurous_pk(OIV, alcohol * 0.99, celsius)) <= pk


def test_sulfurous_pk__law_the_kink_at_30_degrees_is_kept() -> None:
    below, at, above = sulfurous_pk(OIV, 10.0, [29.0, 30.0, 31.0])
    assert at - below > 1.5 * (above - at)


@pytest.mark.parametrize(
    ("alcohol", "celsius"), [(-0.1, 20), (20.1, 20), (12, 19.9), (12, 40.1), (math.nan, 20)]
)
def test_sulfurous_pk__refuses_to_extrapolate(alcohol: float, celsius: float) -> None:
    with pytest.raises(OutOfRangeError):
        sulfurous_pk(OIV, alcohol, celsius)


def test_sulfurous_pk__refuses_a_cellar_temperature_and_says_how_it_is_given() -> None:
    with pytest.raises(OutOfRangeError, match=r"a colder wine is given at 20 °C.* not 14"):
        sulfurous_pk(OIV, 12.0, 14.0)


def test_sulfurous_pk__refuses_a_missing_alcohol() -> None:
    with pytest.raises(OutOfRangeError, match="depend on alcohol"):
        sulfurous_pk(OIV)


def test_sulfurous_pk__refuses_an_unknown_set() -> None:
    with pytest.raises(UnknownNameError):
        sulfurous_pk("single-1.80")


def test_molecular_fraction__limit_half_where_ph_is_pk() -> None:
    assert float(molecular_fraction(3.0, 3.0)) == 0.5


@pytest.mark.parametrize(
    ("ph", "pk", "per_cent"), [(3.0, 2.0, 100 / 11), (4.0, 2.0, 100 / 101), (3.4, 1.4, 100 / 101)]
)
def test_molecular_fraction__closed_form_powers_of_ten(ph: float, pk: float, per_cent: float) -> None:
    assert 100 * float(molecular_fraction(ph, pk)) == pytest.approx(per_cent, rel=1e-12)


@given(PH, st.floats(1.0, 4.0))
def test_molecular_fraction__law_it_falls_with_ph_and_both_sides_add_to_one(ph: float, pk: float) -> None:
    share = float(molecular_fraction(ph, pk))
    ion_over_acid = 10 ** (ph - pk)
    assert share * (1 + ion_over_acid) == pytest.approx(1.0)
    assert share <= float(molecular_fraction(max(2.5, ph - 0.01), pk))


@pytest.mark.parametrize("ph", [2.9, 3.4, 4.0])
def test_molecular_fraction__independent_mass_action_with_both_dissociations(ph: float) -> None:
    # The second dissociation, pK 7.2, is left out by the formula: less than 0.1 % at pH 4.
    h, k1, k2 = 10**-ph, 10**-1.81, 10**-7.2
    exact = h * h / (h * h + k1 * h + k1 * k2)
    assert float(molecular_fraction(ph, 1.81)) == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize("bad", [2.49, 4.51, *NOT_FINITE])
def test_molecular_fraction__refuses_what_no_wine_has(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        molecular_fraction([3.4, bad], 1.81)


@pytest.mark.parametrize("bad", [0.99, 4.01, math.nan])
def test_molecular_fraction__refuses_a_bad_constant(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        molecular_fraction(3.4, bad)


@pytest.mark.parametrize("row", UC_1982, ids=lambda row: row["ph"])
def test_molecular_so2__published_extension_table_read_backwards(row: dict[str, str]) -> None:
    # Enology Briefs 1, 1982: whole mg/L of free SO2 for 0.8 mg/L; half a unit of free is the tolerance.
    free = float(row["free_so2_mg_l"])
    found = float(molecular_so2(free, float(row["ph"]), "single-1.81"))
    assert found == pytest.approx(0.8, abs=0.8 * 0.5 / free)


def test_molecular_so2__limit_no_free_no_molecular() -> None:
    assert float(molecular_so2(0.0, 3.4, OIV, alcohol_pct_vol=12.0)) == 0.0


def test_molecular_so2__closed_form_the_choice_of_set_moves_the_answer_by_a_third() -> None:
    by_single = float(molecular_so2(30.0, 3.4, "single-1.81"))
    by_table = float(molecular_so2(30.0, 3.4, OIV, alcohol_pct_vol=12.5))
    assert by_single == pytest.approx(30 / (1 + 10**1.59))
    assert 1.3 < by_table / by_single < 1.5


@given(FREE, PH, ALCOHOL, CELSIUS)
def test_molecular_so2__law_the_inverse_gives_the_free_back(
    free: float, ph: float, alcohol: float, celsius: float
) -> None:
    molecular = float(molecular_so2(free, ph, OIV, alcohol_pct_vol=alcohol, temperature_c=celsius))
    # Only values that the inverse accepts; others are refused, which its own test shows.
    wanted = min(molecular, 10.0)
    back = float(free_so2_needed(wanted, ph, OIV, alcohol_pct_vol=alcohol, temperature_c=celsius))
    assert back == pytest.approx(free * wanted / molecular)


def test_molecular_so2__independent_sensitivity_to_ph() -> None:
    # pH +0.02 is -4.4 %, +0.05 is -10.5 %: from the derivative, at pH 3.4.
    at, near, far = molecular_so2(30.0, [3.40, 3.42, 3.45], "single-1.81")
    assert (near / at - 1) * 100 == pytest.approx(-4.4, abs=0.1)
    assert (far / at - 1) * 100 == pytest.approx(-10.5, abs=0.2)


def test_molecular_so2__independent_value_by_value() -> None:
    free, ph, alcohol = np.array([10.0, 30.0, 50.0]), np.array([3.0, 3.4, 3.8]), np.array([8.0, 12.5, 15.0])
    one_by_one = [
        f / (1 + 10 ** (p - float(sulfurous_pk(OIV, a)))) for f, p, a in zip(free, ph, alcohol, strict=True)
    ]
    assert molecular_so2(free, ph, OIV, alcohol_pct_vol=alcohol).tolist() == pytest.approx(one_by_one)


def test_molecular_so2__limit_shapes_are_broadcast() -> None:
    assert molecular_so2([[10.0], [20.0]], [3.0, 3.4, 3.8], "single-1.81").shape == (2, 3)
    assert molecular_so2([], 3.4, "single-1.81").shape == (0,)


@pytest.mark.parametrize("bad", [-0.1, 500.1, *NOT_FINITE])
def test_molecular_so2__refuses_a_bad_free_value(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        molecular_so2([30.0, bad], 3.4, "single-1.81")


@pytest.mark.parametrize("row", NEEDED, ids=lambda row: f"{row['table_id']}-{row['ph']}")
def test_free_so2_needed__published_two_printed_tables(row: dict[str, str]) -> None:
    # Whole milligrams a litre; the amateur table tests the arithmetic of pK 1.77 and no more.
    constants = f"single-{row['pk_that_fits']}"
    found = float(free_so2_needed(float(row["molecular_target_mg_l"]), float(row["ph"]), constants))
    assert found == pytest.approx(float(row["free_so2_mg_l"]), abs=0.5)


def test_free_so2_needed__limit_nothing_wanted_nothing_needed() -> None:
    assert float(free_so2_needed(0.0, 3.4, "single-1.81")) == 0.0


@given(st.floats(0.01, 3.0), st.floats(2.5, 4.4))
def test_free_so2_needed__law_more_is_needed_at_a_higher_ph(wanted: float, ph: float) -> None:
    lower, higher = free_so2_needed(wanted, [ph, ph + 0.1], "single-1.81")
    assert wanted <= lower < higher


def test_free_so2_needed__independent_root_finder() -> None:
    def missing(free: float) -> float:
        return float(molecular_so2(free, 3.55, OIV, alcohol_pct_vol=13.1)) - 0.8

    root = brentq(missing, 0.0, 200.0, xtol=1e-10)
    assert float(free_so2_needed(0.8, 3.55, OIV, alcohol_pct_vol=13.1)) == pytest.approx(root, abs=1e-8)


@pytest.mark.parametrize("bad", [-0.1, 10.1, *NOT_FINITE])
def test_free_so2_needed__refuses_a_bad_target(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        free_so2_needed(bad, 3.4, "single-1.81")
