import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from evaluate.recovery import control_bias, spike_recovery

volumes = st.floats(0.1, 100)
contents = st.floats(1, 1000)
controls = st.lists(st.floats(0, 100), min_size=2, max_size=20).filter(lambda v: max(v) - min(v) > 0.01)


def test_spike_recovery__closed_form_with_dilution() -> None:
    """20 mL at 22.0 mg/L and 1 mL of 1000 mg/L, found 66.0 mg/L; without the dilution it would be 92.4 %."""
    found = spike_recovery(66.0, 22.0, sample_ml=20, spike_ml=1, spike_concentration=1000)
    assert found == pytest.approx(94.6, abs=0.05)


def test_spike_recovery__limit_of_a_tiny_spike_volume_is_the_plain_formula() -> None:
    """48.9 found, 24.1 before, 25.0 added: 99.2 %."""
    found = spike_recovery(48.9, 24.1, sample_ml=1e6, spike_ml=1, spike_concentration=25.0 * 1e6)
    assert found == pytest.approx(99.2, abs=1e-3)


@given(contents, contents, volumes, volumes)
def test_spike_recovery__law_what_was_mixed_is_found_whole(
    own: float, spike: float, v: float, w: float
) -> None:
    mixed = (own * v + spike * w) / (v + w)
    found = spike_recovery(mixed, own, sample_ml=v, spike_ml=w, spike_concentration=spike)
    assert found == pytest.approx(100.0, rel=1e-6)


@pytest.mark.parametrize(
    ("found", "unspiked", "sample", "spike", "content"),
    [
        (-1, 1, 1, 1, 1),
        (1, -1, 1, 1, 1),
        (1, 1, 0, 1, 1),
        (1, 1, 1, 0, 1),
        (1, 1, 1, 1, 0),
        (math.nan, 1, 1, 1, 1),
        (1, 1, math.inf, 1, 1),
    ],
)
def test_spike_recovery__refuses_negative_contents_and_missing_volumes(
    found: float, unspiked: float, sample: float, spike: float, content: float
) -> None:
    with pytest.raises(OutOfRangeError):
        spike_recovery(found, unspiked, sample_ml=sample, spike_ml=spike, spike_concentration=content)


def test_spike_recovery__independent_exact_fractions() -> None:
    added, own = Fraction(500 * 2, 27), Fraction(31 * 25, 27)
    expected = 100 * (Fraction(60) - own) / added
    found = spike_recovery(60.0, 31.0, sample_ml=25, spike_ml=2, spike_concentration=500)
    assert found == pytest.approx(float(expected), rel=1e-13)


def test_control_bias__closed_form_of_two_values() -> None:
    """One degree of freedom: t at 97.5 % is the tangent of 0.475 pi."""
    found = control_bias([10.0, 12.0], 10.0)
    half = math.tan(0.475 * math.pi)  # the standard error is 1
    assert (found.bias, found.t, found.n) == (1.0, 1.0, 2)
    assert (found.low, found.high) == pytest.approx((1 - half, 1 + half), rel=1e-10)


def test_control_bias__limit_zero_at_the_edge_of_the_interval_is_not_significant() -> None:
    found = control_bias([9.0, 11.0, 10.5, 10.3], 10.0)
    assert not found.is_significant
    assert control_bias([10.0, 10.1, 10.2], 9.0).is_significant
    assert control_bias([10.0, 10.1, 10.2], 11.0).is_significant


@given(controls, st.floats(0, 100), st.integers(1, 50))
def test_control_bias__law_a_wider_probability_has_a_wider_interval(
    values: list[float], reference: float, shift: int
) -> None:
    narrow, wide = control_bias(values, reference, probability=0.9), control_bias(values, reference)
    assert wide.low < narrow.low < narrow.bias < narrow.high < wide.high
    moved = control_bias([value + shift for value in values], reference + shift)
    assert moved.bias == pytest.approx(wide.bias, abs=1e-9)


@pytest.mark.parametrize("bad", [[], [1.0], [1.0, math.nan], [1.0, math.inf]])
def test_control_bias__refuses_one_value_and_what_is_no_number(bad: list[float]) -> None:
    with pytest.raises((TooFewPointsError, OutOfRangeError)):
        control_bias(bad, 1.0)


@pytest.mark.parametrize(("reference", "probability"), [(math.nan, 0.95), (1, 0.49), (1, 1.0), (1, math.nan)])
def test_control_bias__refuses_a_reference_or_probability_that_is_none(
    reference: float, probability: float
) -> None:
    with pytest.raises(OutOfRangeError):
        control_bias([1.0, 2.0], reference, probability=probability)


@pytest.mark.parametrize("probability", [0.5, 0.9999])
def test_control_bias__limit_of_the_probabilities_that_are_taken(probability: float) -> None:
    found = control_bias([1.0, 2.0, 4.0], 1.0, probability=probability)
    half = stats.t.ppf((1 + probability) / 2, 2) * np.std([1.0, 2.0, 4.0], ddof=1) / math.sqrt(3)
    assert found.high - found.bias == pytest.approx(half, rel=1e-9)


def test_control_bias__refuses_values_without_scatter() -> None:
    with pytest.raises(NotPredictableError, match="without scatter"):
        control_bias([2.0, 2.0], 1.0)


@given(controls, st.floats(0, 100))
def test_control_bias__independent_t_test_of_scipy(values: list[float], reference: float) -> None:
    found, test = control_bias(values, reference), stats.ttest_1samp(values, reference)
    interval = test.confidence_interval(0.95)
    assert found.t == pytest.approx(test.statistic, rel=1e-6, abs=1e-9)
    assert (found.low, found.high) == pytest.approx(np.subtract(interval, reference), rel=1e-6, abs=1e-9)
