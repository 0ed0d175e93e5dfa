import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from evaluate.outliers import Advice, cochran_advice, cochran_critical, grubbs_advice, grubbs_critical
from tundish.selftest.tables import rows

URANIUM = [float(row["x"]) for row in rows("qc/nist_grubbs_uranium.csv")]
GRUBBS = {int(row["n"]): row for row in rows("qc/grubbs_critical_values.csv")}
COCHRAN = {int(row["p"]): row for row in rows("qc/cochran_critical_values.csv")}
levels = st.floats(0.001, 0.4)


@pytest.mark.parametrize("n", range(3, 21))
def test_grubbs_critical__published_one_sided_table(n: int) -> None:
    printed = float(GRUBBS[n]["seen_one_sided_5pct"])
    assert grubbs_critical(n, 0.05, two_sided=False) == pytest.approx(printed, abs=6e-5)


def test_grubbs_critical__published_value_of_eight() -> None:
    assert grubbs_critical(8, 0.05, two_sided=False) == pytest.approx(2.032, abs=5e-4)


def test_grubbs_critical__closed_form_of_three_values() -> None:
    """One degree of freedom: Student's t is a tangent."""
    t = 1 / math.tan(math.pi * 0.05 / 6)
    assert grubbs_critical(3, 0.05) == pytest.approx(
        2 / math.sqrt(3) * math.sqrt(t**2 / (1 + t**2)), rel=1e-12
    )


@pytest.mark.parametrize("n", [3, 8, 40])
def test_grubbs_critical__limit_never_above_the_greatest_possible(n: int) -> None:
    assert grubbs_critical(n, 0.05) < grubbs_critical(n, 1e-6) <= (n - 1) / math.sqrt(n)


@given(st.integers(3, 60), levels)
def test_grubbs_critical__law_two_sided_is_one_sided_at_half_the_level(n: int, level: float) -> None:
    one = grubbs_critical(n, level / 2, two_sided=False)
    assert grubbs_critical(n, level) == pytest.approx(one, rel=1e-12)
    assert grubbs_critical(n, level) < grubbs_critical(n, level / 2)


@pytest.mark.parametrize("n", [2, 2.5, 3.5, math.nan])
def test_grubbs_critical__refuses_fewer_than_three_values(n: int) -> None:
    with pytest.raises(OutOfRangeError, match="n must be"):
        grubbs_critical(n, 0.05)


@pytest.mark.parametrize("level", [0.0, 9e-7, 0.501, math.nan])
def test_grubbs_critical__refuses_a_level_that_is_none(level: float) -> None:
    with pytest.raises(OutOfRangeError, match="level"):
        grubbs_critical(8, level)


@pytest.mark.parametrize("n", [3, 7, 25, 40])
def test_grubbs_critical__independent_computed_table(n: int) -> None:
    for sides in ("one", "two"):
        for per_cent in (1, 5):
            expected = float(GRUBBS[n][f"{sides}_sided_{per_cent}pct"])
            found = grubbs_critical(n, per_cent / 100, two_sided=sides == "two")
            assert found == pytest.approx(expected, abs=5.1e-5)


def test_grubbs_advice__published_uranium_outlier() -> None:
    found = grubbs_advice(URANIUM)
    assert found.statistic == pytest.approx(2.4687, abs=1e-4)
    assert (found.advice, URANIUM[found.position]) == (Advice.OUTLIER, 245.57)


def test_grubbs_advice__limit_three_values_of_which_two_agree_touch_the_greatest_possible() -> None:
    found = grubbs_advice([24.0, 24.0, 30.0])
    assert found.statistic == pytest.approx(2 / math.sqrt(3), rel=1e-12)
    assert found.advice is Advice.OUTLIER


def test_grubbs_advice__limit_equal_values_have_no_outlier() -> None:
    assert grubbs_advice([24.0] * 5).advice is Advice.NONE


def test_grubbs_advice_tells_a_straggler_from_an_outlier() -> None:
    """Five even values and one aside: G is 1.873, 1.929, 2.005 against 1.887 and 1.973."""
    even = [-1.0, -0.5, 0.0, 0.5, 1.0]
    advice = [grubbs_advice([*even, aside]).advice for aside in (4.0, 5.0, 9.0)]
    assert advice == [Advice.NONE, Advice.STRAGGLER, Advice.OUTLIER]


@given(st.lists(st.integers(-500, 500).map(float), min_size=3, max_size=12), st.integers(-1000, 1000))
def test_grubbs_advice__law_a_shift_changes_nothing(values: list[float], shift: int) -> None:
    before, after = grubbs_advice(values), grubbs_advice([value + shift for value in values])
    assert after.statistic == pytest.approx(before.statistic, rel=1e-9)
    assert after.advice is before.advice


@pytest.mark.parametrize("bad", [[1.0, 2.0], [1.0, 2.0, math.nan], [1.0, 2.0, math.inf]])
def test_grubbs_advice__refuses_two_values_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        grubbs_advice(bad)


