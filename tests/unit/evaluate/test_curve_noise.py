import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.curve_noise import noise_with_rhythm
from evaluate.errors import EvaluateError, OutOfRangeError, TooFewPointsError

TIMES = [0.5 * i for i in range(24)]


def wave(period_s: float, height: float) -> list[float]:
    return [height * math.sin(2 * math.pi * t / period_s + 0.3) for t in TIMES]


def test_noise_with_rhythm__closed_form_an_alternation() -> None:
    # Each reading lies 2a from the mean of its neighbours, whose scatter is sqrt(1.5) of one reading's.
    noise = noise_with_rhythm(TIMES, [0.1 * (-1) ** i for i in range(24)])
    assert noise.level == pytest.approx(1.482602218505602 * 0.2 / math.sqrt(1.5), rel=1e-12)
    assert noise.period_s == 1.0


@pytest.mark.parametrize("period_s", [1.5, 2.0, 2.5, 4.0])
def test_noise_with_rhythm__closed_form_a_wave_shows_its_period(period_s: float) -> None:
    assert noise_with_rhythm(TIMES, wave(period_s, 3.0)).period_s == pytest.approx(period_s)


def test_noise_with_rhythm__limit_an_even_rise_has_neither() -> None:
    noise = noise_with_rhythm(TIMES, [2.0 * i for i in range(24)])
    assert (noise.level, noise.period_s) == (0.0, None)


def test_noise_with_rhythm__limit_eight_readings_are_enough() -> None:
    assert noise_with_rhythm(TIMES[:8], [0.0, 1.0] * 4).period_s == 1.0


@given(st.floats(0.01, 100.0), st.floats(-5.0, 5.0))
def test_noise_with_rhythm__law_level_scales_and_a_slope_adds_nothing(scale: float, slope: float) -> None:
    source = random.Random(7)
    signal = [source.gauss(0.0, 1.0) for _ in TIMES]
    plain = noise_with_rhythm(TIMES, signal)
    changed = noise_with_rhythm(TIMES, [scale * y + slope * t for y, t in zip(signal, TIMES, strict=True)])
    assert changed.level == pytest.approx(scale * plain.level, rel=1e-6)


def test_noise_with_rhythm__independent_level_of_normal_noise() -> None:
    source = np.random.default_rng(3)
    signal = 0.3 * source.standard_normal(1000)
    noise = noise_with_rhythm(np.arange(1000.0).tolist(), signal.tolist())
    assert noise.level == pytest.approx(0.3, rel=0.1)
    assert noise.period_s is None


def test_noise_with_rhythm__independent_period_by_fourier() -> None:
    source = np.random.default_rng(5)
    signal = np.array(wave(3.0, 1.0)) + 0.1 * source.standard_normal(24)
    strongest = np.argmax(np.abs(np.fft.rfft(signal))[1:]) + 1
    by_fourier = float(1 / np.fft.rfftfreq(24, 0.5)[strongest])
    assert noise_with_rhythm(TIMES, signal.tolist()).period_s == pytest.approx(by_fourier, abs=0.5)


def rhythm_by_numpy(signal: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> int | None:
    """The shortest lag whose likeness is a peak, 0.6 or more, and nine tenths of the best."""
    left = signal[1:-1] - (signal[:-2] + signal[2:]) / 2
    lags = range(2, len(left) // 2 + 1)
    alike = [
        left[:-lag] @ left[lag:] / np.sqrt((left[:-lag] @ left[:-lag]) * (left[lag:] @ left[lag:]))
        for lag in lags
    ]
    padded = np.array([-2.0, *alike, -2.0])
    peaks = (padded[1:-1] >= padded[:-2]) & (padded[1:-1] >= padded[2:])
    found = np.flatnonzero(peaks & (padded[1:-1] >= max(0.6, 0.9 * max(alike))))
    return None if not len(found) else lags[found[0]]


@pytest.mark.parametrize("readings", [8, 15, 24, 40])
def test_noise_with_rhythm__independent_likeness_by_numpy_of_a_thousand_mixtures(readings: int) -> None:
    source = np.random.default_rng(11)
    times = np.arange(float(readings))
    seen = set()
    for share in np.linspace(0.0, 1.0, 1000):
        rhythm = np.sin(2 * np.pi * times / source.uniform(2.2, 9.0) + source.uniform(0.0, 6.0))
        signal = share * rhythm + (1 - share) * source.standard_normal(readings)
        expected = rhythm_by_numpy(signal)
        assert noise_with_rhythm(times.tolist(), signal.tolist()).period_s == expected
        seen.add(expected)
    assert len(seen) > 2


def test_noise_with_rhythm__refuses_seven_readings() -> None:
    with pytest.raises(TooFewPointsError, match="readings for noise: 7 given, at least 8"):
        noise_with_rhythm(TIMES[:7], [0.0] * 7)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_noise_with_rhythm__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        noise_with_rhythm(TIMES, [bad] * 24)


def test_noise_with_rhythm__refuses_a_time_that_stands() -> None:
    with pytest.raises(EvaluateError, match="time does not grow"):
        noise_with_rhythm([0.0] * 24, [0.0] * 24)


def test_noise_with_rhythm__refuses_unequal_lengths() -> None:
    with pytest.raises(EvaluateError, match="24 times and 8 signals"):
        noise_with_rhythm(TIMES, [0.0] * 8)
