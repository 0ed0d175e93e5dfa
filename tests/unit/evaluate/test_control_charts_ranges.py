import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.control_charts_ranges import group_limits, moving_range_limits, range_chart_limits
from evaluate.errors import OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

FLOW_RATE = [float(row["x"]) for row in rows("qc/nist_flow_rate.csv")]
histories = st.lists(st.floats(-1e4, 1e4), min_size=10, max_size=40).filter(lambda x: max(x) - min(x) > 1e-3)


def test_moving_range_limits__published_flow_rate() -> None:
    found = moving_range_limits(FLOW_RATE, d2=1.128)
    assert found.centre == pytest.approx(50.81, abs=1e-4)
    assert found.mean_moving_range == pytest.approx(1.8778, abs=1e-4)
    assert (found.low, found.high) == pytest.approx((45.8159, 55.8041), abs=2e-4)


def test_moving_range_limits__limit_of_exact_d2_differs_in_the_third_decimal() -> None:
    found = moving_range_limits(FLOW_RATE)
    assert (found.low, found.high) == pytest.approx((45.8176, 55.8024), abs=5e-5)
    assert found.d2 == pytest.approx(2 / math.sqrt(math.pi), abs=1e-11)


@given(histories)
def test_moving_range_limits__law_a_series_read_backwards_has_the_same_limits(values: list[float]) -> None:
    forward, backward = moving_range_limits(values), moving_range_limits(values[::-1])
    assert forward.low <= forward.centre <= forward.high
    assert (backward.low, backward.high) == pytest.approx((forward.low, forward.high), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("bad", [[1.0] * 9, [1.0] * 9 + [math.nan], [1.0] * 9 + [math.inf]])
def test_moving_range_limits__refuses_nine_values_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        moving_range_limits(bad)


@pytest.mark.parametrize("d2", [0.0, -1.128, math.nan])
def test_moving_range_limits__refuses_a_constant_that_is_none(d2: float) -> None:
    with pytest.raises(OutOfRangeError, match="d2"):
        moving_range_limits(FLOW_RATE, d2=d2)


def test_moving_range_limits__independent_differences_of_numpy() -> None:
    found = moving_range_limits(FLOW_RATE, d2=1.0)
    mean_range = np.abs(np.diff(FLOW_RATE)).mean()
    assert found.high - found.centre == pytest.approx(3 * mean_range, rel=1e-12)
    assert found.range_high == pytest.approx(3.266532 * mean_range, rel=1e-6)  # D4, computed table


def test_range_chart_limits__published_factors_of_two_to_five() -> None:
    printed = {2: 3.686, 3: 4.358, 4: 4.698, 5: 4.918}
    assert {n: round(range_chart_limits(1.0, n).action, 3) for n in printed} == printed


def test_range_chart_limits__closed_form_of_duplicates() -> None:
    d2, d3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
    found = range_chart_limits(0.4)
    assert (found.centre, found.warning) == pytest.approx((0.4 * d2, 0.4 * (d2 + 2 * d3)), rel=1e-9)


def test_range_chart_limits__limit_of_the_smallest_scatter_stays_above_zero() -> None:
    assert 0 < range_chart_limits(1e-300).centre < 1e-299


@given(st.floats(1e-6, 1e6), st.integers(2, 25))
def test_range_chart_limits__law_in_order_and_in_proportion(s_r: float, n: int) -> None:
    found, unit = range_chart_limits(s_r, n), range_chart_limits(1.0, n)
    assert found.centre < found.warning < found.action
    assert found.action == pytest.approx(s_r * unit.action, rel=1e-12)


@pytest.mark.parametrize(
    ("s_r", "n"), [(0.0, 2), (-0.4, 2), (math.nan, 2), (math.inf, 2), (0.4, 1), (0.4, 26)]
)
def test_range_chart_limits__refuses_no_scatter_and_group_sizes_without_constants(s_r: float, n: int) -> None:
    with pytest.raises(OutOfRangeError):
        range_chart_limits(s_r, n)


def test_range_chart_limits__independent_simulation_of_ranges() -> None:
    ranges = np.ptp(np.random.default_rng(7).normal(0, 0.4, (200_000, 3)), axis=1)
    found = range_chart_limits(0.4, 3)
    assert found.centre == pytest.approx(ranges.mean(), abs=0.002)
    assert found.action == pytest.approx(ranges.mean() + 3 * ranges.std(), abs=0.006)


def test_group_limits__published_vane_opening() -> None:
    ranges = group_limits(33.32, 5.80, 5, spread="range")
    assert (ranges.low, ranges.high, ranges.spread_high) == pytest.approx((29.97, 36.67, 12.27), abs=0.01)
    deviations = group_limits(33.32, 2.345, 5, spread="deviation")
    assert deviations.spread_high == pytest.approx(4.899, abs=0.001)
    assert (ranges.spread_low, deviations.spread_low) == (0.0, 0.0)


def test_group_limits__limit_without_spread_all_lie_on_the_centre() -> None:
    found = group_limits(3.4, 0.0, 4, spread="range")
    assert (found.low, found.high, found.spread_low, found.spread_high) == (3.4, 3.4, 0.0, 0.0)


@given(st.floats(-1e3, 1e3), st.floats(0, 1e3), st.integers(2, 25), st.sampled_from(["range", "deviation"]))
def test_group_limits__law_half_the_width_at_two_thirds_of_the_sigmas(
    centre: float, size: float, n: int, spread: str
) -> None:
    wide = group_limits(centre, size, n, spread=spread)  # type: ignore[arg-type]  # one of the two words
    narrow = group_limits(centre, size, n, spread=spread, width_s=2.0)  # type: ignore[arg-type]  # as above
    assert 2 * (wide.high - centre) == pytest.approx(3 * (narrow.high - centre), rel=1e-9, abs=1e-9)
    assert 0 <= wide.spread_low <= narrow.spread_low <= size * (1 + 1e-12)


@pytest.mark.parametrize(
    ("centre", "size", "n", "width_s"),
    [(math.nan, 1, 5, 3), (1, -1, 5, 3), (1, math.inf, 5, 3), (1, 1, 1, 3), (1, 1, 26, 3), (1, 1, 5, 0)],
)
def test_group_limits__refuses_numbers_outside_their_range(
    centre: float, size: float, n: int, width_s: float
) -> None:
    with pytest.raises(OutOfRangeError):
        group_limits(centre, size, n, spread="range", width_s=width_s)


def test_group_limits__independent_printed_constants_of_seven() -> None:
    found = group_limits(10.0, 2.0, 7, spread="range")  # A2, D3, D4 of the computed table
    assert (found.low, found.high) == pytest.approx((10 - 0.419284 * 2, 10 + 0.419284 * 2), abs=2e-6)
    assert (found.spread_low, found.spread_high) == pytest.approx((0.075708 * 2, 1.924292 * 2), abs=2e-6)
    deviation = group_limits(10.0, 2.0, 7, spread="deviation")  # A3, B3, B4
    assert (deviation.low, deviation.high) == pytest.approx((10 - 1.181916 * 2, 10 + 1.181916 * 2), abs=2e-6)
    assert (deviation.spread_low, deviation.spread_high) == pytest.approx(
        (0.117685 * 2, 1.882315 * 2), abs=2e-6
    )
