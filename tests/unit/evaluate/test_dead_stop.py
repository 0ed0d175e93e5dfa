import math
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from evaluate.curve import Curve
from evaluate.dead_stop import dead_stop_branches
from evaluate.end_point import Direction, EndPointLimits, Mark, NoEndPoint
from evaluate.errors import OutOfRangeError

RISING = EndPointLimits(direction=Direction.RISING)
FALLING = EndPointLimits(direction=Direction.FALLING)


def knee(
    end_ml: float = 5.0,
    *,
    step_ml: float = 0.1,
    count: int = 81,
    baseline: float = 0.2,
    drift: float = 0.0,
    slope: float = 20.0,
    noise: float = 0.0,
    seed: int = 1,
) -> Curve:
    """Current that is flat up to the end point and rises in a straight line beyond it."""
    random = Random(seed)
    volumes = tuple(step_ml * i for i in range(count))
    current = tuple(
        baseline + drift * v + slope * max(v - end_ml, 0.0) + noise * random.gauss(0, 1) for v in volumes
    )
    return Curve(volumes, current)


def mirrored(curve: Curve) -> Curve:
    """Falling, then flat: the same curve read from its end."""
    last = curve.volume_ml[-1]
    return Curve(tuple(last - v for v in reversed(curve.volume_ml)), tuple(reversed(curve.signal)))


@pytest.mark.parametrize("end_ml", [5.0, 5.03, 5.05, 5.099, 0.4, 7.4])
def test_dead_stop_branches__closed_form_two_lines(end_ml: float) -> None:
    point = dead_stop_branches(knee(end_ml), RISING).only()
    assert point.volume_ml == pytest.approx(end_ml, abs=1e-9)
    assert point.signal == pytest.approx(0.2)
    assert point.slope == pytest.approx(20.0)


def test_dead_stop_branches__closed_form_falling_then_flat() -> None:
    point = dead_stop_branches(mirrored(knee(5.03)), FALLING).only()
    assert point.volume_ml == pytest.approx(8.0 - 5.03)
    assert point.slope == pytest.approx(-20.0)


def test_dead_stop_branches__closed_form_a_drifting_baseline() -> None:
    assert dead_stop_branches(knee(5.03, drift=0.5), RISING).only().volume_ml == pytest.approx(5.03)


@pytest.mark.parametrize("step_ml", [0.02, 0.05, 0.1, 0.2])
@pytest.mark.parametrize("noise", [0.0, 0.05, 0.2])
def test_dead_stop_branches__independent_excess_iodine_grid(step_ml: float, noise: float) -> None:
    # The current follows the iodine left over, diluted as the burette adds to 25 mL: a little bent.
    random = Random(3)
    for end_ml in (4.0, 4.013, 4.05, 4.09):
        volumes = [step_ml * i for i in range(int(5.0 / step_ml) + 1)]
        excess = [0.01 * max(v - end_ml, 0.0) / (25.0 + v) for v in volumes]
        current = tuple(0.1 + 2e5 * c + noise * random.gauss(0, 1) for c in excess)
        found = dead_stop_branches(Curve(tuple(volumes), current), RISING).only().volume_ml
        assert found == pytest.approx(end_ml, abs=0.011 + 0.05 * noise)


def test_dead_stop_branches__independent_least_squares_of_the_whole_model() -> None:
    curve = knee(5.03, noise=0.3, seed=5)

    def model(v: np.ndarray, end: float, base: float, slope: float) -> np.ndarray:
        return base + slope * np.maximum(v - end, 0.0)

    fitted, _ = curve_fit(model, np.array(curve.volume_ml), np.array(curve.signal), p0=(5.0, 0.0, 15.0))
    assert dead_stop_branches(curve, RISING).only().volume_ml == pytest.approx(float(fitted[0]), abs=0.03)


@pytest.mark.parametrize(("before", "after", "found"), [(3, 4, 1), (2, 4, 0), (3, 3, 0)])
def test_dead_stop_branches__limit_three_flat_and_four_steep(before: int, after: int, found: int) -> None:
    volumes = tuple(map(float, range(before + after)))
    current = (0.0,) * before + tuple(10.0 * (i + 0.5) for i in range(after))
    assert len(dead_stop_branches(Curve(volumes, current), RISING)) == found


@settings(max_examples=30)
@given(st.floats(0.01, 100.0), st.floats(-50.0, 50.0), st.floats(0.1, 10.0))
def test_dead_stop_branches__law_scale_and_offset_of_the_current_move_nothing(
    scale: float, offset: float, stretch: float
) -> None:
    curve = knee(5.03)
    changed = Curve(
        tuple(stretch * v for v in curve.volume_ml), tuple(offset + scale * y for y in curve.signal)
    )
    found = dead_stop_branches(changed).only().volume_ml
    assert found == pytest.approx(stretch * 5.03, rel=1e-6)


@pytest.mark.parametrize("offset", [-1e9, 1e9])
def test_dead_stop_branches__law_an_offset_that_dwarfs_the_current_moves_nothing(offset: float) -> None:
    curve = knee(5.03)
    lifted = Curve(curve.volume_ml, tuple(offset + y for y in curve.signal))
    assert dead_stop_branches(lifted).only().volume_ml == pytest.approx(5.03, abs=1e-4)


