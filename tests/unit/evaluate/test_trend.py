import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, stats

from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from evaluate.trend import Trend, crossing, forecast, loss_rate, straight_line
from tundish.selftest.tables import figures, rows

DAYS = [0.0, 7.0, 14.0, 22.0, 28.0, 35.0]
FREE = [32.0, 30.9, 29.2, 28.3, 26.6, 25.7]  # [mg/L] made up, losing about 0.18 a day
points = st.lists(st.tuples(st.integers(0, 100), st.integers(-200, 200)), min_size=4, max_size=15)


def norris() -> tuple[list[float], list[float], dict[str, float]]:
    table = rows("nist_strd/norris.csv")
    return [float(r["x"]) for r in table], [float(r["y"]) for r in table], figures("nist_strd/norris.csv")


def scattered(drawn: list[tuple[int, int]]) -> tuple[list[float], list[float]]:
    x, y = [float(a) for a, _ in drawn], [b / 10 for _, b in drawn]
    assume(len(set(x)) > 2)
    return x, y


def edge(level: float, sign: int, low: float, high: float) -> float:
    """Return where one edge of the prediction interval meets the level, by search."""

    def miss(x: float) -> float:
        fit = stats.linregress(DAYS, FREE)
        residual = np.asarray(FREE) - fit.intercept - fit.slope * np.asarray(DAYS)
        s = math.sqrt(float((residual**2).sum()) / 4)
        leverage = 1 + 1 / 6 + (x - np.mean(DAYS)) ** 2 / np.var(DAYS) / 6
        half = stats.t.ppf(0.975, 4) * s * math.sqrt(leverage)
        return float(fit.intercept + fit.slope * x + sign * half - level)

    return float(optimize.brentq(miss, low, high))


def test_straight_line__published_norris() -> None:
    x, y, certified = norris()
    found = straight_line(x, y)
    expected = [
        certified[f"certified_{name}"] for name in ("B0", "sd_B0", "B1", "sd_B1", "residual_sd", "r_squared")
    ]
    ours = [found.intercept, found.intercept_s, found.slope, found.slope_s, found.residual_s, found.r_squared]
    assert ours == pytest.approx(expected, rel=1e-11)


def test_straight_line__limit_points_on_a_line_leave_no_scatter() -> None:
    found = straight_line([0.0, 1.0, 2.0], [5.0, 4.0, 3.0])
    assert (found.intercept, found.slope, found.residual_s, found.r_squared) == (5.0, -1.0, 0.0, 1.0)
    assert straight_line([0.0, 1.0, 2.0], [5.0, 5.0, 5.0]).r_squared == 1.0
    level = straight_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.1, 0.1, 0.1])  # whose mean is no double
    assert (level.slope, level.residual_s, level.slope_s) == pytest.approx((0.0, 0.0, 0.0), abs=1e-15)
    assert (found.first_x, found.last_x, found.n) == (0.0, 2.0, 3)


@given(points, st.integers(-1000, 1000))
def test_straight_line__law_another_first_day_moves_only_the_intercept(
    drawn: list[tuple[int, int]], shift: int
) -> None:
    x, y = scattered(drawn)
    before, after = straight_line(x, y), straight_line([value + shift for value in x], y)
    assert (after.slope, after.slope_s) == pytest.approx((before.slope, before.slope_s), rel=1e-9, abs=1e-9)
    assert after.intercept == pytest.approx(before.intercept - before.slope * shift, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "y", "error"),
    [
        ([], [], TooFewPointsError),
        ([0.0, 1.0], [1.0, 2.0], TooFewPointsError),
        ([0.0, 1.0, 2.0], [1.0, 2.0], TooFewPointsError),
        ([0.0, 1.0, 2.0, 3.0], [1.0, 2.0, 3.0], OutOfRangeError),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], OutOfRangeError),
        ([0.0, 1.0, math.nan], [1.0, 2.0, 3.0], OutOfRangeError),
        ([0.0, 1.0, 2.0], [1.0, 2.0, math.inf], OutOfRangeError),
    ],
)
def test_straight_line__refuses_what_shows_no_slope(
    x: list[float], y: list[float], error: type[ValueError]
) -> None:
    with pytest.raises(error):
        straight_line(x, y)


@given(points)
def test_straight_line__independent_regression_of_scipy(drawn: list[tuple[int, int]]) -> None:
    x, y = scattered(drawn)
    assume(len(set(y)) > 1)  # scipy gives no deviation of a level line
    found, fit = straight_line(x, y), stats.linregress(x, y)
    ours = (found.slope, found.intercept, found.slope_s, found.intercept_s)
    theirs = (fit.slope, fit.intercept, fit.stderr, fit.intercept_stderr)
    assert ours == pytest.approx(theirs, rel=1e-7, abs=1e-7)


