import math
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evaluate.errors import EvaluateError, OutOfRangeError
from evaluate.stability import Settled, Stability, StabilityRule, StabilityState, settle

RULE = StabilityRule(span=0.01, window_s=10.0, longest_wait_s=60.0)


def run(rule: StabilityRule, values: list[float], step_s: float = 1.0) -> list[Stability]:
    state, said = StabilityState(), []
    for i, value in enumerate(values):
        state, stability = settle(state, rule, i * step_s, value)
        said.append(stability)
    return said


def electrode(tau_s: float, count: int, noise: float = 0.0) -> list[float]:
    random = Random(2)
    return [3.5 + 2.0 * math.exp(-t / tau_s) + noise * random.gauss(0, 1) for t in range(count)]


def test_settle__closed_form_an_exponential_settles_when_its_window_does() -> None:
    # 2 e^(-t/5) falls by less than 0.01 over 10 s once 2 (e^2 - 1) e^(-t/5) <= 0.01, at 5 ln(1278) = 35.8 s.
    said = run(RULE, electrode(5.0, 60))
    first = next(stability for stability in said if stability.verdict is Settled.STABLE)
    assert first.waited_s == math.ceil(5 * math.log(200 * (math.e**2 - 1)))


def test_settle__closed_form_value_and_drift_of_the_window() -> None:
    said = run(StabilityRule(1.0, 2.0, 60.0), [3.0, 3.1, 3.2, 3.3])[-1]
    assert said.value == pytest.approx(3.2)
    assert said.drift_per_s == pytest.approx(0.1)
    assert said.span == pytest.approx(0.2)


def test_settle__limit_a_steady_value_settles_when_the_window_is_full() -> None:
    said = run(RULE, [7.0] * 12)
    assert [stability.verdict for stability in said[9:]] == [Settled.WAITING, Settled.STABLE, Settled.STABLE]


def test_settle__limit_a_span_on_its_limit_is_stable() -> None:
    rule = StabilityRule(span=0.5, window_s=2.0, longest_wait_s=60.0)
    assert run(rule, [1.0, 1.5, 1.0])[-1].verdict is Settled.STABLE
    assert run(rule, [1.0, 1.6, 1.0])[-1].verdict is Settled.WAITING


def test_settle__limit_one_reading_has_no_drift() -> None:
    said = run(RULE, [7.0])[0]
    assert (said.value, said.span, said.waited_s) == (7.0, 0.0, 0.0)
    assert math.isnan(said.drift_per_s)


def test_a_wait_that_runs_out_is_marked_and_a_later_rest_still_counts() -> None:
    said = run(RULE, [float(i) for i in range(61)] + [60.0] * 11)
    assert said[59].verdict is Settled.WAITING
    assert said[60].verdict is Settled.TIMED_OUT
    assert said[-1].verdict is Settled.STABLE


def test_a_missing_reading_starts_the_window_anew() -> None:
    said = run(RULE, [7.0] * 11 + [math.nan] + [7.0] * 11)
    assert said[10].verdict is Settled.STABLE
    assert math.isnan(said[11].value)
    assert [s.verdict for s in said[12:]] == [Settled.WAITING] * 10 + [Settled.STABLE]


def test_a_long_silence_starts_the_window_anew() -> None:
    rule = StabilityRule(0.01, 10.0, 1000.0, longest_gap_s=30.0)
    state = StabilityState()
    for time_s in (0.0, 5.0):
        state, _ = settle(state, rule, time_s, 7.0)
    state, before = settle(state, rule, 11.0, 7.0)
    _, at_the_limit = settle(state, rule, 41.0, 7.0)
    _, after = settle(state, rule, 41.1, 7.0)
    assert (before.verdict, after.verdict) == (Settled.STABLE, Settled.WAITING)
    assert not math.isnan(at_the_limit.drift_per_s)


def test_few_readings_in_a_window_are_not_enough() -> None:
    rule = StabilityRule(0.01, 10.0, 100.0, least_readings=4)
    assert run(rule, [7.0] * 3, step_s=5.0)[-1].verdict is Settled.WAITING
    assert run(rule, [7.0] * 5, step_s=5.0)[-1].verdict is Settled.WAITING
    assert run(rule, [7.0] * 4, step_s=4.0)[-1].verdict is Settled.STABLE


