import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError
from evaluate.nitrogen import formol_nitrogen

NOT_FINITE = (math.nan, math.inf, -math.inf)


def test_formol_nitrogen__published_175_a_millilitre() -> None:
    # Virginia Tech enology extension: 10 mL to 25 mL, 10 mL aliquot, 0.05 mol/L: 175 mg N/L a millilitre.
    assert formol_nitrogen(1.0, 0.0500, 10.0, dilution=2.5) == pytest.approx(175.0, abs=0.5)


def test_formol_nitrogen__closed_form_a_stronger_alkali_counts_more() -> None:
    # The printed correction 0.05 / used is upside down: 0.055 mol/L finds 10 % more nitrogen, not less.
    assert formol_nitrogen(1.0, 0.0550, 10.0, dilution=2.5) == pytest.approx(1.1 * 175.0, abs=0.5)


def test_formol_nitrogen__limit_a_titre_at_its_blank_is_none() -> None:
    assert formol_nitrogen(0.1, 0.05, 10.0, blank_ml=0.1) == 0.0


@given(st.floats(0.01, 10), st.floats(0.01, 0.2), st.floats(1, 50), st.floats(1, 10))
def test_formol_nitrogen__law_diluting_and_taking_more_cancel(
    v: float, c: float, aliquot: float, d: float
) -> None:
    assert formol_nitrogen(v, c, aliquot * d, dilution=d) == pytest.approx(formol_nitrogen(v, c, aliquot))


def test_formol_nitrogen__independent_exact_fractions() -> None:
    exact = (Fraction("1.32") - Fraction("0.04")) * Fraction("0.0497") * 2 * 100 * Fraction("14.007")
    found = formol_nitrogen(1.32, 0.0497, 10.0, dilution=2.0, blank_ml=0.04)
    assert found == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize(
    ("v", "c", "aliquot", "dilution"),
    [
        (-1, 0.05, 10, 1),
        (1, 0, 10, 1),
        (1, 0.05, 0, 1),
        (1, 0.05, 10, 0.99),
        (1, 0.05, 10, 1001),
        (math.nan, 0.05, 10, 1),
    ],
)
def test_formol_nitrogen__refuses_bad_inputs(v: float, c: float, aliquot: float, dilution: float) -> None:
    with pytest.raises(OutOfRangeError):
        formol_nitrogen(v, c, aliquot, dilution=dilution)


def test_formol_nitrogen__refuses_a_titre_below_its_blank() -> None:
    with pytest.raises(ContradictionError):
        formol_nitrogen(0.1, 0.05, 10.0, blank_ml=0.2)
