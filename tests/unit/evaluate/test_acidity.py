import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from evaluate.acidity import AcidEndPoint, acid_g_per_eq, acidity_in_basis, titratable_acidity
from evaluate.errors import ContradictionError, OutOfRangeError, UnknownNameError
from evaluate.units import quantity

BASES = ("tartaric", "malic", "citric", "lactic", "succinic", "acetic", "sulfuric")
NOT_FINITE = (math.nan, math.inf, -math.inf)
VOLUMES = st.floats(0.1, 50.0)


@pytest.mark.parametrize(
    ("basis", "g_per_eq"),
    [
        ("tartaric", 75.04),
        ("malic", 67.04),
        ("citric", 64.04),
        ("sulfuric", 49.04),
        ("acetic", 60.05),
        ("lactic", 90.08),
        ("succinic", 59.04),
    ],
)
def test_acid_g_per_eq__closed_form_molar_mass_over_protons(basis: str, g_per_eq: float) -> None:
    assert acid_g_per_eq(basis) == pytest.approx(g_per_eq, abs=0.006)


def test_acid_g_per_eq__limit_one_proton_is_the_molar_mass() -> None:
    assert acid_g_per_eq("acetic") == 60.052


@given(st.sampled_from(BASES))
def test_acid_g_per_eq__law_no_acid_is_lighter_than_its_acid_groups(basis: str) -> None:
    # One carboxyl group weighs 45.018 g/mol; half a sulfuric acid is heavier too.
    assert acid_g_per_eq(basis) > 45.018


def test_acid_g_per_eq__independent_atomic_weights_in_fractions() -> None:
    carbon, hydrogen, oxygen = Fraction("12.011"), Fraction("1.008"), Fraction("15.999")
    citric = (6 * carbon + 8 * hydrogen + 7 * oxygen) / 3
    assert acid_g_per_eq("citric") == pytest.approx(float(citric), rel=1e-14)
    malic = (4 * carbon + 6 * hydrogen + 5 * oxygen) / 2
    assert acid_g_per_eq("malic") == pytest.approx(float(malic), rel=1e-14)


def test_acid_g_per_eq__refuses_an_unknown_basis_and_lists_the_known() -> None:
    with pytest.raises(UnknownNameError, match="known: tartaric, malic"):
        acid_g_per_eq("grape")


def test_acidity_in_basis__published_sulfuric_to_tartaric() -> None:
    # A German laboratory page prints the factor 1.531.
    assert acidity_in_basis(10.0, "sulfuric", "tartaric") == pytest.approx(15.3, abs=0.02)


def test_acidity_in_basis__limit_the_same_basis_changes_nothing() -> None:
    assert acidity_in_basis(6.5, "tartaric", "tartaric") == pytest.approx(6.5, rel=1e-15)


@given(st.floats(0, 30), st.sampled_from(BASES), st.sampled_from(BASES))
def test_acidity_in_basis__law_there_and_back_changes_nothing(value: float, a: str, b: str) -> None:
    assert acidity_in_basis(acidity_in_basis(value, a, b), b, a) == pytest.approx(value)


def test_acidity_in_basis__independent_exact_fractions() -> None:
    assert acidity_in_basis(6.0, "tartaric", "sulfuric") == pytest.approx(
        float(6 * Fraction("98.072") / Fraction("150.086")), rel=1e-14
    )


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_acidity_in_basis__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        acidity_in_basis(bad, "tartaric", "malic")


def test_acidity_in_basis__refuses_an_unknown_basis() -> None:
    with pytest.raises(UnknownNameError):
        acidity_in_basis(6.0, "tartaric", "vinegar")


def test_titratable_acidity__published_classroom_example() -> None:
    # Classroom page: 15 mL, 0.200 mol/L, 9.0 mL give 9 g/L (printed by mistake as a hundred litres).
    assert titratable_acidity(9.0, 0.200, 15.0, AcidEndPoint.PH_8_2).g_per_l == pytest.approx(9.0, abs=0.01)


