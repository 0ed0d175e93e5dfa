import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError
from evaluate.sulfur_dioxide import (
    TotalVariant,
    free_so2_by_iodine,
    so2_by_aeration,
    so2_by_iodine,
    so2_one_flask,
    so2_two_portions,
)

VOLUMES = st.floats(0.01, 50.0)
STRENGTHS = st.floats(1e-3, 0.1)
NOT_FINITE = (math.nan, math.inf, -math.inf)
SO2_G_PER_MOL = Fraction("32.06") + 2 * Fraction("15.999")  # IUPAC 2021


def test_so2_by_iodine__published_school_examination() -> None:
    # chimix.eu, French school examination: 20.0 mL, 0.0080 mol/L, 5.0 mL give 128 mg/L with 64 g/mol.
    assert so2_by_iodine(5.0, 0.0080, 20.0) == pytest.approx(128.0, abs=0.2)


@pytest.mark.parametrize(
    ("iodine", "sample", "per_ml"),
    [(0.005, 20, 16.0), (1 / 128, 20, 25.0), (0.01, 25, 25.6), (0.01, 50, 12.8), (0.025, 50, 32.0)],
)
def test_so2_by_iodine__closed_form_milligrams_a_millilitre(
    iodine: float, sample: float, per_ml: float
) -> None:
    assert so2_by_iodine(1.0, iodine, sample) == pytest.approx(per_ml, rel=2e-3)


def test_so2_by_iodine__limit_a_titre_at_its_blank_is_no_so2() -> None:
    assert so2_by_iodine(0.1, 0.01, 25.0, blank_ml=0.1) == 0.0


@given(VOLUMES, STRENGTHS, VOLUMES, st.floats(0.1, 10.0))
def test_so2_by_iodine__law_doubling_sample_and_titre_changes_nothing(
    titre: float, iodine: float, sample: float, factor: float
) -> None:
    once = so2_by_iodine(titre, iodine, sample)
    assert so2_by_iodine(titre * factor, iodine, sample * factor) == pytest.approx(once)


def test_so2_by_iodine__independent_exact_fractions_with_a_blank() -> None:
    exact = (Fraction("6.28") - Fraction("0.08")) * Fraction("0.0101") * SO2_G_PER_MOL * 1000 / 20
    assert so2_by_iodine(6.28, 0.0101, 20.0, blank_ml=0.08) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize(
    ("titre", "iodine", "sample"),
    [
        (-0.1, 0.01, 25),
        (1, 0, 25),
        (1, -0.01, 25),
        (1, 0.01, 0),
        (1, 0.01, -25),
        (math.nan, 0.01, 25),
        (1, math.inf, 25),
    ],
)
def test_so2_by_iodine__refuses_bad_inputs(titre: float, iodine: float, sample: float) -> None:
    with pytest.raises(OutOfRangeError):
        so2_by_iodine(titre, iodine, sample)


def test_so2_by_iodine__refuses_a_titre_below_its_blank() -> None:
    with pytest.raises(ContradictionError):
        so2_by_iodine(0.1, 0.01, 25.0, blank_ml=0.2)


def test_free_so2_by_iodine__closed_form_the_aldehyde_titre_comes_off() -> None:
    # 32 (n - n''') for 50 mL and 0.025 mol/L, with 64 g/mol.
    assert free_so2_by_iodine(1.20, 0.025, 50.0, aldehyde_titre_ml=0.20) == pytest.approx(32.0, rel=2e-3)


def test_free_so2_by_iodine__closed_form_the_blank_comes_off() -> None:
    assert free_so2_by_iodine(1.05, 0.025, 50.0, blank_ml=0.05) == pytest.approx(32.0, rel=2e-3)


def test_free_so2_by_iodine__limit_without_either_it_is_the_plain_titre() -> None:
    assert free_so2_by_iodine(1.0, 0.01, 25.0) == so2_by_iodine(1.0, 0.01, 25.0)