def test_a_round_bend_may_be_skipped() -> None:
    volumes = tuple(0.05 * i for i in range(161))
    round_bend = Curve(volumes, tuple(10 * (v - 5 + math.sqrt((v - 5) ** 2 + 0.04)) for v in volumes))
    plain = dead_stop_branches(round_bend).only().volume_ml
    skipped = dead_stop_branches(round_bend, skip_ml=1.0).only().volume_ml
    assert abs(skipped - 5.0) < 0.4 * abs(plain - 5.0)


def test_skipping_must_leave_three_points_on_either_side() -> None:
    assert len(dead_stop_branches(knee(5.05), skip_ml=2.65)) == 1
    found = dead_stop_branches(knee(5.05), skip_ml=2.8)
    assert found.reason is NoEndPoint.TOO_FEW_POINTS
    assert "2 after" in found.detail


@pytest.mark.parametrize(
    ("curve", "limits"),
    [
        (Curve(tuple(map(float, range(20))), tuple(2.0 * i for i in range(20))), RISING),
        (mirrored(knee()), RISING),
        (knee(), FALLING),
        (knee(drift=8.0), RISING),
    ],
)
def test_a_curve_without_a_flat_branch_on_its_side_has_no_break(curve: Curve, limits: EndPointLimits) -> None:
    assert dead_stop_branches(curve, limits).reason is NoEndPoint.NO_BREAK


def test_a_current_that_sinks_after_a_flat_branch_is_no_dead_stop() -> None:
    curve = knee()
    found = dead_stop_branches(Curve(curve.volume_ml, tuple(-y for y in curve.signal)))
    assert found.reason is NoEndPoint.NO_BREAK
    assert "no dead stop" in found.detail


@pytest.mark.parametrize(("drift", "found"), [(6.64, 1), (6.69, 0)])
def test_a_baseline_may_drift_up_to_a_quarter_of_the_rise(drift: float, found: int) -> None:
    # 6.64 beside 26.64 per mL is 0.2492 of it, 6.69 beside 26.69 is 0.2507.
    assert len(dead_stop_branches(knee(drift=drift), RISING)) == found


def test_noise_alone_has_no_break() -> None:
    for seed in range(20):
        assert dead_stop_branches(knee(slope=0.0, noise=1.0, seed=seed)).found == ()


def test_branches_that_cross_outside_the_readings_are_no_break() -> None:
    curve = Curve(tuple(map(float, range(8))), (0.0, 0.0, 0.0, 0.0, 90.0, 91.0, 92.0, 93.0))
    assert dead_stop_branches(curve, RISING).reason is NoEndPoint.NO_BREAK


def test_the_step_is_judged() -> None:
    assert dead_stop_branches(knee(5.05)).only().marks == ()
    assert dead_stop_branches(knee(5.05, step_ml=0.2)).only().marks == (Mark.WIDE_BRACKET,)
    narrow = EndPointLimits(widest_gap_ml=0.05)
    assert dead_stop_branches(knee(5.05), narrow).reason is NoEndPoint.GAP_TOO_WIDE
    point = dead_stop_branches(knee(5.05)).only()
    assert (point.low_ml, point.high_ml) == pytest.approx((5.0, 5.1))


def test_too_few_readings_or_a_level_current_have_no_end_point() -> None:
    assert dead_stop_branches(knee(count=6)).reason is NoEndPoint.TOO_FEW_POINTS
    assert dead_stop_branches(knee(slope=0.0)).reason is NoEndPoint.SPAN_TOO_SMALL


def test_signal_to_noise_is_the_span_over_the_scatter() -> None:
    point = dead_stop_branches(knee(noise=0.2)).only()
    assert point.signal_to_noise == pytest.approx(60.0 / 0.2, rel=0.3)


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_dead_stop_branches__refuses_a_skip_that_is_none(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="skip"):
        dead_stop_branches(knee(), skip_ml=bad)


@pytest.mark.parametrize(("to_scatter", "found"), [(6.015, 1), (5.985, 0)])
def test_the_steep_branch_must_gain_six_times_the_scatter(to_scatter: float, found: int) -> None:
    # Forty readings of +1 and -1 scatter about their line, whose slope is almost nothing; twenty
    # even steps of a line gain its slope times sqrt(20**2 - 1).
    flat = [(-1.0) ** i for i in range(40)]
    left = np.array(flat) - np.polyval(np.polyfit(range(40), flat, 1), range(40))
    slope = to_scatter * math.sqrt(float(left @ left) / 38) / math.sqrt(20**2 - 1)
    curve = Curve(tuple(map(float, range(60))), (*flat, *(3.0 + slope * (i + 1) for i in range(20))))
    assert len(dead_stop_branches(curve, RISING)) == found


@pytest.mark.parametrize(("volume_ml", "current"), [(0.0, 1e8), (1e7, 0.0)])
def test_a_large_offset_costs_no_digits(volume_ml: float, current: float) -> None:
    curve = knee(5.03)
    moved = Curve(tuple(volume_ml + v for v in curve.volume_ml), tuple(current + y for y in curve.signal))
    assert dead_stop_branches(moved, RISING).only().volume_ml - volume_ml == pytest.approx(5.03, abs=1e-5)
