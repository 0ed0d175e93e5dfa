import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError
from evaluate.volatile_acidity import still_recovery, volatile_acidity

NOT_FINITE = (math.nan, math.inf, -math.inf)


@pytest.mark.parametrize(
    ("n", "free_ml", "bound_ml"), [(2.0, 0.0, 0.0), (2.0, 1.0, 0.0), (2.0, 0.0, 2.0), (3.1, 0.8, 1.3)]
)
def test_volatile_acidity__closed_form_the_bracket_of_the_method(
    n: float, free_ml: float, bound_ml: float
) -> None:
    # 5 (n - 0.1 n' - 0.05 n'') for 20 mL, 0.1 mol/L and 0.005 mol/L; it follows from the stoichiometry.
    found = volatile_acidity(n, 0.1, 20.0, free_so2_iodine_ml=free_ml, bound_so2_iodine_ml=bound_ml)
    assert found.meq_per_l == pytest.approx(5 * (n - 0.1 * free_ml - 0.05 * bound_ml), rel=1e-12)


def test_volatile_acidity__published_the_legal_limit_in_both_units() -> None:
    # OIV: 20 milliequivalents are printed as 1.2 g/L of acetic acid.
    assert volatile_acidity(4.0, 0.1, 20.0).meq_per_l == pytest.approx(20.0)
    assert volatile_acidity(4.0, 0.1, 20.0).g_per_l_acetic == pytest.approx(1.2, abs=0.005)


def test_volatile_acidity__published_six_milligrams_a_millilitre() -> None:
    # A textbook prints 1 mL of tenth-normal alkali as 6 mg of acetic acid.
    assert volatile_acidity(1.0, 0.1, 1000.0).g_per_l_acetic * 1000 == pytest.approx(6.0, abs=0.01)


def test_volatile_acidity__closed_form_what_was_taken_off_is_told() -> None:
    found = volatile_acidity(
        2.0, 0.1, 20.0, free_so2_iodine_ml=1.0, bound_so2_iodine_ml=2.0, sorbic_acid_mg_per_l=112.128
    )
    assert found.so2_meq_per_l == pytest.approx(1.0)
    assert found.sorbic_meq_per_l == pytest.approx(1.0)
    assert found.meq_per_l == pytest.approx(8.0)


def test_volatile_acidity__limit_corrections_may_take_all_of_it() -> None:
    assert volatile_acidity(0.1, 0.1, 20.0, free_so2_iodine_ml=1.0).meq_per_l == pytest.approx(0.0, abs=1e-12)


@given(st.floats(1.0, 10.0), st.floats(0.0, 1.0), st.floats(0.0, 0.5))
def test_volatile_acidity__law_the_parts_make_the_titre(titre: float, iodine_ml: float, blank: float) -> None:
    found = volatile_acidity(titre, 0.1, 20.0, blank_ml=blank, free_so2_iodine_ml=iodine_ml)
    whole = found.meq_per_l + found.so2_meq_per_l + found.sorbic_meq_per_l
    assert whole == pytest.approx((titre - blank) * 0.1 * 1000 / 20)


def test_volatile_acidity__independent_exact_fractions() -> None:
    found = volatile_acidity(
        2.4, 0.0995, 20.0, iodine_mol_per_l=0.0052, free_so2_iodine_ml=0.6, bound_so2_iodine_ml=0.9
    )
    iodine = Fraction("0.0052") * (2 * Fraction("0.6") + Fraction("0.9"))
    exact = (Fraction("2.4") * Fraction("0.0995") - iodine) * 50
    assert found.meq_per_l == pytest.approx(float(exact), rel=1e-12)
    acetic = 2 * Fraction("12.011") + 4 * Fraction("1.008") + 2 * Fraction("15.999")
    assert found.g_per_l_acetic == pytest.approx(float(exact * acetic / 1000), rel=1e-12)


def test_volatile_acidity__refuses_corrections_above_the_acidity() -> None:
    with pytest.raises(ContradictionError, match="exceed the acidity of the distillate"):
        volatile_acidity(0.1, 0.1, 20.0, free_so2_iodine_ml=1.1)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_volatile_acidity__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        volatile_acidity(bad, 0.1, 20.0)
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, bad, 20.0)
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, 0.1, bad)
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, 0.1, 20.0, iodine_mol_per_l=bad)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_volatile_acidity__refuses_bad_corrections(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, 0.1, 20.0, free_so2_iodine_ml=bad)
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, 0.1, 20.0, bound_so2_iodine_ml=bad)
    with pytest.raises(OutOfRangeError):
        volatile_acidity(2.0, 0.1, 20.0, sorbic_acid_mg_per_l=bad)


def test_still_recovery__published_acceptance() -> None:
    # OIV-MA-AS313-02: 20 mL of 0.1 mol/L acetic acid must give at least 19.9 mL, 99.5 %.
    assert still_recovery(19.9, 0.1, 20.0, 0.1) == pytest.approx(0.995)


def test_still_recovery__limit_all_of_it_comes_over() -> None:
    assert still_recovery(20.0, 0.1, 20.0, 0.1) == pytest.approx(1.0)


@given(st.floats(1, 30), st.floats(0.05, 0.2))
def test_still_recovery__law_swapping_strength_and_volume_changes_nothing(v: float, c: float) -> None:
    assert still_recovery(v, c, 20.0, 0.1) == pytest.approx(still_recovery(v, c, 10.0, 0.2))


def test_still_recovery__independent_exact_fractions_with_a_blank() -> None:
    exact = (Fraction("19.95") - Fraction("0.05")) * Fraction("0.0998") / (20 * Fraction("0.1003"))
    assert still_recovery(19.95, 0.0998, 20.0, 0.1003, blank_ml=0.05) == pytest.approx(
        float(exact), rel=1e-13
    )


@pytest.mark.parametrize("bad", [-0.1, 0.0, *NOT_FINITE])
def test_still_recovery__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        still_recovery(19.9, bad, 20.0, 0.1)
    with pytest.raises(OutOfRangeError):
        still_recovery(19.9, 0.1, bad, 0.1)
    with pytest.raises(OutOfRangeError):
        still_recovery(19.9, 0.1, 20.0, bad)
