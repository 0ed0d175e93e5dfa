import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError, TooFewPointsError, UnknownNameError
from evaluate.sulfur_dioxide import so2_by_iodine
from evaluate.uncertainty import (
    Budget,
    Input,
    propagate,
)

NOT_FINITE = (math.nan, math.inf, -math.inf)
UNCERTAINTIES = st.floats(0.001, 1.0)

# Eurachem/CITAC, Quantifying Uncertainty in Analytical Measurement, example A2: sodium hydroxide by
# phthalate.
QUAM_A2 = {
    "rep": Input(1.0, 0.0005),
    "mass_g": Input(0.3888, 0.00013),
    "purity": Input(1.0, 0.00029),
    "molar_mass": Input(204.2212, 0.0038),
    "volume_ml": Input(18.64, 0.013),
}


def naoh(rep: float, mass_g: float, purity: float, molar_mass: float, volume_ml: float) -> float:
    return 1000 * rep * mass_g * purity / (molar_mass * volume_ml)


def total(a: float, b: float, c: float) -> float:
    return a + b + c


def test_propagate__published_sodium_hydroxide_by_phthalate() -> None:
    found = propagate(naoh, QUAM_A2)
    assert found.value == pytest.approx(0.10214, abs=0.000005)
    assert found.u == pytest.approx(0.00010, abs=0.000005)
    assert found.relative_u == pytest.approx(0.00097, abs=0.000005)


@pytest.mark.parametrize(
    ("name", "u"),
    [("volume_ml", 7.1e-5), ("rep", 5.1e-5), ("mass_g", 3.4e-5), ("purity", 3.0e-5), ("molar_mass", 0.2e-5)],
)
def test_propagate__published_parts_of_sodium_hydroxide_by_phthalate(name: str, u: float) -> None:
    # Computed from the published inputs: relative uncertainty times the value.
    assert propagate(naoh, QUAM_A2).contributions[name].u == pytest.approx(u, abs=0.06e-5)


def test_propagate__published_hydrochloric_acid_value() -> None:
    # The same guide, example A3. Its printed uncertainty does not follow from its inputs; the value does.
    inputs = {
        "rep": Input(1.0, 0.001),
        "mass_g": Input(0.3888, 0.00013),
        "purity": Input(1.0, 0.00029),
        "second_ml": Input(14.89, 0.015),
        "first_ml": Input(18.64, 0.016),
        "molar_mass": Input(204.2212, 0.0038),
        "acid_ml": Input(15.0, 0.011),
    }
    found = propagate(
        lambda rep, mass_g, purity, second_ml, first_ml, molar_mass, acid_ml: (
            1000 * rep * mass_g * purity * second_ml / (first_ml * molar_mass * acid_ml)
        ),
        inputs,
    )
    assert found.value == pytest.approx(0.10139, abs=0.000005)
    assert found.u == pytest.approx(0.00019, abs=0.000005)


def test_propagate__limit_exact_inputs_give_an_exact_result() -> None:
    found = propagate(lambda a, b: a * b, {"a": Input(2.0, 0.0), "b": Input(3.0, 0.0)})
    assert (found.value, found.u) == (6.0, 0.0)
    assert [part.share for part in found.contributions.values()] == [0.0, 0.0]


def test_propagate__limit_an_exact_input_still_has_a_sensitivity() -> None:
    found = propagate(lambda a, b: a * b, {"a": Input(2.0, 0.0), "b": Input(3.0, 0.1)})
    assert found.contributions["a"].sensitivity == pytest.approx(3.0)
    assert found.contributions["a"].share == 0.0


def test_propagate__limit_full_correlation_of_a_difference_cancels() -> None:
    inputs = {"a": Input(5.0, 0.1), "b": Input(3.0, 0.1)}
    assert propagate(lambda a, b: a - b, inputs, {("a", "b"): 1.0}).u == pytest.approx(0.0, abs=1e-8)
    assert propagate(lambda a, b: a - b, inputs, {("b", "a"): -1.0}).u == pytest.approx(0.2)