def test_loss_rate__published_norris_slope_and_its_deviation() -> None:
    x, y, certified = norris()
    found = loss_rate(straight_line(x, y))
    half = 2.0322 * certified["certified_sd_B1"]  # t for 34 degrees of freedom at 97.5 %, printed tables
    assert found.per_day == pytest.approx(-certified["certified_B1"], rel=1e-12)
    assert (found.high - found.low) / 2 == pytest.approx(half, rel=1e-4)


def test_loss_rate__limit_of_an_exact_line_has_no_width() -> None:
    found = loss_rate(straight_line([0.0, 1.0, 2.0], [5.0, 4.0, 3.0]))
    assert (found.per_day, found.low, found.high) == (1.0, 1.0, 1.0)


@given(points)
def test_loss_rate__law_a_mirrored_lot_gains_what_the_other_loses(drawn: list[tuple[int, int]]) -> None:
    x, y = scattered(drawn)
    loses, gains = loss_rate(straight_line(x, y)), loss_rate(straight_line(x, [-value for value in y]))
    assert (gains.per_day, gains.low, gains.high) == pytest.approx(
        (-loses.per_day, -loses.high, -loses.low), abs=1e-12
    )


@pytest.mark.parametrize("probability", [0.49, 1.0, math.nan])
def test_loss_rate__refuses_a_probability_that_is_none(probability: float) -> None:
    with pytest.raises(OutOfRangeError, match="probability"):
        loss_rate(straight_line(DAYS, FREE), probability=probability)


@pytest.mark.parametrize("probability", [0.5, 0.9999])
def test_loss_rate__limit_of_the_probabilities_that_are_taken(probability: float) -> None:
    fit = stats.linregress(DAYS, FREE)
    found = loss_rate(straight_line(DAYS, FREE), probability=probability)
    half = stats.t.ppf((1 + probability) / 2, 4) * fit.stderr
    assert found.high - found.per_day == pytest.approx(half, rel=1e-9)


def test_loss_rate__independent_interval_of_scipy() -> None:
    fit = stats.linregress(DAYS, FREE)
    half = stats.t.ppf(0.95, 4) * fit.stderr
    found = loss_rate(straight_line(DAYS, FREE), probability=0.9)
    assert (found.low, found.high) == pytest.approx((-fit.slope - half, -fit.slope + half), rel=1e-9)


def test_a_rate_is_certain_when_its_interval_leaves_out_zero() -> None:
    assert loss_rate(straight_line(DAYS, FREE)).is_certain
    assert not loss_rate(straight_line([0.0, 1.0, 2.0, 3.0], [30.0, 31.0, 30.2, 30.9])).is_certain


def test_forecast__closed_form_at_the_mean_of_four_points() -> None:
    """Residuals of half a unit around a level line; at the mean the leverage is 1 + 1/4."""
    trend = straight_line([0.0, 1.0, 2.0, 3.0], [0.5, -0.5, -0.5, 0.5])
    half = 4.302653 * math.sqrt(0.5) * math.sqrt(1.25)  # t for 2 degrees of freedom at 97.5 %, printed tables
    found = forecast(trend, [1.5])
    assert (found.value[0], found.low[0], found.high[0]) == pytest.approx((0.0, -half, half), rel=1e-6)


def test_forecast__limit_of_an_exact_line_is_the_line_in_any_shape() -> None:
    found = forecast(straight_line([0.0, 1.0, 2.0], [5.0, 4.0, 3.0]), [[3.0, 4.0], [5.0, 6.0]])
    assert found.value.tolist() == found.low.tolist() == found.high.tolist() == [[2.0, 1.0], [0.0, -1.0]]


@given(st.floats(0, 500), st.floats(1, 100))
def test_forecast__law_the_band_widens_away_from_the_points(x: float, farther: float) -> None:
    trend = straight_line(DAYS, FREE)
    band = forecast(trend, [trend.mean_x + x, trend.mean_x + x + farther, trend.mean_x - x])
    width = band.high - band.low
    assert width[0] < width[1]
    assert width[2] == pytest.approx(width[0], rel=1e-9)


@pytest.mark.parametrize(("x", "probability"), [(math.nan, 0.95), (math.inf, 0.95), (1.0, 0.4), (1.0, 1.0)])
def test_forecast__refuses_no_place_and_no_probability(x: float, probability: float) -> None:
    with pytest.raises(OutOfRangeError):
        forecast(straight_line(DAYS, FREE), [x], probability=probability)


def test_forecast__independent_simulation_holds_19_of_20_further_measurements() -> None:
    rng = np.random.default_rng(4)
    x = np.arange(6.0)
    inside = 0
    for _ in range(1500):
        y = 30 - 0.5 * x + rng.normal(0, 0.4, 6)
        band = forecast(straight_line(x, y), [9.0])
        inside += bool(band.low[0] <= 30 - 0.5 * 9 + rng.normal(0, 0.4) <= band.high[0])
    assert inside / 1500 == pytest.approx(0.95, abs=0.02)