def test_memory_is_bounded_by_the_window() -> None:
    state = StabilityState()
    for i in range(1000):
        state, _ = settle(state, RULE, float(i), 7.0)
    assert len(state.window) == 11


@settings(max_examples=40)
@given(st.lists(st.integers(0, 30), min_size=1, max_size=40), st.floats(-10.0, 10.0))
def test_settle__law_an_offset_changes_the_value_and_not_the_verdict(
    values: list[int], offset: float
) -> None:
    plain = run(RULE, [0.001 * v + 0.0004 for v in values])
    moved = run(RULE, [0.001 * v + 0.0004 + offset for v in values])
    assert [one.verdict for one in plain if abs(one.span - 0.01) > 1e-9] == [
        two.verdict for one, two in zip(plain, moved, strict=True) if abs(one.span - 0.01) > 1e-9
    ]


@settings(max_examples=40)
@given(st.lists(st.floats(0.0, 9.0), min_size=1, max_size=20), st.integers(0, 10**6))
def test_settle__law_only_the_time_since_the_first_reading_counts(values: list[float], later_s: int) -> None:
    state, said = StabilityState(), []
    for i, value in enumerate(values):
        state, stability = settle(state, RULE, float(later_s + i), value)
        said.append(stability)
    assert [one.waited_s for one in said] == [float(i) for i in range(len(values))]
    assert [one.verdict for one in said] == [one.verdict for one in run(RULE, values)]


def test_settle__limit_two_readings_a_window_apart_are_enough_where_the_rule_says_so() -> None:
    rule = StabilityRule(span=0.01, window_s=10.0, longest_wait_s=60.0, least_readings=2)
    assert [one.verdict for one in run(rule, [7.0, 7.0], step_s=10.0)] == [Settled.WAITING, Settled.STABLE]


@pytest.mark.parametrize("noise", [0.0, 0.002, 0.01])
def test_settle__independent_windows_by_numpy(noise: float) -> None:
    values = np.array(electrode(4.0, 80, noise))
    windows = np.lib.stride_tricks.sliding_window_view(values, 11)
    spans = windows.max(axis=1) - windows.min(axis=1)
    said = run(StabilityRule(0.02, 10.0, 1000.0), values.tolist())
    assert [s.verdict is Settled.STABLE for s in said] == [False] * 10 + (spans <= 0.02).tolist()
    assert [s.value for s in said[10:]] == pytest.approx(windows.mean(axis=1).tolist())
    slopes = np.polyfit(np.arange(11.0), windows.T, 1)[0]
    assert [s.drift_per_s for s in said[10:]] == pytest.approx(slopes.tolist(), abs=1e-12)


@pytest.mark.parametrize(("time_s", "value"), [(math.nan, 7.0), (math.inf, 7.0), (1.0, math.inf)])
def test_settle__refuses_what_is_not_finite(time_s: float, value: float) -> None:
    with pytest.raises(OutOfRangeError):
        settle(StabilityState(), RULE, time_s, value)


def test_settle__refuses_a_clock_that_goes_back() -> None:
    state, _ = settle(StabilityState(), RULE, 5.0, 7.0)
    with pytest.raises(EvaluateError, match="time goes back from 5 to 4 s"):
        settle(state, RULE, 4.0, 7.0)


@pytest.mark.parametrize(
    "changed",
    [
        {"span": -0.1},
        {"window_s": 0.0},
        {"longest_wait_s": 9.9},
        {"least_readings": 1},
        {"longest_gap_s": 0.0},
        {"span": math.nan},
    ],
)
def test_a_rule_that_makes_no_sense_is_refused(changed: dict[str, float]) -> None:
    fields: dict[str, float] = {"span": 0.01, "window_s": 10.0, "longest_wait_s": 60.0} | changed
    with pytest.raises(OutOfRangeError):
        StabilityRule(**fields)  # type: ignore[arg-type]  # one of them is whole