def test_free_so2_by_iodine__limit_a_blank_of_zero_beside_no_aldehyde_titre() -> None:
    assert free_so2_by_iodine(1.0, 0.01, 25.0, blank_ml=0.0) == so2_by_iodine(1.0, 0.01, 25.0)


@given(VOLUMES, st.floats(0.0, 1.0))
def test_free_so2_by_iodine__law_correction_never_raises_the_value(titre: float, share: float) -> None:
    corrected = free_so2_by_iodine(titre, 0.01, 25.0, aldehyde_titre_ml=titre * share)
    assert 0 <= corrected <= free_so2_by_iodine(titre, 0.01, 25.0)


def test_free_so2_by_iodine__independent_exact_fractions() -> None:
    exact = (Fraction("3.40") - Fraction("0.35")) * Fraction("0.01") * SO2_G_PER_MOL * 1000 / 50
    found = free_so2_by_iodine(3.40, 0.01, 50.0, aldehyde_titre_ml=0.35)
    assert found == pytest.approx(float(exact), rel=1e-13)


def test_free_so2_by_iodine__refuses_to_take_the_blank_off_twice() -> None:
    with pytest.raises(ContradictionError, match="the aldehyde titre contains the blank"):
        free_so2_by_iodine(3.4, 0.01, 50.0, blank_ml=0.05, aldehyde_titre_ml=0.35)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_free_so2_by_iodine__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        free_so2_by_iodine(3.4, 0.01, 50.0, aldehyde_titre_ml=bad)


def test_so2_one_flask__closed_form_the_scheme_of_three_titres() -> None:
    # Free = 32 n, combined = 32 (n' + n''), total = 32 (n + n' + n'') for 50 mL and 0.025 mol/L.
    found = so2_one_flask(1.0, (2.0, 0.5), 0.025, 50.0)
    assert found.free_mg_per_l == pytest.approx(32, rel=2e-3)
    assert found.combined_mg_per_l == pytest.approx(80, rel=2e-3)
    assert found.total_mg_per_l == pytest.approx(112, rel=2e-3)
    assert found.variant is TotalVariant.ONE_FLASK


def test_so2_one_flask__closed_form_the_blank_comes_off_the_free_titre_once() -> None:
    found = so2_one_flask(1.1, (2.0,), 0.025, 50.0, blank_ml=0.1)
    assert found.free_mg_per_l == pytest.approx(32, rel=2e-3)
    assert found.total_mg_per_l == pytest.approx(96, rel=2e-3)


def test_so2_one_flask__limit_nothing_bound() -> None:
    found = so2_one_flask(1.0, (0.0,), 0.01, 50.0)
    assert found.total_mg_per_l == found.free_mg_per_l


@given(VOLUMES, VOLUMES, VOLUMES)
def test_so2_one_flask__law_total_is_free_and_combined(free: float, first: float, second: float) -> None:
    found = so2_one_flask(free, (first, second), 0.01, 50.0)
    assert found.total_mg_per_l == pytest.approx(found.free_mg_per_l + found.combined_mg_per_l)
    assert found.combined_mg_per_l >= so2_one_flask(free, (first,), 0.01, 50.0).combined_mg_per_l


def test_so2_one_flask__independent_exact_fractions() -> None:
    k = Fraction("0.025") * SO2_G_PER_MOL * 1000 / 50
    found = so2_one_flask(0.85, (2.35, 0.15), 0.025, 50.0)
    assert found.combined_mg_per_l == pytest.approx(
        float(k * (Fraction("2.35") + Fraction("0.15"))), rel=1e-13
    )
    assert found.total_mg_per_l == pytest.approx(float(k * Fraction("3.35")), rel=1e-13)


@pytest.mark.parametrize("titres", [(), (1.0, 1.0, 1.0), (-1.0,), (math.nan,)])
def test_so2_one_flask__refuses_bad_later_titres(titres: tuple[float, ...]) -> None:
    with pytest.raises(OutOfRangeError):
        so2_one_flask(1.0, titres, 0.01, 50.0)


