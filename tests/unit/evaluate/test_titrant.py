import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from evaluate.errors import ContradictionError, OutOfRangeError, TooFewPointsError
from evaluate.titrant import StandardisationLimits, standardise, strength_from_standard

# Portions of potassium iodate [g] and thiosulfate used [mL]; blank 0.02 mL, six thiosulfate an iodate.
IODATE = ((0.1021, 28.63), (0.1009, 28.27), (0.1034, 28.99))


def iodate_strengths() -> list[float]:
    return [
        strength_from_standard(mass, 213.9998, titre, blank_ml=0.02, titrant_per_standard=6)
        for mass, titre in IODATE
    ]


def test_strength_from_standard__published_quam_a2() -> None:
    # Eurachem/CITAC CG 4, example A2: 0.3888 g phthalate, 204.2212 g/mol, 18.64 mL: 0.10214 mol/L.
    assert strength_from_standard(0.3888, 204.2212, 18.64) == pytest.approx(0.10214, abs=0.000005)


def test_strength_from_standard__published_iodate_solution() -> None:
    # 3.5667 g KIO3 in a litre is 0.1000 eq/L: as much thiosulfate of 0.1000 mol/L, litre for litre.
    assert strength_from_standard(3.5667, 213.9998, 1000.0, titrant_per_standard=6) == pytest.approx(
        0.1, abs=1e-5
    )


@pytest.mark.parametrize(("portion", "found"), [(0, 0.100057), (1, 0.100141), (2, 0.100071)])
def test_strength_from_standard__independent_exact_fractions(portion: int, found: float) -> None:
    mass, titre = (Fraction(str(value)) for value in IODATE[portion])
    exact = 1000 * mass * 6 / (Fraction("213.9998") * (titre - Fraction("0.02")))
    assert float(exact) == pytest.approx(found, abs=5e-7)
    assert iodate_strengths()[portion] == pytest.approx(float(exact), rel=1e-14)


def test_strength_from_standard__independent_uncertainties_nominal_value() -> None:
    mass, purity, titre = ufloat(0.3888, 0.00013), ufloat(0.9997, 0.00029), ufloat(18.64, 0.013)
    theirs = 1000 * mass * purity / (204.2212 * titre)
    assert strength_from_standard(0.3888, 204.2212, 18.64, purity=0.9997) == pytest.approx(
        theirs.nominal_value
    )


def test_strength_from_standard__limit_a_mole_in_a_litre() -> None:
    assert strength_from_standard(204.2223, 204.2223, 1000.0) == 1.0


