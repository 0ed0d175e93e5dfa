import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.buffers import BufferValue
from evaluate.electrode import BufferReading, Electrode
from evaluate.electrode_check import (
    Acceptance,
    ElectrodeLimits,
    judge_electrode,
    response_time,
    verify_electrode,
)
from evaluate.errors import (
    ContradictionError,
    EvaluateError,
    NotPredictableError,
    OutOfRangeError,
    TooFewPointsError,
)

GOOD = Electrode(0.98, 5.0, 25.0, ("e",), (4.0, 7.0, 9.18), (0.01, -0.02, 0.01))
K_25_MV = 59.15934  # ideal slope at 25 degrees, CODATA 2022


def electrode(slope_pct: float = 98.0, offset_mv: float = 5.0, residual_ph: float = 0.0) -> Electrode:
    return Electrode(slope_pct / 100, offset_mv, 25.0, ("e",), (4.0, 7.0), (residual_ph, 0.0))


def reading(ph: float, mv: float) -> BufferReading:
    return BufferReading(BufferValue("check", ph, 25.0, "e"), mv)


# Limits of a calibration.


@pytest.mark.parametrize(
    ("slope_pct", "offset_mv", "acceptance"),
    [
        (90.0, 30.0, Acceptance.WARN),
        (89.9, 0.0, Acceptance.REFUSE),
        (105.1, 0.0, Acceptance.REFUSE),
        (98.0, -30.1, Acceptance.REFUSE),
        (98.0, 30.1, Acceptance.REFUSE),
    ],
)
def test_judge_electrode__published_usp_limits(
    slope_pct: float, offset_mv: float, acceptance: Acceptance
) -> None:
    # USP <791> as revised with USP 39: slope 90.0 to 105.0 %, offset within 30 mV.
    assert judge_electrode(electrode(slope_pct, offset_mv)).acceptance is acceptance


@pytest.mark.parametrize(
    ("slope_pct", "offset_mv", "acceptance"),
    [
        (95.0, 15.0, Acceptance.ACCEPT),
        (105.0, -15.0, Acceptance.ACCEPT),
        (94.9, 0.0, Acceptance.WARN),
        (98.0, 15.1, Acceptance.WARN),
        (98.0, -15.1, Acceptance.WARN),
    ],
)
def test_judge_electrode__limit_of_good_practice(
    slope_pct: float, offset_mv: float, acceptance: Acceptance
) -> None:
    assert judge_electrode(electrode(slope_pct, offset_mv)).acceptance is acceptance


@pytest.mark.parametrize(("residual", "acceptance"), [(0.05, Acceptance.ACCEPT), (-0.051, Acceptance.REFUSE)])
def test_judge_electrode__limit_of_a_residual(residual: float, acceptance: Acceptance) -> None:
    assert judge_electrode(electrode(residual_ph=residual)).acceptance is acceptance


def test_judge_electrode__closed_form_reasons_in_words() -> None:
    verdict = judge_electrode(electrode(slope_pct=94.0, offset_mv=31.0))
    assert verdict.reasons == (
        "offset 31.0 mV, usable is 30 mV",
        "slope 94.0 %, good is 95 to 105 %",
        "offset 31.0 mV, good is 15 mV",
    )


@pytest.mark.parametrize(
    ("buffers", "acceptance"), [((4.0, 6.0), Acceptance.ACCEPT), ((6.0, 4.1), Acceptance.WARN)]
)
def test_buffers_that_lie_close_are_warned_of(buffers: tuple[float, ...], acceptance: Acceptance) -> None:
    close = Electrode(0.98, 5.0, 25.0, ("e",), buffers, (0.0, 0.0))
    assert judge_electrode(close).acceptance is acceptance


def test_a_calibration_whose_buffers_are_unknown_is_judged_by_slope_and_offset() -> None:
    assert judge_electrode(Electrode(0.98, 5.0, 25.0, ())).acceptance is Acceptance.ACCEPT


ORDER = [Acceptance.REFUSE, Acceptance.WARN, Acceptance.ACCEPT]