def test_titratable_acidity__closed_form_ten_millilitres_of_tenth_normal() -> None:
    found = titratable_acidity(8.0, 0.1, 10.0, AcidEndPoint.PH_7_0)
    assert found.g_per_l == pytest.approx(8 * 0.75, rel=1e-3)
    assert found.meq_per_l == pytest.approx(80.0, rel=1e-14)


@pytest.mark.parametrize(
    ("end_point", "code"),
    [
        (AcidEndPoint.PH_7_0, "ta_ph_7_0"),
        (AcidEndPoint.PH_8_2, "ta_ph_8_2"),
        (AcidEndPoint.INFLECTION, "ta_inflection"),
    ],
)
def test_titratable_acidity__closed_form_the_end_point_stays_with_the_value(
    end_point: AcidEndPoint, code: str
) -> None:
    found = titratable_acidity(8.0, 0.1, 10.0, end_point)
    assert (found.end_point, found.quantity, found.basis) == (end_point, code, "tartaric")
    assert quantity(code).end_point == end_point.value


def test_titratable_acidity__closed_form_expressed_as_sulfuric_acid() -> None:
    found = titratable_acidity(8.0, 0.1, 10.0, AcidEndPoint.PH_7_0, basis="sulfuric")
    assert found.g_per_l == pytest.approx(3.92, abs=0.005)
    assert found.basis == "sulfuric"


def test_titratable_acidity__limit_a_titre_at_its_blank_is_no_acid() -> None:
    assert titratable_acidity(0.1, 0.1, 10.0, AcidEndPoint.PH_8_2, blank_ml=0.1).g_per_l == 0.0


@given(VOLUMES, st.floats(0.01, 1.0), VOLUMES, st.sampled_from(BASES))
def test_titratable_acidity__law_mass_is_equivalents_times_their_mass(
    titre: float, naoh: float, sample: float, basis: str
) -> None:
    found = titratable_acidity(titre, naoh, sample, AcidEndPoint.PH_8_2, basis=basis)
    assert found.g_per_l * 1000 == pytest.approx(found.meq_per_l * acid_g_per_eq(basis))


@given(VOLUMES, st.floats(0.0, 1.0))
def test_titratable_acidity__law_a_blank_lowers_it(titre: float, share: float) -> None:
    plain = titratable_acidity(titre, 0.1, 10.0, AcidEndPoint.PH_8_2)
    blanked = titratable_acidity(titre, 0.1, 10.0, AcidEndPoint.PH_8_2, blank_ml=titre * share)
    assert blanked.meq_per_l <= plain.meq_per_l


def test_titratable_acidity__independent_charge_balance_of_tartaric_acid() -> None:
    # 6.000 g/L tartaric acid, pK 3.04 and 4.37, 25 mL with 0.1 mol/L to pH 8.2: ideal charge balance.
    acid_mol_per_l, v0, base, h = 6.000 / 150.086, 25.0, 0.1, 10**-8.2
    k1, k2, kw = 10**-3.04, 10**-4.37, 1e-14
    charge = (k1 * h + 2 * k1 * k2) / (h * h + k1 * h + k1 * k2)

    def imbalance(v: float) -> float:
        return (base * v - charge * acid_mol_per_l * v0) / (v0 + v) + h - kw / h

    titre = brentq(imbalance, 0.0, 60.0, xtol=1e-12)
    assert titratable_acidity(titre, base, v0, AcidEndPoint.PH_8_2).g_per_l == pytest.approx(6.000, abs=0.002)


@pytest.mark.parametrize(
    ("titre", "naoh", "sample"),
    [(-1, 0.1, 10), (1, 0, 10), (1, 0.1, 0), (math.nan, 0.1, 10), (1, math.inf, 10)],
)
def test_titratable_acidity__refuses_bad_inputs(titre: float, naoh: float, sample: float) -> None:
    with pytest.raises(OutOfRangeError):
        titratable_acidity(titre, naoh, sample, AcidEndPoint.PH_7_0)


def test_titratable_acidity__refuses_a_titre_below_its_blank() -> None:
    with pytest.raises(ContradictionError):
        titratable_acidity(0.1, 0.1, 10.0, AcidEndPoint.PH_7_0, blank_ml=0.2)
