import math
from random import Random

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from evaluate.electrode_health import Health, HealthVerdict, forecast_health
from evaluate.errors import EvaluateError, OutOfRangeError, TooFewPointsError

DAYS = [float(d) for d in range(10)]


def fading(per_day: float, noise: float = 0.2, seed: int = 1) -> list[float]:
    random = Random(seed)
    return [98.0 - per_day * d + noise * random.gauss(0, 1) for d in DAYS]


def day_of_failure(health: Health) -> float:
    assert health.fails is not None
    return health.fails.at


def test_forecast_health__closed_form_the_day_a_slope_fails() -> None:
    # 98 % less 0.5 a day reaches 90 % on day 16.
    health = forecast_health(DAYS, fading(0.5, noise=0.0), 90.0, falls=True)
    assert health.verdict is HealthVerdict.WORSENING
    assert day_of_failure(health) == pytest.approx(16.0)


def test_forecast_health__closed_form_a_response_time_rises() -> None:
    health = forecast_health(DAYS, [20.0 + 2.0 * d for d in DAYS], 60.0, falls=False)
    assert day_of_failure(health) == pytest.approx(20.0)


def test_forecast_health__limit_a_value_on_its_limit_has_failed() -> None:
    days, values = DAYS[:3], [92.0, 91.0, 90.0]
    assert forecast_health(days, values, 90.0, falls=True).verdict is HealthVerdict.FAILED
    assert forecast_health(days, values, 89.9, falls=True).verdict is not HealthVerdict.FAILED
    assert forecast_health(days, [40.0, 50.0, 60.0], 60.0, falls=False).verdict is HealthVerdict.FAILED


def test_forecast_health__limit_scatter_alone_is_steady() -> None:
    health = forecast_health(DAYS, fading(0.0), 90.0, falls=True)
    assert (health.verdict, health.fails) == (HealthVerdict.STEADY, None)


def test_a_figure_that_gets_better_is_improving() -> None:
    assert forecast_health(DAYS, fading(-0.5), 90.0, falls=True).verdict is HealthVerdict.IMPROVING
    assert forecast_health(DAYS, fading(0.5), 120.0, falls=False).verdict is HealthVerdict.IMPROVING


def test_cleaning_begins_a_new_trend() -> None:
    values = [98.0, 96.0, 94.0, 92.0, 97.0, 96.5, 96.0, 95.5, 95.0, 94.5]
    health = forecast_health(DAYS, values, 90.0, falls=True, cleaned_on=[0.0, 4.0])
    assert health.trend.n == 6
    assert day_of_failure(health) == pytest.approx(18.0)


def test_forecast_health__independent_scipy_line_and_prediction() -> None:
    values = fading(0.5)
    health = forecast_health(DAYS, values, 90.0, falls=True)
    line = scipy.stats.linregress(DAYS, values)
    assert day_of_failure(health) == pytest.approx((90.0 - line.intercept) / line.slope)
    assert health.fails is not None
    x = health.fails.earliest
    assert x is not None
    left = np.array(values) - line.intercept - line.slope * np.array(DAYS)
    s = math.sqrt(float(left @ left) / 8)
    band = scipy.stats.t.ppf(0.975, 8) * s * math.sqrt(1 + 1 / 10 + (x - 4.5) ** 2 / 82.5)
    assert line.intercept + line.slope * x - band == pytest.approx(90.0, abs=1e-6)


@settings(max_examples=30)
@given(st.floats(0.1, 1.0), st.floats(-100.0, 100.0))
def test_forecast_health__law_later_days_move_the_forecast_as_far(per_day: float, later: float) -> None:
    values = fading(per_day, noise=0.01)
    plain = forecast_health(DAYS, values, 80.0, falls=True)
    moved = forecast_health([d + later for d in DAYS], values, 80.0, falls=True)
    assert day_of_failure(moved) == pytest.approx(day_of_failure(plain) + later, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_a_failure_is_forecast_before_it_happens(seed: int) -> None:
    health = forecast_health(DAYS, fading(0.4, seed=seed), 90.0, falls=True)
    assert health.fails is not None
    assert health.fails.earliest is not None
    assert DAYS[-1] < health.fails.earliest <= 22.0


def test_a_certain_interval_may_be_asked_for() -> None:
    values = fading(0.03, noise=0.1, seed=4)
    loose = forecast_health(DAYS, values, 90.0, falls=True, probability=0.5)
    strict = forecast_health(DAYS, values, 90.0, falls=True, probability=0.9999)
    assert (loose.verdict, strict.verdict) == (HealthVerdict.WORSENING, HealthVerdict.STEADY)


def test_forecast_health__refuses_too_few_since_cleaning() -> None:
    with pytest.raises(TooFewPointsError):
        forecast_health(DAYS, fading(0.5), 90.0, falls=True, cleaned_on=[8.0])


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_forecast_health__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        forecast_health(DAYS, [bad] * 10, 90.0, falls=True)
    with pytest.raises(OutOfRangeError):
        forecast_health(DAYS, fading(0.5), bad, falls=True)
    with pytest.raises(OutOfRangeError):
        forecast_health(DAYS, fading(0.5), 90.0, falls=True, cleaned_on=[bad])


def test_forecast_health__refuses_days_out_of_order_or_unpaired() -> None:
    with pytest.raises(EvaluateError, match="days in order"):
        forecast_health(DAYS[::-1], fading(0.5), 90.0, falls=True)
    with pytest.raises(EvaluateError, match="one value is wanted"):
        forecast_health(DAYS, fading(0.5)[:9], 90.0, falls=True)