@given(st.floats(95.0, 110.0), st.floats(0.0, 5.0), st.floats(0.0, 40.0), st.floats(0.0, 10.0))
def test_judge_electrode__law_a_worse_electrode_is_never_judged_better(
    slope: float, more: float, offset: float, further: float
) -> None:
    better = judge_electrode(electrode(slope, offset)).acceptance
    worse = judge_electrode(electrode(slope + more, offset + further)).acceptance
    assert ORDER.index(worse) <= ORDER.index(better)


@pytest.mark.parametrize("slope_pct", [85.0, 92.0, 97.0, 106.0])
def test_judge_electrode__independent_of_numpy_masks(slope_pct: float) -> None:
    edges = np.array([90.0, 95.0, 105.0])
    zone = int(np.searchsorted(edges, slope_pct))
    expected = [Acceptance.REFUSE, Acceptance.WARN, Acceptance.ACCEPT, Acceptance.REFUSE][zone]
    assert judge_electrode(electrode(slope_pct, 0.0)).acceptance is expected


def test_all_limits_are_settings() -> None:
    strict = ElectrodeLimits(good_slope_pct=(99.0, 101.0), good_offset_mv=1.0)
    assert judge_electrode(GOOD).acceptance is Acceptance.ACCEPT
    assert len(judge_electrode(GOOD, strict).reasons) == 2


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_judge_electrode__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        judge_electrode(electrode(slope_pct=bad))
    with pytest.raises(OutOfRangeError):
        judge_electrode(electrode(offset_mv=bad))
    with pytest.raises(OutOfRangeError):
        judge_electrode(electrode(residual_ph=bad))


# Verification.


def test_verify_electrode__closed_form_worked_by_hand() -> None:
    found = verify_electrode(GOOD, reading(6.0, 5.0 + 0.98 * K_25_MV * 0.97))
    assert found.found_ph == pytest.approx(6.03, abs=1e-6)
    assert found.difference_ph == pytest.approx(0.03, abs=1e-6)
    assert found.passes
    assert found.lies_between


def test_verify_electrode__published_usp_wants_a_buffer_between() -> None:
    # USP <791>: the verification buffer lies between the two of the calibration. One near wine does not.
    assert not verify_electrode(GOOD, reading(3.557, 200.0)).lies_between
    assert not verify_electrode(GOOD, reading(10.0, -170.0)).lies_between


@pytest.mark.parametrize(
    ("off_ph", "passes"), [(0.0499, True), (0.0501, False), (-0.0499, True), (-0.0501, False)]
)
def test_verify_electrode__limit_of_the_tolerance(off_ph: float, passes: bool) -> None:
    mv = 5.0 - 0.98 * K_25_MV * (6.0 + off_ph - 7.0)
    assert verify_electrode(GOOD, reading(6.0, mv)).passes is passes


@given(st.floats(4.5, 6.5), st.floats(0.1, 100.0))
def test_verify_electrode__law_a_higher_potential_reads_more_acid(ph: float, more_mv: float) -> None:
    one, two = verify_electrode(GOOD, reading(ph, 50.0)), verify_electrode(GOOD, reading(ph, 50.0 + more_mv))
    assert two.difference_ph < one.difference_ph


def test_verify_electrode__independent_numpy_line() -> None:
    slope = -0.98 * K_25_MV
    mv = float(np.polyval([slope, 5.0 - 7 * slope], 5.37))
    assert verify_electrode(GOOD, reading(5.4, mv)).difference_ph == pytest.approx(-0.03, abs=1e-6)


@pytest.mark.parametrize("ph", [4.0, 4.05, 9.18])
def test_verify_electrode__refuses_a_buffer_of_the_calibration(ph: float) -> None:
    with pytest.raises(ContradictionError, match="took part in the calibration"):
        verify_electrode(GOOD, reading(ph, 50.0))


@pytest.mark.parametrize(
    ("mv", "tolerance"), [(math.nan, 0.05), (math.inf, 0.05), (50.0, 0.0), (50.0, math.nan)]
)
def test_verify_electrode__refuses_what_is_no_reading(mv: float, tolerance: float) -> None:
    with pytest.raises(OutOfRangeError):
        verify_electrode(GOOD, reading(6.0, mv), tolerance)


