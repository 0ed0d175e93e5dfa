import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from evaluate.control_charts import (
    Limits,
    LimitState,
    limits_from_history,
    standard_scores,
)
from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

FLOW_RATE = [float(row["x"]) for row in rows("qc/nist_flow_rate.csv")]
histories = st.lists(st.floats(-1e4, 1e4), min_size=10, max_size=40).filter(lambda x: max(x) - min(x) > 1e-3)


def test_limits_from_history__published_multiple_of_t_for_ten_values() -> None:
    """For ten values 2.26 s hold 95 %, by NIST/SEMATECH e-Handbook 2.3.5.2; 95.45 % need more."""
    limits = limits_from_history(FLOW_RATE)
    half = limits.warning[1] - limits.centre
    assert half / limits.s > 2.26
    assert 2 * stats.t.sf(half / limits.s, 9) == pytest.approx(
        0.0455, abs=5e-5
    )  # 4.55 % beyond two deviations


def test_limits_from_history__closed_form_of_ten_values() -> None:
    values = [49.0, 51.0] * 5
    limits = limits_from_history(values)
    assert limits.centre == 50.0
    assert limits.s == pytest.approx(math.sqrt(10 / 9), rel=1e-14)
    assert limits.action[1] - 50 == pytest.approx(4.0942 * limits.s, rel=1e-4)  # t(0.99865, 9)


def test_limits_from_history__limit_from_twenty_five_values_on_the_multiples_are_two_and_three() -> None:
    few, enough = limits_from_history([1.0, 3.0] * 12), limits_from_history([1.0, 3.0] * 12 + [2.0])
    assert (few.state, enough.state) == (LimitState.PRELIMINARY, LimitState.ESTABLISHED)
    assert enough.warning == (2 - 2 * enough.s, 2 + 2 * enough.s)
    assert enough.action == (2 - 3 * enough.s, 2 + 3 * enough.s)
    assert few.warning[1] - few.centre > 2.05 * few.s


@given(histories, st.floats(-1e4, 1e4), st.floats(0.1, 10))
def test_limits_from_history__law_they_follow_a_change_of_unit(
    values: list[float], shift: float, scale: float
) -> None:
    before = limits_from_history(values)
    after = limits_from_history([scale * value + shift for value in values])
    expected = [scale * end + shift for end in before.action]
    assert list(after.action) == pytest.approx(expected, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("bad", [[1.0, 2.0] * 4 + [1.0], [1.0] * 9 + [math.nan], [1.0] * 9 + [math.inf]])
def test_limits_from_history__refuses_nine_values_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        limits_from_history(bad)


def test_limits_from_history__refuses_values_without_scatter() -> None:
    with pytest.raises(NotPredictableError, match="all values are equal"):
        limits_from_history([24.0] * 12)


@pytest.mark.parametrize("count", [10, 17, 24])
def test_limits_from_history__independent_multiples_of_scipy(count: int) -> None:
    values = np.linspace(20, 30, count)
    limits = limits_from_history(values.tolist())
    s = values.std(ddof=1)
    for ends, distance in ((limits.warning, 2), (limits.action, 3)):
        half = s * stats.t.ppf(stats.norm.cdf(distance), count - 1)
        assert ends == pytest.approx((25 - half, 25 + half), rel=1e-10)


def test_a_reference_value_becomes_the_centre_so_that_bias_shows() -> None:
    assert limits_from_history(FLOW_RATE, reference=50.0).centre == 50.0


def test_given_limits_are_taken_as_they_are() -> None:
    limits = Limits(47.0, 3.0)
    assert (limits.state, limits.warning, limits.action) == (LimitState.GIVEN, (41.0, 53.0), (38.0, 56.0))


@pytest.mark.parametrize(("centre", "s"), [(math.nan, 1.0), (1.0, 0.0), (1.0, -1.0), (1.0, math.inf)])
def test_limits_without_a_centre_or_scatter_are_refused(centre: float, s: float) -> None:
    with pytest.raises(OutOfRangeError):
        Limits(centre, s)


def test_a_step_above_a_third_of_the_deviation_is_too_coarse() -> None:
    limits = Limits(3.4, 0.03)
    assert not limits.is_too_coarse(0.00999)
    assert limits.is_too_coarse(0.01001)


def test_standard_scores__published_one_control_exercise() -> None:
    exercise = rows("qc/westgard_one_control.csv")
    found = standard_scores([float(row["value"]) for row in exercise], Limits(47.0, 3.0))
    assert found == pytest.approx([float(row["z"]) for row in exercise], abs=1e-4)


def test_standard_scores__limit_a_value_exactly_on_a_limit_in_decimals_is_not_beyond_it() -> None:
    on_limit = standard_scores([0.1 + 3 * 0.1, 24.6 + 3 * 0.2], Limits(0.1, 0.1))[0]
    assert on_limit == 3.0
    assert standard_scores([25.2], Limits(24.6, 0.2))[0] == 3.0


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20), st.integers(10, 24))
def test_standard_scores__law_mirrored_values_have_mirrored_scores(values: list[float], count: int) -> None:
    limits = Limits(0.0, 7.0, count)
    found = standard_scores(values, limits)
    assert found.tolist() == (-standard_scores([-value for value in values], limits)).tolist()


@pytest.mark.parametrize("bad", [math.inf, -math.inf, 1.001e150])
def test_standard_scores__refuses_infinite_values(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        standard_scores([1.0, bad], Limits(1.0, 1.0))


def test_standard_scores__independent_normal_score_of_t_for_preliminary_limits() -> None:
    values = np.array([-5.0, -2.0, -0.5, 0.0, 1.0, 3.0])
    expected = stats.norm.ppf(stats.t.cdf(values, 9))
    assert standard_scores(values, Limits(0.0, 1.0, 10)) == pytest.approx(expected, abs=1e-8)


def test_a_value_far_out_keeps_a_finite_score_under_preliminary_limits() -> None:
    low, high = standard_scores([-1e6, 1e6], Limits(0.0, 1.0, 10))
    assert -low == high == pytest.approx(-stats.norm.ppf(stats.t.sf(1e6, 9)), rel=1e-6)


def test_missing_values_keep_their_place_and_shape() -> None:
    found = standard_scores([[1.0, math.nan], [2.0, 3.0]], Limits(1.0, 1.0))
    assert found.shape == (2, 2)
    assert np.isnan(found).tolist() == [[False, True], [False, False]]


def test_preliminary_limits_score_two_and_three_on_their_own_limits() -> None:
    limits = Limits(50.0, 2.0, 12)
    ends = [limits.warning[1], limits.action[1], limits.action[0]]
    assert standard_scores(ends, limits).tolist() == [2.0, 3.0, -3.0]
