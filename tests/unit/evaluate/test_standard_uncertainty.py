import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError, TooFewPointsError
from evaluate.standard_uncertainty import combined_u, u_from_expanded, u_from_rectangle, u_from_triangle
from evaluate.uncertainty import Budget, Input, propagate

NOT_FINITE = (math.nan, math.inf, -math.inf)


def test_u_from_rectangle__published_purity_of_phthalate() -> None:
    # QUAM A2: purity within 0.0005 gives 0.00029.
    assert u_from_rectangle(0.0005) == pytest.approx(0.00029, abs=0.000005)


def test_u_from_rectangle__closed_form_root_of_three() -> None:
    assert u_from_rectangle(3.0) == pytest.approx(3.0**0.5, rel=1e-14)


def test_u_from_rectangle__limit_no_width_no_uncertainty() -> None:
    assert u_from_rectangle(0.0) == 0.0


@given(st.floats(0, 100))
def test_u_from_rectangle__law_it_is_wider_than_the_triangle(half: float) -> None:
    assert u_from_rectangle(half) >= u_from_triangle(half)


def test_u_from_rectangle__independent_simulation() -> None:
    draws = np.random.default_rng(1).uniform(-0.3, 0.3, 400_000)
    assert u_from_rectangle(0.3) == pytest.approx(float(np.std(draws)), rel=0.005)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_u_from_rectangle__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        u_from_rectangle(bad)


def test_u_from_triangle__published_burette_tolerance() -> None:
    # QUAM A2: a burette within 0.03 mL gives 0.012 mL.
    assert u_from_triangle(0.03) == pytest.approx(0.012, abs=0.0005)


def test_u_from_triangle__closed_form_root_of_six() -> None:
    assert u_from_triangle(6.0) == pytest.approx(6.0**0.5, rel=1e-14)


def test_u_from_triangle__limit_no_width_no_uncertainty() -> None:
    assert u_from_triangle(0.0) == 0.0


@given(st.floats(0, 100), st.floats(0, 10))
def test_u_from_triangle__law_it_is_proportional(half: float, factor: float) -> None:
    assert u_from_triangle(half * factor) == pytest.approx(factor * u_from_triangle(half))


def test_u_from_triangle__independent_simulation() -> None:
    draws = np.random.default_rng(2).triangular(-0.3, 0.0, 0.3, 400_000)
    assert u_from_triangle(0.3) == pytest.approx(float(np.std(draws)), rel=0.005)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_u_from_triangle__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        u_from_triangle(bad)


def test_u_from_expanded__closed_form_half_of_a_certificate() -> None:
    assert u_from_expanded(0.00070) == pytest.approx(0.00035)
    assert u_from_expanded(0.3, 3.0) == pytest.approx(0.1)


def test_u_from_expanded__limit_a_factor_of_one_changes_nothing() -> None:
    assert u_from_expanded(0.25, 1.0) == 0.25


@given(st.floats(0, 100), st.floats(0.1, 5))
def test_u_from_expanded__law_expanding_gives_it_back(expanded: float, coverage: float) -> None:
    assert u_from_expanded(expanded, coverage) * coverage == pytest.approx(expanded)


def test_u_from_expanded__independent_budget_expanded() -> None:
    assert Budget(1.0, u_from_expanded(0.3, 2.5), {}).expanded(2.5) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("expanded", "coverage"), [(-0.1, 2), (0.1, 0), (0.1, -2), (math.nan, 2), (0.1, math.inf)]
)
def test_u_from_expanded__refuses_bad_inputs(expanded: float, coverage: float) -> None:
    with pytest.raises(OutOfRangeError):
        u_from_expanded(expanded, coverage)


def test_combined_u__published_volume_of_the_titrant() -> None:
    # QUAM A2: calibration 0.012 mL and temperature 0.006 mL make 0.013 mL.
    assert combined_u(0.012, 0.006) == pytest.approx(0.013, abs=0.0005)


def test_combined_u__limit_one_part_is_itself() -> None:
    assert combined_u(0.25) == 0.25


@given(st.lists(st.floats(0, 100), min_size=1, max_size=6))
def test_combined_u__law_between_the_largest_part_and_the_sum(parts: list[float]) -> None:
    assert max(parts) * (1 - 1e-12) <= combined_u(*parts) <= math.fsum(parts) * (1 + 1e-12) + 1e-300


def test_combined_u__closed_form_three_and_four_make_five() -> None:
    assert combined_u(3.0, 4.0) == pytest.approx(5.0)


def test_combined_u__independent_propagation_of_a_sum() -> None:
    inputs = {"a": Input(1.0, 0.1), "b": Input(1.0, 0.2), "c": Input(1.0, 0.3)}
    assert combined_u(0.1, 0.2, 0.3) == pytest.approx(propagate(lambda a, b, c: a + b + c, inputs).u)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_combined_u__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        combined_u(0.1, bad)


def test_combined_u__refuses_no_parts() -> None:
    with pytest.raises(TooFewPointsError):
        combined_u()
