import math
from collections.abc import Iterable
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evaluate.errors import EvaluateError, OutOfRangeError
from evaluate.live_curve import LiveFinding, LiveLimits, LiveReading, LiveState, LiveWarning, watch
from tests.fakes.titration_curves import WINE, read

# One run of the wine: a reading every half second, titrant 0.02 mL each.
LIMITS = LiveLimits(
    start_low=2.5,
    start_high=4.5,
    answer_dose_ml=1.0,
    least_answer=0.02,
    flat_s=20.0,
    flat_span=0.0005,
    most_noise=0.1,
    least_noise=0.0005,
    end_value=8.2,
    most_overshoot=3.2,
    longest_s=600.0,
    capacity_ml=25.0,
    reserve_ml=1.0,
)


def run(limits: LiveLimits, readings: Iterable[LiveReading]) -> list[LiveFinding]:
    state = LiveState()
    found: list[LiveFinding] = []
    for reading in readings:
        state, new = watch(state, limits, reading)
        found.extend(new)
    return found


def kinds(limits: LiveLimits, readings: Iterable[LiveReading]) -> list[LiveWarning]:
    return [finding.warning for finding in run(limits, readings)]


def wine(noise: float = 0.005) -> list[LiveReading]:
    volumes, signal = read(WINE, 0.02, end_ml=18.6, noise=noise)
    return [LiveReading(0.5 * i, v, y) for i, (v, y) in enumerate(zip(volumes, signal, strict=True))]


def steady(signals: list[float], step_s: float = 1.0, step_ml: float = 0.1) -> list[LiveReading]:
    return [LiveReading(i * step_s, i * step_ml, y) for i, y in enumerate(signals)]


def test_watch__closed_form_a_good_run_raises_no_warning() -> None:
    assert run(LIMITS, wine()) == []


def test_watch__limit_limits_that_are_off_warn_of_nothing() -> None:
    wild = [LiveReading(float(i), float(i), (-1.0) ** i * 1e6) for i in range(100)]
    assert run(LiveLimits(), wild) == []


@pytest.mark.parametrize(("signal", "warned"), [(2.4, 1), (2.5, 0), (4.5, 0), (4.6, 1)])
def test_a_start_outside_its_window_is_told_once(signal: float, warned: int) -> None:
    limits = LiveLimits(start_low=2.5, start_high=4.5)
    assert kinds(limits, steady([math.nan, signal, 3.0, 9.0])) == [LiveWarning.START_OUTSIDE] * warned


def test_air_in_the_burette_shows_as_a_dose_without_answer() -> None:
    late = [LiveReading(r.time_s, r.volume_ml + 1.5, r.signal) for r in wine()]
    air = [LiveReading(-90.0 + 0.5 * i, 0.02 * i, 3.32 + 0.003 * (-1) ** i) for i in range(75)]
    found = run(LIMITS, [*air, *late])
    assert [finding.warning for finding in found] == [LiveWarning.NO_ANSWER]
    assert found[0].volume_ml == pytest.approx(1.0, abs=0.03)
    assert "look for air" in found[0].words


@pytest.mark.parametrize(("dose_ml", "warned"), [(0.4, 1), (0.41, 0)])
def test_a_dose_at_its_limit_counts(dose_ml: float, warned: int) -> None:
    limits = LiveLimits(answer_dose_ml=dose_ml, least_answer=0.5)
    readings = [LiveReading(float(i), 0.2 * i, 3.0 + 0.2 * i) for i in range(3)]
    assert len(run(limits, readings)) == warned


def test_a_signal_that_moves_by_just_the_answer_has_answered() -> None:
    limits = LiveLimits(answer_dose_ml=0.3, least_answer=0.5)
    assert run(limits, steady([3.0, 3.0, 3.5, 3.5, 4.0])) == []


def test_a_dead_input_is_flat_and_a_warning_that_ends_may_come_back() -> None:
    limits = LiveLimits(flat_s=5.0, flat_span=0.001)
    found = run(limits, steady([3.0] * 10 + [3.1] + [3.1] * 10))
    assert [finding.warning for finding in found] == [LiveWarning.FLAT] * 2
    assert [finding.time_s for finding in found] == [5.0, 15.0]


def test_a_signal_within_the_flat_span_is_flat() -> None:
    assert kinds(LiveLimits(flat_s=3.0, flat_span=0.5), steady([3.0, 3.5, 3.0, 3.5])) == [LiveWarning.FLAT]
    assert kinds(LiveLimits(flat_s=3.0, flat_span=0.4), steady([3.0, 3.5, 3.0, 3.5])) == []


