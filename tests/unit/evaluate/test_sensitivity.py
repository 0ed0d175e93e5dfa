import math
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from evaluate.checks import in_range
from evaluate.errors import OutOfRangeError, UnknownNameError
from evaluate.molecular import molecular_fraction
from evaluate.sensitivity import sensitivity
from evaluate.sulfur_dioxide import so2_by_iodine

TITRATION = {"titre_ml": 5.0, "iodine_mol_per_l": 0.01, "sample_ml": 50.0, "blank_ml": 0.0}


def root(x: float) -> float:
    return math.sqrt(in_range("x", x, 0.25, 4.0))


def cubed(x: float) -> float:
    return x**3


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("titre_ml", 64.058 * 0.01 * 1000 / 50),
        ("iodine_mol_per_l", 64.058 * 5 * 1000 / 50),
        ("sample_ml", -64.058 * 5 * 0.01 * 1000 / 50**2),
        ("blank_ml", -64.058 * 0.01 * 1000 / 50),
    ],
)
def test_sensitivity__closed_form_of_sulfur_dioxide_by_iodine(name: str, expected: float) -> None:
    assert sensitivity(so2_by_iodine, TITRATION, name) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("x", [0.25, 1.0, 4.0])
def test_sensitivity__limit_at_either_edge_of_what_the_function_takes(x: float) -> None:
    assert sensitivity(root, {"x": x}, "x") == pytest.approx(0.5 / math.sqrt(x), rel=1e-9)


def test_sensitivity__limit_at_zero_the_step_is_absolute() -> None:
    # The central difference of a cube is too large by the square of the step, cube root of 2.2e-16.
    assert sensitivity(cubed, {"x": 0.0}, "x") == pytest.approx(6e-6**2, rel=1e-6, abs=0.0)
    assert math.cbrt(sys.float_info.epsilon) == pytest.approx(6e-6, rel=0.01, abs=0.0)
    assert sensitivity(lambda x: 3.0 * x, {"x": 0.0}, "x") == pytest.approx(3.0, rel=1e-12)


@given(st.floats(-100.0, 100.0), st.floats(-10.0, 10.0), st.floats(-10.0, 10.0))
def test_sensitivity__law_of_a_sum_is_the_sum(x: float, a: float, b: float) -> None:
    def one(x: float) -> float:
        return a * x**2

    def other(x: float) -> float:
        return b * math.sin(x)

    together = sensitivity(lambda x: one(x) + other(x), {"x": x}, "x")
    apart = sensitivity(one, {"x": x}, "x") + sensitivity(other, {"x": x}, "x")
    assert together == pytest.approx(apart, rel=1e-6, abs=1e-4)


@given(st.floats(2.6, 4.4))
def test_sensitivity__independent_automatic_differentiation(ph: float) -> None:
    at = ufloat(ph, 0.01)
    expected = (1 / (1 + umath.pow(10, at - 1.81))).derivatives[at]
    found = sensitivity(lambda ph: float(molecular_fraction(ph, 1.81)), {"ph": ph}, "ph")
    assert found == pytest.approx(expected, rel=1e-8)


def test_sensitivity__refuses_an_input_that_is_none() -> None:
    with pytest.raises(UnknownNameError, match="no input 'ph'; inputs: titre_ml, "):
        sensitivity(so2_by_iodine, TITRATION, "ph")


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_sensitivity__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="titre_ml must be a finite number"):
        sensitivity(so2_by_iodine, TITRATION | {"titre_ml": bad}, "titre_ml")
    with pytest.raises(OutOfRangeError, match="sensitivity to x"):
        sensitivity(lambda x: bad, {"x": 1.0}, "x")


def test_sensitivity__refuses_values_that_the_function_refuses() -> None:
    with pytest.raises(OutOfRangeError, match="sample volume"):
        sensitivity(so2_by_iodine, TITRATION | {"sample_ml": -1.0}, "sample_ml")