def test_propagate__closed_form_a_correlated_pair_shares_its_part_by_halves() -> None:
    inputs = {"a": Input(1.0, 0.3), "b": Input(1.0, 0.4)}
    found = propagate(lambda a, b: a + b, inputs, {("a", "b"): 0.5})
    variance = 0.09 + 0.16 + 2 * 0.5 * 0.12
    assert found.u == pytest.approx(math.sqrt(variance))
    assert found.contributions["a"].share == pytest.approx((0.09 + 0.06) / variance)
    assert found.contributions["b"].share == pytest.approx((0.16 + 0.06) / variance)


@given(UNCERTAINTIES, UNCERTAINTIES, UNCERTAINTIES, st.floats(-1, 1))
def test_propagate__law_the_shares_add_to_one(a: float, b: float, c: float, r: float) -> None:
    inputs = {"a": Input(1.0, a), "b": Input(2.0, b), "c": Input(3.0, c)}
    found = propagate(total, inputs, {("a", "b"): r})
    assert math.fsum(part.share for part in found.contributions.values()) == pytest.approx(1.0)


@given(st.floats(0.1, 100), UNCERTAINTIES)
def test_propagate__law_scaling_all_scales_the_uncertainty(factor: float, u: float) -> None:
    once = propagate(total, {"a": Input(1, u), "b": Input(2, u), "c": Input(3, u)})
    scaled = propagate(
        total,
        {
            "a": Input(factor, factor * u),
            "b": Input(2 * factor, factor * u),
            "c": Input(3 * factor, factor * u),
        },
    )
    assert scaled.u == pytest.approx(factor * once.u, rel=1e-6)


def test_propagate__independent_monte_carlo() -> None:
    rng = np.random.default_rng(42)
    rep, mass, purity, molar_mass, volume = (
        rng.normal(one.value, one.u, 400_000) for one in QUAM_A2.values()
    )
    draws = 1000 * rep * mass * purity / (molar_mass * volume)
    assert propagate(naoh, QUAM_A2).u == pytest.approx(float(np.std(draws)), rel=0.01)


def test_propagate__independent_monte_carlo_with_correlation() -> None:
    inputs = {
        "titre_ml": Input(6.28, 0.05),
        "iodine_mol_per_l": Input(0.0100, 0.0001),
        "sample_ml": Input(20.0, 0.05),
    }
    found = propagate(so2_by_iodine, inputs, {("titre_ml", "sample_ml"): 0.8})
    cross = 0.8 * 0.05 * 0.05
    covariance = [[0.05**2, 0, cross], [0, 0.0001**2, 0], [cross, 0, 0.05**2]]
    draws = np.random.default_rng(5).multivariate_normal([6.28, 0.01, 20.0], covariance, 400_000)
    simulated = draws[:, 0] * draws[:, 1] * 64.058 * 1000 / draws[:, 2]
    assert found.u == pytest.approx(float(np.std(simulated)), rel=0.01)


def test_propagate__independent_correlated_variables_of_the_library() -> None:
    inputs = {"a": Input(2.0, 0.1), "b": Input(3.0, 0.2), "c": Input(4.0, 0.3)}
    pairs = {("a", "b"): 0.3, ("b", "c"): -0.5, ("c", "a"): 0.2}
    matrix = np.array([[1, 0.3, 0.2], [0.3, 1, -0.5], [0.2, -0.5, 1]])
    a, b, c = uncertainties.correlated_values_norm([(2.0, 0.1), (3.0, 0.2), (4.0, 0.3)], matrix)
    assert propagate(lambda a, b, c: a * b / c, inputs, pairs).u == pytest.approx(
        (a * b / c).std_dev, rel=1e-6
    )