def test_a_stir_bar_that_strikes_the_probe_shows_its_rhythm() -> None:
    readings = wine()
    beat = [0.5 * math.sin(2 * math.pi * r.time_s / 2.0) for r in readings]
    struck = [
        LiveReading(r.time_s, r.volume_ml, r.signal + (b if 100 < r.time_s < 140 else 0.0))
        for r, b in zip(readings, beat, strict=True)
    ]
    found = run(LIMITS, struck)
    assert [finding.warning for finding in found] == [LiveWarning.NOISE_BURST]
    assert 100 < found[0].time_s < 140
    assert "period of 2 s" in found[0].words


def test_noise_without_rhythm_names_none() -> None:
    random = Random(3)
    found = run(LiveLimits(most_noise=0.5), steady([random.gauss(0, 1) for _ in range(24)]))
    assert [finding.warning for finding in found] == [LiveWarning.NOISE_BURST]
    assert "period" not in found[0].words


def test_a_stirrer_that_stands_shows_as_too_little_noise() -> None:
    moving, still = wine(), wine(noise=0.0)
    found = run(LIMITS, [*moving[:400], *still[400:900]])
    assert LiveWarning.TOO_QUIET in [finding.warning for finding in found]
    assert found[0].time_s > 200


def test_noise_is_judged_on_a_full_window_alone() -> None:
    limits = LiveLimits(most_noise=0.5, noise_readings=10)
    signals = [5.0 * (-1) ** i for i in range(10)]
    assert run(limits, steady(signals[:9])) == []
    assert kinds(limits, steady(signals)) == [LiveWarning.NOISE_BURST]
    assert run(LiveLimits(least_noise=0.5, noise_readings=10), steady([1.0] * 9)) == []


@pytest.mark.parametrize(
    ("signal", "rising", "warned"), [(8.7, True, 0), (8.8, True, 1), (7.7, False, 0), (7.6, False, 1)]
)
def test_a_step_past_the_end_value_is_told(signal: float, rising: bool, warned: int) -> None:
    limits = LiveLimits(end_value=8.2, most_overshoot=0.55, rising=rising)
    assert kinds(limits, steady([8.0, signal])) == [LiveWarning.OVERSHOOT] * warned


@pytest.mark.parametrize(("signal", "rising"), [(8.5, True), (7.5, False)])
def test_a_step_by_the_very_overshoot_that_is_allowed_is_not_told(signal: float, *, rising: bool) -> None:
    limits = LiveLimits(end_value=8.0, most_overshoot=0.5, rising=rising)  # exact in binary
    assert kinds(limits, steady([8.0, signal])) == []


def test_a_run_over_its_time_is_told_at_the_first_reading_past_it() -> None:
    found = run(
        LiveLimits(longest_s=10.0), [LiveReading(100.0 + t, 0.0, 3.0) for t in (0.0, 10.0, 10.5, 11.0)]
    )
    assert [(finding.warning, finding.time_s) for finding in found] == [(LiveWarning.TIME_LIMIT, 110.5)]
    assert found[0].words == "it runs for 10.5 s, 10 s is allowed"


def test_a_burette_that_runs_out_is_told_at_its_reserve() -> None:
    limits = LiveLimits(capacity_ml=10.0, reserve_ml=0.5)
    found = run(limits, [LiveReading(float(i), v, 3.0) for i, v in enumerate((9.0, 9.4, 9.5, 10.0))])
    assert [(finding.warning, finding.volume_ml) for finding in found] == [(LiveWarning.RUN_OUT, 9.5)]
    assert "above range" in found[0].words


def test_readings_without_a_signal_are_told_from_the_third_on() -> None:
    found = run(LiveLimits(), steady([3.0, math.nan, math.nan, 3.0, math.nan, math.nan, math.nan]))
    assert [(finding.warning, finding.time_s) for finding in found] == [(LiveWarning.NO_SIGNAL, 6.0)]
    assert found[0].words == "3 readings in a row came without a signal; look at the plug"


def test_the_state_says_what_holds_now() -> None:
    state, _ = watch(LiveState(), LiveLimits(start_low=2.5, start_high=4.5), LiveReading(0.0, 0.0, 9.0))
    assert state.active == {LiveWarning.START_OUTSIDE}