def test_so2_one_flask__refuses_three_titres_in_words() -> None:
    with pytest.raises(OutOfRangeError, match="from 1 to 2, not 3"):
        so2_one_flask(1.0, (1.0, 1.0, 1.0), 0.01, 50.0)


def test_so2_two_portions__closed_form_combined_is_the_difference() -> None:
    found = so2_two_portions(32.0, 112.0)
    assert (found.free_mg_per_l, found.combined_mg_per_l, found.total_mg_per_l) == (32.0, 80.0, 112.0)
    assert found.variant is TotalVariant.TWO_PORTIONS


def test_so2_two_portions__closed_form_the_same_titres_mean_something_else_than_in_one_flask() -> None:
    free = so2_by_iodine(1.0, 0.025, 50.0)
    second = so2_by_iodine(2.5, 0.025, 50.0)
    as_portions = so2_two_portions(free, second)
    as_flask = so2_one_flask(1.0, (2.5,), 0.025, 50.0)
    assert as_flask.total_mg_per_l - as_portions.total_mg_per_l == pytest.approx(free)


def test_so2_two_portions__limit_all_of_it_free() -> None:
    assert so2_two_portions(32.0, 32.0).combined_mg_per_l == 0.0


def test_so2_two_portions__limit_free_above_total_within_the_allowance() -> None:
    assert so2_two_portions(33.0, 32.0, allowance_mg_per_l=1.0).combined_mg_per_l == 0.0


@given(st.floats(0, 200), st.floats(0, 200))
def test_so2_two_portions__law_the_parts_make_the_total(free: float, bound: float) -> None:
    found = so2_two_portions(free, free + bound)
    assert found.free_mg_per_l + found.combined_mg_per_l == pytest.approx(found.total_mg_per_l, abs=1e-9)


def test_so2_two_portions__independent_exact_fractions() -> None:
    assert so2_two_portions(28.2, 97.3).combined_mg_per_l == pytest.approx(float(Fraction("69.1")), rel=1e-13)


def test_so2_two_portions__refuses_free_above_total() -> None:
    with pytest.raises(ContradictionError):
        so2_two_portions(33.1, 32.0, allowance_mg_per_l=1.0)


def test_so2_by_aeration__published_factor_of_the_regulation() -> None:
    # Regulation (EEC) 2676/90, annex, chapter 25: 6.4 mg/L a millilitre for 50 mL and 0.01 mol/L.
    assert so2_by_aeration(5.0, 0.0100, 50.0) == pytest.approx(32.0, abs=0.1)


def test_so2_by_aeration__closed_form_twenty_millilitres() -> None:
    # 16 mg/L a millilitre for 20 mL and 0.01 mol/L; one page prints a form 400 times as large.
    assert so2_by_aeration(1.0, 0.0100, 20.0) == pytest.approx(16.0, rel=2e-3)


def test_so2_by_aeration__limit_a_titre_at_its_blank_is_no_so2() -> None:
    assert so2_by_aeration(0.1, 0.01, 50.0, blank_ml=0.1) == 0.0


@given(VOLUMES, STRENGTHS, VOLUMES)
def test_so2_by_aeration__law_it_counts_half_of_what_iodine_counts(v: float, c: float, sample: float) -> None:
    assert 2 * so2_by_aeration(v, c, sample) == pytest.approx(so2_by_iodine(v, c, sample))


def test_so2_by_aeration__independent_exact_fractions_with_a_blank() -> None:
    exact = (Fraction("4.2") - Fraction("0.1")) * Fraction("0.0102") / 2 * SO2_G_PER_MOL * 1000 / 50
    assert so2_by_aeration(4.2, 0.0102, 50.0, blank_ml=0.1) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize(
    ("titre", "naoh", "sample"),
    [(-1, 0.01, 50), (1, 0, 50), (1, 0.01, 0), (math.nan, 0.01, 50), (1, 0.01, math.inf)],
)
def test_so2_by_aeration__refuses_bad_inputs(titre: float, naoh: float, sample: float) -> None:
    with pytest.raises(OutOfRangeError):
        so2_by_aeration(titre, naoh, sample)
