import math
from itertools import groupby
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.dead_stop_threshold import dead_stop_threshold
from evaluate.end_point import Direction, NoEndPoint
from evaluate.errors import EvaluateError, OutOfRangeError

TIMES = [float(i) for i in range(10)]
VOLUMES = [0.1 * i for i in range(10)]
BLIP = [0.0, 0.0, 6.0, 0.0, 0.0, 5.0, 6.0, 7.0, 8.0, 9.0]


def test_dead_stop_threshold__closed_form_the_first_reading_of_the_stretch_that_lasts() -> None:
    point = dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=3.0).only()
    assert (point.volume_ml, point.low_ml, point.high_ml) == pytest.approx((0.5, 0.4, 0.5))
    assert point.signal == 5.0
    assert point.slope == pytest.approx(50.0)


def test_dead_stop_threshold__closed_form_falling() -> None:
    falling = [-y for y in BLIP]
    found = dead_stop_threshold(
        TIMES, VOLUMES, falling, threshold=-5.0, hold_s=3.0, direction=Direction.FALLING
    )
    assert found.only().volume_ml == pytest.approx(0.5)


def test_dead_stop_threshold__closed_form_readings_without_a_current_are_passed_over() -> None:
    current = [*BLIP[:6], math.nan, *BLIP[7:]]
    point = dead_stop_threshold(TIMES, VOLUMES, current, threshold=5.0, hold_s=4.0).only()
    assert point.volume_ml == pytest.approx(0.5)


def test_dead_stop_threshold__limit_a_hold_is_met_on_the_second() -> None:
    assert len(dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=4.0)) == 1
    found = dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=4.1)
    assert found.reason is NoEndPoint.NOT_HELD
    assert found.detail == "5 was held for 4 s at most, 4.1 s are wanted"


def test_dead_stop_threshold__limit_no_hold_takes_the_first_passing() -> None:
    assert dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=0.0).only().volume_ml == 0.2


def test_dead_stop_threshold__limit_a_passing_without_dosing_has_no_slope() -> None:
    point = dead_stop_threshold([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], [0.0, 9.0, 9.0], threshold=5.0, hold_s=1.0)
    assert point.only().slope == math.inf


def test_dead_stop_threshold__closed_form_slope_from_the_reading_before() -> None:
    current = [1.0] * 5 + [5.0, 6.0, 7.0, 8.0, 9.0]
    point = dead_stop_threshold(TIMES, VOLUMES, current, threshold=5.0, hold_s=3.0).only()
    assert point.slope == pytest.approx((5.0 - 1.0) / 0.1)


def test_dead_stop_threshold__limit_a_fall_without_dosing_falls_without_end() -> None:
    found = dead_stop_threshold(
        [0.0, 1.0, 2.0],
        [1.0, 1.0, 1.0],
        [5.0, 1.0, 1.0],
        threshold=3.0,
        hold_s=1.0,
        direction=Direction.FALLING,
    )
    assert found.only().slope == -math.inf


@given(st.floats(0.1, 100.0), st.floats(-50.0, 50.0))
def test_dead_stop_threshold__law_scale_and_offset_of_the_current_move_nothing(
    scale: float, offset: float
) -> None:
    current = [offset + scale * y for y in BLIP]
    threshold = offset + scale * 4.9
    found = dead_stop_threshold(TIMES, VOLUMES, current, threshold=threshold, hold_s=3.0)
    assert found.only().volume_ml == pytest.approx(0.5)


@pytest.mark.parametrize("seed", range(20))
def test_dead_stop_threshold__independent_search_by_runs(seed: int) -> None:
    random = Random(seed)
    current = [0.0, *(random.choice([0.0, 9.0, 9.0, 9.0]) for _ in range(40))]
    runs = [(beyond, list(group)) for beyond, group in groupby(range(41), key=lambda i: current[i] > 5.0)]
    lasting = [places[0] for beyond, places in runs if beyond and places[-1] - places[0] >= 6]
    times = [float(i) for i in range(41)]
    found = dead_stop_threshold(times, times, current, threshold=5.0, hold_s=6.0)
    assert [point.volume_ml for point in found.found] == [float(i) for i in lasting[:1]]


@pytest.mark.parametrize(
    ("current", "reason"),
    [
        ([0.0] * 10, NoEndPoint.NEVER_REACHED),
        ([9.0] * 10, NoEndPoint.STARTS_BEYOND),
        ([math.nan] * 10, NoEndPoint.TOO_FEW_POINTS),
        (BLIP[:5] + [0.0] * 5, NoEndPoint.NOT_HELD),
    ],
)
def test_no_end_point_has_its_reason(current: list[float], reason: NoEndPoint) -> None:
    assert dead_stop_threshold(TIMES, VOLUMES, current, threshold=5.0, hold_s=3.0).reason is reason


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_dead_stop_threshold__refuses_what_is_not_finite(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="threshold"):
        dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=bad, hold_s=3.0)
    with pytest.raises(OutOfRangeError, match="hold"):
        dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=bad)
    with pytest.raises(OutOfRangeError, match="time"):
        dead_stop_threshold([*TIMES[:9], bad], VOLUMES, BLIP, threshold=5.0, hold_s=3.0)


def test_dead_stop_threshold__refuses_a_negative_hold() -> None:
    with pytest.raises(OutOfRangeError, match="hold must be at least 0 s, not -1"):
        dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=-1.0)


def test_dead_stop_threshold__refuses_what_goes_back_or_does_not_pair() -> None:
    with pytest.raises(EvaluateError, match="time goes back"):
        dead_stop_threshold(TIMES[::-1], VOLUMES, BLIP, threshold=5.0, hold_s=3.0)
    with pytest.raises(EvaluateError, match="volume goes back"):
        dead_stop_threshold(TIMES, VOLUMES[::-1], BLIP, threshold=5.0, hold_s=3.0)
    with pytest.raises(EvaluateError, match="9 times, 10 volumes and 10 currents"):
        dead_stop_threshold(TIMES[:9], VOLUMES, BLIP, threshold=5.0, hold_s=3.0)


def test_dead_stop_threshold__refuses_to_guess_the_direction() -> None:
    with pytest.raises(EvaluateError, match="say which"):
        dead_stop_threshold(TIMES, VOLUMES, BLIP, threshold=5.0, hold_s=3.0, direction=Direction.EITHER)
