"""The clocks of the bench."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.clock import ManualClock, ScaledClock


def test_work_runs_faster_than_the_wall_by_the_speed() -> None:
    now = [100.0]
    clock = ScaledClock(10.0, monotonic=lambda: now[0])
    now[0] = 102.5
    assert (clock.wall_s(), clock.work_s()) == (2.5, 25.0)


def test_the_calendar_keeps_to_the_wall() -> None:
    clock = ManualClock(speed=10.0, start_utc_us=1_000)
    clock.advance(2.0)
    assert (clock.work_s(), clock.utc_us()) == (20.0, 2_001_000)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), float("inf")])
def test_refuses_a_speed_at_which_no_clock_can_run(speed: float) -> None:
    with pytest.raises(ValueError, match="speed"):
        ManualClock(speed)


@given(st.floats(max_value=-1e-9, allow_nan=False))
def test_a_manual_clock_never_runs_back(step_s: float) -> None:
    with pytest.raises(ValueError, match="does not run back"):
        ManualClock().advance(step_s)
