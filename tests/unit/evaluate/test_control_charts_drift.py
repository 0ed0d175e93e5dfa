import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from evaluate.control_charts_drift import cusum_chart, ewma_chart
from evaluate.errors import OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

EWMA = rows("qc/nist_ewma.csv")
CUSUM = rows("qc/nist_cusum.csv")
series = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30)
whole_series = st.lists(st.integers(-50, 50).map(float), min_size=1, max_size=30)


def column(table: list[dict[str, str]], name: str) -> list[float]:
    return [float(row[name]) for row in table]


def test_ewma_chart__published_averages_and_limits() -> None:
    chart = ewma_chart(column(EWMA, "x"), 50.0, 2.0539, weight=0.3, steady=True)
    assert chart.averages == pytest.approx(column(EWMA, "ewma_printed"), abs=0.0051)
    assert (chart.low[0], chart.high[0]) == pytest.approx((47.4115, 52.5884), abs=2e-4)
    assert chart.signals == ()


def test_ewma_chart__limit_of_full_weight_is_the_chart_of_single_values() -> None:
    chart = ewma_chart([1.0, -3.5, 2.0], 0.0, 1.0, weight=1.0)
    assert chart.averages.tolist() == [1.0, -3.5, 2.0]
    assert chart.high == pytest.approx([3.0, 3.0, 3.0])
    assert chart.signals == (1,)


def test_ewma_chart__limit_the_widening_limits_reach_the_steady_ones() -> None:
    values = [0.0] * 60
    widening, steady = ewma_chart(values, 0.0, 1.0), ewma_chart(values, 0.0, 1.0, steady=True)
    assert widening.high[0] == pytest.approx(3 * 0.2, rel=1e-12)  # one value: weight times its deviation
    assert widening.high[-1] == pytest.approx(steady.high[-1], rel=1e-9)
    assert steady.high.tolist() == [steady.high[0]] * 60


@given(series, st.floats(0.01, 1.0))
def test_ewma_chart__law_an_average_stays_among_its_values(values: list[float], weight: float) -> None:
    averages = ewma_chart(values, 0.0, 1.0, weight=weight).averages
    assert averages.min() >= min(0.0, *values) - 1e-9
    assert averages.max() <= max(0.0, *values) + 1e-9


@pytest.mark.parametrize(
    ("values", "centre", "s", "weight", "width_s"),
    [
        ([], 0, 1, 0.2, 3),
        ([math.nan], 0, 1, 0.2, 3),
        ([math.inf], 0, 1, 0.2, 3),
        ([1.0], math.nan, 1, 0.2, 3),
        ([1.0], 0, 0, 0.2, 3),
        ([1.0], 0, 1, 0.0, 3),
        ([1.0], 0, 1, 1.01, 3),
        ([1.0], 0, 1, 0.2, 0),
    ],
)
def test_ewma_chart__refuses_no_values_and_settings_outside_their_range(
    values: list[float], centre: float, s: float, weight: float, width_s: float
) -> None:
    with pytest.raises((OutOfRangeError, TooFewPointsError)):
        ewma_chart(values, centre, s, weight=weight, width_s=width_s)


@given(series)
def test_ewma_chart__independent_filter_of_scipy(values: list[float]) -> None:
    filtered, _ = signal.lfilter([0.2], [1, -0.8], values, zi=[0.8 * 5.0])
    assert ewma_chart(values, 5.0, 1.0).averages == pytest.approx(filtered, rel=1e-9, abs=1e-9)


def test_ewma_chart_signals_an_average_below_its_lower_limit() -> None:
    assert ewma_chart([-3.1, 0.0], 0.0, 1.0, weight=1.0).signals == (0,)


def test_cusum_chart__published_sums_and_first_signal() -> None:
    chart = cusum_chart(column(CUSUM, "x"), 325.0, slack=0.3175, decision=4.1959)
    assert chart.above == pytest.approx(column(CUSUM, "s_hi"), abs=0.0051)
    assert chart.below == pytest.approx(column(CUSUM, "s_lo"), abs=0.0051)
    assert [position + 1 for position in chart.signals] == list(range(14, 21))


def test_cusum_chart_reports_where_the_shift_began() -> None:
    chart = cusum_chart(column(CUSUM, "x"), 325.0, slack=0.3175, decision=4.1959)
    assert chart.shift_began == 12  # group 13, the first of the values near 328


def test_cusum_chart_reports_a_shift_below_and_one_from_the_first_value_on() -> None:
    assert cusum_chart([0.0, 5.0, -3.0, -3.0], 0.0, slack=0.5, decision=4.9).shift_began == 2
    assert cusum_chart([0.0, 0.0, 9.0], 0.0, slack=0.5, decision=4.9).shift_began == 2
    assert cusum_chart([3.0, 3.0], 0.0, slack=0.5, decision=4.9).shift_began == 0
    assert cusum_chart([3.0], 0.0, slack=0.5, decision=4.9).shift_began is None


def test_cusum_chart__limit_values_within_the_slack_gather_nothing() -> None:
    chart = cusum_chart([0.5, -0.5, 0.5], 0.0, slack=0.5, decision=1.0)
    assert not chart.above.any()
    assert not chart.below.any()
    assert chart.signals == ()


def test_cusum_chart__limit_a_sum_exactly_on_the_decision_gives_no_signal() -> None:
    assert cusum_chart([2.0, -2.0], 0.0, slack=0.0, decision=2.0).signals == ()
    assert cusum_chart([2.0, -2.1], 0.0, slack=0.0, decision=2.0).signals == (1,)


@given(whole_series)
def test_cusum_chart__law_a_mirrored_series_swaps_the_sums(values: list[float]) -> None:
    chart = cusum_chart(values, 3.0, slack=0.5, decision=4.0)
    mirrored = cusum_chart([6.0 - value for value in values], 3.0, slack=0.5, decision=4.0)
    assert chart.above.tolist() == mirrored.below.tolist()
    assert chart.below.tolist() == mirrored.above.tolist()


@pytest.mark.parametrize(
    ("values", "target", "slack", "decision"),
    [
        ([], 0, 0.5, 5),
        ([math.nan], 0, 0.5, 5),
        ([1.0], math.inf, 0.5, 5),
        ([1.0], 0, -0.1, 5),
        ([1.0], 0, 0.5, 0),
    ],
)
def test_cusum_chart__refuses_no_values_and_settings_outside_their_range(
    values: list[float], target: float, slack: float, decision: float
) -> None:
    with pytest.raises((OutOfRangeError, TooFewPointsError)):
        cusum_chart(values, target, slack=slack, decision=decision)


@given(whole_series)
def test_cusum_chart__independent_reflection_of_the_plain_sum(values: list[float]) -> None:
    """The sum that never falls below zero is the plain sum less its lowest point so far."""
    plain = np.cumsum(np.array(values) - 1.0 - 0.5)
    lowest = np.minimum(np.minimum.accumulate(plain), 0)
    above = cusum_chart(values, 1.0, slack=0.5, decision=4.0).above
    assert above == pytest.approx(plain - lowest, abs=1e-9)