def test_two_readings_at_one_time_count_once_for_noise() -> None:
    state = LiveState()
    for _ in range(30):
        state, _found = watch(state, LiveLimits(most_noise=1.0), LiveReading(1.0, 0.1, 3.0))
    assert len(state.recent) == 1


@settings(max_examples=30)
@given(st.lists(st.floats(-50.0, 50.0), max_size=60), st.floats(0.1, 10.0))
def test_watch__law_a_warning_begins_only_when_it_was_not_there(signals: list[float], noise: float) -> None:
    limits = LiveLimits(start_low=-10.0, start_high=10.0, flat_s=3.0, flat_span=1.0, most_noise=noise)
    state = LiveState()
    for reading in steady(signals):
        before = state.active
        state, found = watch(state, limits, reading)
        new = {finding.warning for finding in found}
        assert new == state.active - before


@settings(max_examples=30)
@given(st.floats(-100.0, 100.0), st.floats(0.0, 1e6))
def test_watch__law_an_offset_of_signal_and_clock_changes_no_warning(offset: float, later_s: float) -> None:
    signals = [3.0] * 6 + [3.5, 9.0, 3.0, 9.0, 3.0] * 4
    limits = LiveLimits(flat_s=4.0, flat_span=0.1, most_noise=1.0, answer_dose_ml=0.5, least_answer=0.2)
    moved = [LiveReading(round(later_s) + r.time_s, r.volume_ml, r.signal + offset) for r in steady(signals)]
    assert kinds(limits, moved) == kinds(limits, steady(signals))


def test_watch__independent_noise_alarm_against_numpy() -> None:
    source = np.random.default_rng(8)
    signal = source.standard_normal(200) * np.where(np.arange(200) < 100, 0.1, 1.0)
    left = np.abs(signal[1:-1] - (signal[:-2] + signal[2:]) / 2)
    window = np.lib.stride_tricks.sliding_window_view(left, 22)
    level = 1.4826022185 * np.median(window, axis=1) / math.sqrt(1.5)
    first = int(np.argmax(level > 0.5)) + 23
    found = run(LiveLimits(most_noise=0.5), steady(signal.tolist()))
    assert found[0].time_s == float(first)


@pytest.mark.parametrize(
    "reading",
    [
        LiveReading(math.nan, 0.0, 3.0),
        LiveReading(0.0, math.inf, 3.0),
        LiveReading(0.0, -0.1, 3.0),
        LiveReading(0.0, 0.0, math.inf),
    ],
)
def test_watch__refuses_what_is_no_reading(reading: LiveReading) -> None:
    with pytest.raises(OutOfRangeError):
        watch(LiveState(), LiveLimits(), reading)


def test_watch__refuses_a_clock_that_goes_back() -> None:
    state, _ = watch(LiveState(), LiveLimits(), LiveReading(5.0, 0.0, 3.0))
    with pytest.raises(EvaluateError, match="time goes back from 5 to 4 s"):
        watch(state, LiveLimits(), LiveReading(4.0, 0.1, 3.0))


@pytest.mark.parametrize(
    ("name", "bad"),
    [
        ("answer_dose_ml", 0.0),
        ("flat_s", -1.0),
        ("most_noise", math.nan),
        ("longest_s", 0.0),
        ("capacity_ml", -1.0),
        ("least_answer", -0.1),
        ("flat_span", math.nan),
        ("least_noise", -0.1),
        ("reserve_ml", -0.1),
        ("most_overshoot", 0.0),
        ("noise_readings", 7),
        ("missing_in_a_row", 0),
    ],
)
def test_limits_that_make_no_sense_are_refused(name: str, bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        LiveLimits(**{name: bad})  # type: ignore[arg-type]  # one field, a number


def test_an_empty_start_window_is_refused() -> None:
    with pytest.raises(EvaluateError, match="the start window 4 to 3 is empty"):
        LiveLimits(start_low=4.0, start_high=3.0)


def test_noise_is_judged_over_24_readings_and_three_missing_make_a_loss() -> None:
    limits = LiveLimits()
    assert (limits.noise_readings, limits.missing_in_a_row) == (24, 3)
    assert limits.rising


def test_the_smallest_window_is_taken() -> None:
    assert LiveLimits(noise_readings=8, missing_in_a_row=1).noise_readings == 8
    assert LiveLimits(most_overshoot=0.5).most_overshoot == 0.5