def test_propagate__published_school_exercise_with_uncertainty() -> None:
    # A school exercise: relative half-widths 0.25, 1.0 and 0.80 % combine in quadrature to 1.3 %.
    inputs = {
        "titre_ml": Input(6.28, 0.05),
        "iodine_mol_per_l": Input(0.0100, 0.0001),
        "sample_ml": Input(20.0, 0.05),
    }
    found = propagate(so2_by_iodine, inputs)
    assert found.value == pytest.approx(201.3, abs=0.2)
    assert 100 * found.relative_u == pytest.approx(1.3, abs=0.05)


def test_propagate__refuses_no_inputs() -> None:
    with pytest.raises(TooFewPointsError):
        propagate(lambda: 1.0, {})


@pytest.mark.parametrize(
    "bad", [Input(math.nan, 0.1), Input(math.inf, 0.1), Input(1.0, -0.1), Input(1.0, math.nan)]
)
def test_propagate__refuses_bad_inputs(bad: Input) -> None:
    with pytest.raises(OutOfRangeError):
        propagate(lambda a: a, {"a": bad})


@pytest.mark.parametrize("coefficient", [1.001, -1.001, math.nan])
def test_propagate__refuses_a_correlation_beyond_one(coefficient: float) -> None:
    inputs = {"a": Input(1.0, 0.1), "b": Input(1.0, 0.1)}
    with pytest.raises(OutOfRangeError, match="correlation of a and b"):
        propagate(lambda a, b: a + b, inputs, {("a", "b"): coefficient})


def test_propagate__refuses_a_correlation_with_what_is_no_input() -> None:
    with pytest.raises(UnknownNameError, match="inputs: a"):
        propagate(lambda a: a, {"a": Input(1.0, 0.1)}, {("a", "burette"): 0.5})


@pytest.mark.parametrize("pairs", [{("a", "a"): 1.0}, {("a", "b"): 0.5, ("b", "a"): 0.5}])
def test_propagate__refuses_a_pair_that_is_none_or_given_twice(pairs: dict[tuple[str, str], float]) -> None:
    with pytest.raises(ContradictionError, match="given once"):
        propagate(lambda a, b: a + b, {"a": Input(1.0, 0.1), "b": Input(1.0, 0.1)}, pairs)


def test_propagate__refuses_three_inputs_that_all_oppose_each_other() -> None:
    inputs = {name: Input(1.0, 0.1) for name in "abc"}
    pairs = {("a", "b"): -0.9, ("b", "c"): -0.9, ("a", "c"): -0.9}
    with pytest.raises(ContradictionError, match="cannot all hold together"):
        propagate(total, inputs, pairs)


def propagated_with_two_correlations(coefficient: float) -> Budget:
    inputs = {name: Input(1.0, 0.1) for name in "abc"}
    return propagate(total, inputs, {("a", "b"): coefficient, ("a", "c"): coefficient})


def test_propagate__limit_two_independent_inputs_can_follow_a_third_only_so_far() -> None:
    # The smallest eigenvalue of the matrix is 1 - r sqrt 2.
    assert propagated_with_two_correlations(0.70).u == pytest.approx(0.1 * math.sqrt(3 + 4 * 0.70))
    with pytest.raises(ContradictionError):
        propagated_with_two_correlations(0.71)


def test_propagate__limit_three_inputs_that_all_agree_fully() -> None:
    inputs = {name: Input(1.0, 0.1) for name in "abc"}
    pairs = {("a", "b"): 1.0, ("b", "c"): 1.0, ("a", "c"): 1.0}
    assert propagate(total, inputs, pairs).u == pytest.approx(0.3)


def test_a_budget_expands_by_its_coverage_factor() -> None:
    budget = Budget(10.0, 0.5, {})
    assert (budget.expanded(), budget.expanded(3.0), budget.relative_u) == (1.0, 1.5, 0.05)
    assert Budget(-10.0, 0.5, {}).relative_u == 0.05
    assert Budget(0.0, 0.5, {}).relative_u == math.inf
    with pytest.raises(OutOfRangeError):
        budget.expanded(0.0)