@given(st.floats(0.01, 5.0), st.floats(1.0, 50.0), st.floats(0.1, 10.0))
def test_strength_from_standard__law_proportions(mass: float, titre: float, share: float) -> None:
    plain = strength_from_standard(mass, 204.2223, titre)
    assert strength_from_standard(share * mass, 204.2223, titre) == pytest.approx(share * plain)
    assert strength_from_standard(mass, 204.2223, share * titre) == pytest.approx(plain / share)
    assert strength_from_standard(mass, share * 204.2223, titre) == pytest.approx(plain / share)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_strength_from_standard__refuses_what_is_not_more_than_nothing(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        strength_from_standard(bad, 204.2, 18.64)
    with pytest.raises(OutOfRangeError):
        strength_from_standard(0.4, bad, 18.64)
    with pytest.raises(OutOfRangeError):
        strength_from_standard(0.4, 204.2, bad)
    with pytest.raises(OutOfRangeError):
        strength_from_standard(0.4, 204.2, 18.64, titrant_per_standard=bad)


@pytest.mark.parametrize("purity", [0.49, 1.02, math.nan])
def test_strength_from_standard__refuses_a_purity_that_is_none(purity: float) -> None:
    with pytest.raises(OutOfRangeError, match="purity"):
        strength_from_standard(0.4, 204.2, 18.64, purity=purity)


@pytest.mark.parametrize("purity", [0.5, 1.01])
def test_strength_from_standard__limit_of_purity(purity: float) -> None:
    assert strength_from_standard(204.2, 204.2, 1000.0, purity=purity) == pytest.approx(purity)


def test_strength_from_standard__refuses_a_titre_at_or_below_its_blank() -> None:
    with pytest.raises(ContradictionError, match="below its blank"):
        strength_from_standard(0.4, 204.2, 1.0, blank_ml=1.1)
    with pytest.raises(OutOfRangeError, match="titre less blank"):
        strength_from_standard(0.4, 204.2, 1.0, blank_ml=1.0)


# Replicates.


def test_standardise__closed_form_three_portions_of_iodate() -> None:
    # Worked by exact fractions: mean 0.100090 mol/L, relative standard deviation 0.045 %.
    found = standardise(iodate_strengths(), 0.1)
    assert found.mol_per_l == pytest.approx(0.100090, abs=5e-7)
    assert found.factor == pytest.approx(1.00090, abs=5e-6)
    assert found.rsd_pct == pytest.approx(0.045, abs=0.0005)
    assert found.is_accepted


@pytest.mark.parametrize(("half_spread", "accepted"), [(0.00019, True), (0.00021, False)])
def test_standardise__published_repeatability(half_spread: float, accepted: bool) -> None:
    # Ph. Eur. 4.2.2: relative standard deviation not above 0.2 %. Of 1 - h, 1, 1 + h it is 100 h.
    h = 10 * half_spread
    assert standardise([0.1 * (1 - h), 0.1, 0.1 * (1 + h)], 0.1).is_accepted is accepted


@pytest.mark.parametrize(
    ("strength", "accepted"), [(0.10995, True), (0.11005, False), (0.09005, True), (0.08995, False)]
)
def test_standardise__published_distance_from_nominal(strength: float, accepted: bool) -> None:
    # Ph. Eur. 4.2.2: within 10 % of nominal.
    assert standardise([strength] * 3, 0.1).is_accepted is accepted


def test_standardise__limit_two_titrations_are_computed_and_not_accepted() -> None:
    found = standardise([0.1, 0.1], 0.1)
    assert (found.factor, found.reasons) == (1.0, ("2 titrations, 3 are wanted",))


def test_reasons_carry_the_figures() -> None:
    found = standardise([0.111, 0.112, 0.113], 0.1)
    assert found.reasons == (
        "they scatter by 0.893 %, 0.2 % is allowed",
        "factor 1.1200, within 10 % of nominal is allowed",
    )


@given(st.lists(st.floats(0.09, 0.11), min_size=2, max_size=10), st.floats(0.1, 10.0))
def test_standardise__law_scale_leaves_factor_and_scatter(strengths: list[float], scale: float) -> None:
    plain = standardise(strengths, 0.1)
    scaled = standardise([scale * c for c in strengths], scale * 0.1)
    assert scaled.factor == pytest.approx(plain.factor)
    assert scaled.rsd_pct == pytest.approx(plain.rsd_pct, abs=1e-9)


def test_standardise__independent_numpy() -> None:
    strengths = [0.1001, 0.1003, 0.0999, 0.1002]
    found = standardise(strengths, 0.1)
    assert found.mol_per_l == pytest.approx(float(np.mean(strengths)))
    assert found.rsd_pct == pytest.approx(float(100 * np.std(strengths, ddof=1) / np.mean(strengths)))
    assert found.standard_error_mol_per_l == pytest.approx(float(np.std(strengths, ddof=1) / 2))
    assert found.n == 4


def test_standardise__refuses_one_titration() -> None:
    with pytest.raises(TooFewPointsError):
        standardise([0.1], 0.1)


@pytest.mark.parametrize("bad", [0.0, -0.1, math.nan, math.inf])
def test_standardise__refuses_what_is_no_strength(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        standardise([0.1, bad], 0.1)
    with pytest.raises(OutOfRangeError, match="nominal strength"):
        standardise([0.1, 0.1], bad)


@pytest.mark.parametrize(
    ("name", "bad"),
    [("least_count", 1), ("most_rsd_pct", 0.0), ("most_change_pct", -1.0), ("most_rsd_pct", math.nan)],
)
def test_limits_that_make_no_sense_are_refused(name: str, bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        StandardisationLimits(**{name: bad})  # type: ignore[arg-type]  # one field, a number


def test_two_titrations_may_be_made_enough() -> None:
    assert standardise([0.1, 0.1], 0.1, StandardisationLimits(least_count=2)).is_accepted