def exact(level: float) -> float:
    return crossing(straight_line([0.0, 1.0, 2.0], [32.0, 31.0, 30.0]), level).at


def test_crossing__closed_form_of_an_exact_line() -> None:
    found = crossing(straight_line([0.0, 1.0, 2.0], [32.0, 31.0, 30.0]), 25.0)
    assert (found.at, found.earliest, found.latest) == pytest.approx((7.0, 7.0, 7.0))


def test_crossing__limit_at_the_first_point_and_within_the_points() -> None:
    assert (exact(32.0), exact(30.5)) == (0.0, 1.5)
    rising = crossing(straight_line([0.0, 1.0, 2.0], [0.30, 0.32, 0.34]), 0.40)
    assert rising.at == pytest.approx(5.0)


@given(points, st.integers(-300, 300))
def test_crossing__law_its_ends_lie_on_the_edges_of_the_forecast(
    drawn: list[tuple[int, int]], tenths: int
) -> None:
    x, y = scattered(drawn)
    trend, level = straight_line(x, y), tenths / 10
    assume(abs(trend.slope) > 1e-3)
    assume(trend.mean_x - (trend.mean_y - level) / trend.slope >= trend.first_x)
    found = crossing(trend, level)
    assert forecast(trend, [found.at]).value[0] == pytest.approx(level, abs=1e-6)
    ends = [end for end in (found.earliest, found.latest) if end is not None]
    band = forecast(trend, ends)
    nearest = np.minimum(np.abs(band.low - level), np.abs(band.high - level))
    assert (nearest <= 1e-6 * (1 + np.abs(ends))).all()


@given(points, st.integers(-300, 300))
def test_crossing__law_the_line_is_met_between_the_edges(drawn: list[tuple[int, int]], tenths: int) -> None:
    x, y = scattered(drawn)
    trend, level = straight_line(x, y), tenths / 10
    assume(abs(trend.slope) > 1e-3)
    assume(trend.mean_x - (trend.mean_y - level) / trend.slope >= trend.first_x)
    found = crossing(trend, level)
    earliest = -math.inf if found.earliest is None else found.earliest
    latest = math.inf if found.latest is None else found.latest
    assert earliest - 1e-6 <= found.at <= latest + 1e-6


@pytest.mark.parametrize(
    ("level", "probability"), [(math.nan, 0.95), (math.inf, 0.95), (25.0, 0.4), (25.0, 1.0)]
)
def test_crossing__refuses_no_level_and_no_probability(level: float, probability: float) -> None:
    with pytest.raises(OutOfRangeError):
        crossing(straight_line(DAYS, FREE), level, probability=probability)


def test_crossing__refuses_a_level_line_and_one_that_moves_away() -> None:
    level_line = straight_line([0.0, 1.0, 2.0], [5.0, 5.0, 5.0])
    with pytest.raises(NotPredictableError, match="neither rise nor fall"):
        crossing(level_line, 4.0)
    with pytest.raises(NotPredictableError, match="moves away from 40"):
        crossing(straight_line(DAYS, FREE), 40.0)


@pytest.mark.parametrize("level", [20.0, 24.0])
def test_crossing__independent_search_along_the_edges(level: float) -> None:
    found = crossing(straight_line(DAYS, FREE), level)
    assert found.earliest == pytest.approx(edge(level, -1, 20, 200), abs=1e-7)
    assert found.latest == pytest.approx(edge(level, +1, 20, 200), abs=1e-7)


def unsure(values: list[float]) -> Trend:
    return straight_line([0.0, 10.0, 20.0, 30.0], values)


def test_a_slope_that_may_be_none_gives_the_earliest_day_alone() -> None:
    trend = unsure([30.0, 30.4, 29.5, 30.0])
    found = crossing(trend, 20.0)
    assert found.latest is None
    assert found.earliest is not None
    assert trend.mean_x < found.earliest < found.at
    assert forecast(trend, [found.earliest]).low[0] == pytest.approx(20.0, abs=1e-6)


def test_a_slope_that_may_be_none_met_a_level_of_the_past_by_its_later_edge() -> None:
    """The line met 30.05 near the start, but its scatter hides when."""
    trend = unsure([30.0, 30.4, 29.5, 30.0])
    found = crossing(trend, 30.05)
    assert (found.earliest, found.latest) == (None, None)
    steep = Trend(15.0, 20.0, -1.0, 1.5, 20.0, 0.9, 4, 0.0, 30.0)  # few days, much scatter
    early = crossing(steep, 32.0)
    assert early.earliest is None
    assert early.latest is not None
    assert early.at < early.latest < steep.mean_x
    assert forecast(steep, [early.latest]).high[0] == pytest.approx(32.0, abs=1e-6)