def test_grubbs_advice__independent_largest_score_of_scipy() -> None:
    scores = np.abs(stats.zscore(URANIUM, ddof=1))
    found = grubbs_advice(URANIUM)
    assert found.position == scores.argmax()
    assert found.statistic == pytest.approx(scores.max(), rel=1e-12)
    assert (found.critical_5, found.critical_1) == pytest.approx((2.1266, 2.2744), abs=5.1e-5)


def test_cochran_critical__closed_form_of_two_pairs() -> None:
    """Two variances of one degree of freedom: the F distribution is an arc tangent."""
    root = math.tan(math.pi / 2 * (1 - 0.05 / 2))
    assert cochran_critical(2, 2, 0.05) == pytest.approx(1 / (1 + 1 / root**2), rel=1e-10)


@pytest.mark.parametrize("p", COCHRAN)
def test_cochran_critical__independent_computed_table(p: int) -> None:
    for n in range(2, 7):
        for per_cent in (1, 5):
            expected = float(COCHRAN[p][f"n{n}_{per_cent}pct"])
            assert cochran_critical(p, n, per_cent / 100) == pytest.approx(expected, abs=5.1e-5)


def test_cochran_critical__limit_of_many_replicates_approaches_an_even_share() -> None:
    assert cochran_critical(4, 1_000_000, 0.05) == pytest.approx(0.25, abs=2e-3)


def test_cochran_critical__limit_of_the_levels_that_are_taken() -> None:
    assert cochran_critical(3, 4, 1e-6) > cochran_critical(3, 4, 0.5) > 1 / 3
    assert grubbs_critical(5, 0.5) < grubbs_critical(5, 1e-6)


@given(st.integers(2, 39), st.integers(2, 10), levels)
def test_cochran_critical__law_falls_with_groups_replicates_and_level(p: int, n: int, level: float) -> None:
    found = cochran_critical(p, n, level)
    assert 1 / p <= found <= 1
    assert cochran_critical(p + 1, n, level) <= found + 1e-12
    assert cochran_critical(p, n + 1, level) <= found + 1e-12
    assert cochran_critical(p, n, level / 2) >= found


@pytest.mark.parametrize(
    ("p", "n", "level"),
    [
        (1, 2, 0.05),
        (2, 1, 0.05),
        (2.5, 2, 0.05),
        (2, 2, 0.0),
        (2, 2, 0.501),
        (2, 2, 9e-7),
        (math.nan, 2, 0.05),
    ],
)
def test_cochran_critical__refuses_numbers_outside_their_range(p: int, n: int, level: float) -> None:
    with pytest.raises(OutOfRangeError):
        cochran_critical(p, n, level)


def test_cochran_critical__independent_quadrature_of_the_beta_density() -> None:
    """The share of one variance is a beta variate; level/p of it lies above the critical value."""
    above, _ = integrate.quad(stats.beta(1.0, 4.0).pdf, cochran_critical(5, 3, 0.05), 1)
    assert above == pytest.approx(0.05 / 5, rel=1e-9)


PAIRS = [[24.0, 24.2], [31.0, 30.9], [18.4, 18.6], [22.0, 22.1]]


def test_cochran_advice__closed_form_share_of_the_largest_variance() -> None:
    found = cochran_advice([*PAIRS, [27.0, 28.0]])
    assert found.statistic == pytest.approx(1 / (1 + 0.04 + 0.01 + 0.04 + 0.01), rel=1e-9)
    assert (found.position, found.advice) == (4, Advice.STRAGGLER)
    assert (found.critical_5, found.critical_1) == pytest.approx((0.8413, 0.9279), abs=5.1e-5)


def test_cochran_advice__limit_groups_of_equal_scatter_have_no_outlier() -> None:
    found = cochran_advice([[1.0, 2.0, 3.0]] * 5)
    assert found.statistic == pytest.approx(0.2)
    assert found.advice is Advice.NONE


@given(st.permutations(range(4)))
def test_cochran_advice__law_the_order_of_the_groups_does_not_matter(order: list[int]) -> None:
    found = cochran_advice([PAIRS[place] for place in order])
    assert found.statistic == pytest.approx(cochran_advice(PAIRS).statistic, rel=1e-12)


@pytest.mark.parametrize(
    ("groups", "error"),
    [
        ([[1.0, 2.0]], TooFewPointsError),
        ([[1.0], [2.0]], TooFewPointsError),
        ([[1.0, 2.0], [1.0, 2.0, 3.0]], OutOfRangeError),
        ([[1.0, math.nan], [1.0, 2.0]], OutOfRangeError),
        ([[1.0, 1.0], [2.0, 2.0]], NotPredictableError),
    ],
)
def test_cochran_advice__refuses_what_cannot_be_compared(
    groups: list[list[float]], error: type[ValueError]
) -> None:
    with pytest.raises(error):
        cochran_advice(groups)


def test_cochran_advice__independent_variances_of_numpy() -> None:
    groups = np.random.default_rng(2).normal(30, 0.5, (6, 4))
    variances = groups.var(axis=1, ddof=1)
    found = cochran_advice(groups.tolist())
    assert found.position == variances.argmax()
    assert found.statistic == pytest.approx(variances.max() / variances.sum(), rel=1e-9)