# Response time.

TIMES = [float(t) for t in range(61)]


def step(tau_s: float) -> list[float]:
    return [7.0 - 3.0 * math.exp(-t / tau_s) for t in TIMES]


@pytest.mark.parametrize("tau_s", [2.0, 5.0, 8.0])
def test_response_time__closed_form_an_exponential(tau_s: float) -> None:
    # 3 e^(-t/tau) falls to 0.05 at tau ln 60; the last three readings stand for the end, a little below it.
    assert response_time(TIMES, step(tau_s), 0.05) == pytest.approx(tau_s * math.log(60), abs=1.1)


def test_response_time__limit_a_steady_signal_has_none() -> None:
    assert response_time(TIMES, [7.0] * 61, 0.05) == 0.0


def test_response_time__limit_three_readings_at_the_end_are_not_enough() -> None:
    assert response_time(TIMES[:6], [1.0, 1.0, 7.0, 7.0, 7.0, 7.0], 0.05) == 2.0
    with pytest.raises(NotPredictableError, match="still moves at 5 s"):
        response_time(TIMES[:6], [1.0, 1.0, 1.0, 7.0, 7.0, 7.0], 0.05)


def test_response_time__limit_a_reading_just_as_near_counts() -> None:
    assert response_time(TIMES[:6], [6.0, 6.5, 7.0, 7.0, 7.0, 7.0], 0.5) == 1.0


def test_a_signal_that_leaves_again_has_not_arrived() -> None:
    signal = [7.0] * 61
    signal[30] = 6.0
    assert response_time(TIMES, signal, 0.05) == 31.0


@given(st.floats(0.1, 100.0), st.floats(-50.0, 50.0), st.floats(0.1, 10.0))
def test_response_time__law_scale_and_offset_do_not_matter(
    scale: float, offset: float, stretch: float
) -> None:
    times, signal = [stretch * t for t in TIMES], [offset + scale * y for y in step(5.0)]
    assert response_time(times, signal, 0.05 * scale) == pytest.approx(
        stretch * response_time(TIMES, step(5.0), 0.05)
    )


def test_response_time__independent_numpy_masks() -> None:
    signal = np.array(step(6.0))
    near = np.abs(signal - signal[-3:].mean()) <= 0.02
    first = len(near) - int(np.argmin(near[::-1]))
    assert response_time(TIMES, signal.tolist(), 0.02) == TIMES[first]


def test_response_time__refuses_too_few_readings() -> None:
    with pytest.raises(TooFewPointsError, match="5 given, at least 6"):
        response_time(TIMES[:5], [7.0] * 5, 0.05)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_response_time__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        response_time(TIMES[:6], [bad] * 6, 0.05)
    with pytest.raises(OutOfRangeError):
        response_time([*TIMES[:5], bad], [7.0] * 6, 0.05)


@pytest.mark.parametrize("bad", [0.0, -0.1, math.nan])
def test_response_time__refuses_a_nearness_that_is_none(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="nearness"):
        response_time(TIMES, step(5.0), bad)


def test_response_time__refuses_what_does_not_pair_or_grow() -> None:
    with pytest.raises(EvaluateError, match="61 times and 6 signals"):
        response_time(TIMES, [7.0] * 6, 0.05)
    with pytest.raises(EvaluateError, match="does not grow"):
        response_time([0.0] * 6, [7.0] * 6, 0.05)


def test_limits_are_those_of_practice_and_of_the_pharmacopoeia() -> None:
    limits = ElectrodeLimits()
    assert (limits.good_slope_pct, limits.usable_slope_pct) == ((95.0, 105.0), (90.0, 105.0))
    assert (limits.good_offset_mv, limits.usable_offset_mv) == (15.0, 30.0)
    assert (limits.most_residual_ph, limits.least_apart_ph) == (0.05, 2.0)


def test_verify_electrode__limit_five_hundredths_unless_another_is_given() -> None:
    assert verify_electrode(GOOD, reading(6.0, 50.0)).tolerance_ph == 0.05
