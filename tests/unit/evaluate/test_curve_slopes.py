import math
from itertools import accumulate
from random import Random

import pytest

from evaluate.curve import Curve
from evaluate.curve_slopes import Slopes


def of_steps(*steps: float) -> Curve:
    """Curve with the given slopes over steps of 1 mL."""
    return Curve(tuple(map(float, range(len(steps) + 1))), tuple(accumulate(steps, initial=0.0)))


def test_chords_stand_at_their_middle_with_the_slope_in_the_direction_of_the_titration() -> None:
    slopes = Slopes.over(of_steps(1.0, 3.0, 2.0), 2, -1.0)
    assert slopes.mid_ml == (1.0, 2.0)
    assert slopes.steep == (-2.0, -2.5)


def test_the_top_is_the_first_of_equals() -> None:
    assert Slopes.over(of_steps(1.0, 5.0, 5.0, 2.0), 1, 1.0).top == 1


@pytest.mark.parametrize(
    ("stride", "peak", "starts"),
    [(1, 5, [5]), (2, 5, [5, 6]), (3, 5, [4, 5, 6]), (4, 5, [4, 5, 6, 7]), (3, 0, [0, 1, 2]), (3, 9, [8, 9])],
)
def test_starts_lie_about_the_peak_one_for_each_way_to_lay_chords(
    stride: int, peak: int, starts: list[int]
) -> None:
    slopes = Slopes.over(of_steps(*[1.0] * (9 + stride)), stride, 1.0)
    assert slopes.starts(peak) == starts


@pytest.mark.parametrize(("start", "highest"), [(4, 4), (2, 4), (6, 4), (3, 5), (0, 2), (8, 6), (1, 3)])
def test_the_highest_is_sought_among_chords_end_to_end(start: int, highest: int) -> None:
    # Chords over two steps: 0.5, 1.5, 3, 5, 7, 7, 5, 3, 1.5; those beside one begin two steps away.
    slopes = Slopes.over(of_steps(0.0, 1.0, 2.0, 4.0, 6.0, 8.0, 6.0, 4.0, 2.0, 1.0), 2, 1.0)
    assert slopes.highest(start) == highest


@pytest.mark.parametrize(
    ("steps", "rise"),
    [
        ((1.0, 5.0, 10.0, 5.0, 1.0), 20.0),  # half as steep still counts
        ((1.0, 4.99, 10.0, 4.99, 1.0), 10.0),
        ((10.0, 10.0, 10.0), 30.0),  # up to both ends
        ((6.0, 10.0, 1.0, 9.0), 16.0),
        ((9.0, 1.0, 10.0, 6.0), 16.0),
    ],
)
def test_the_rise_is_taken_where_the_curve_is_half_as_steep(steps: tuple[float, ...], rise: float) -> None:
    slopes = Slopes.over(of_steps(*steps), 1, 1.0)
    assert slopes.rise(steps.index(10.0)) == pytest.approx(rise)


def test_the_rise_of_a_falling_curve_is_positive() -> None:
    assert Slopes.over(of_steps(-1.0, -10.0, -1.0), 1, -1.0).rise(1) == 10.0


@pytest.mark.parametrize(("valley", "peaks"), [(2.99, [2, 4]), (3.0, [2])])
def test_a_second_peak_stands_apart_by_half_its_height(valley: float, peaks: list[int]) -> None:
    slopes = Slopes.over(of_steps(1.0, 2.0, 10.0, valley, 6.0, 1.0, 1.0), 1, 1.0)
    assert slopes.peaks(0.1) == peaks


@pytest.mark.parametrize(("deeper", "peaks"), [(1.001, [2, 4]), (0.999, [2])])
def test_a_second_peak_stands_apart_by_six_times_the_noise_of_its_slope(
    deeper: float, peaks: list[int]
) -> None:
    # A chord of 0.5 mL between two readings of noise 1: its slope has a noise of sqrt(1 + 1) / 0.5.
    volumes = (0.0, 1.0, 2.0, 3.0, 4.0, 4.5, 6.0, 7.0)
    valley = 30.0 - 6.0 * math.sqrt(2.0) / 0.5 * deeper
    steep = (1.0, 2.0, 40.0, valley, 30.0, 1.0, 1.0)
    slopes = Slopes(Curve(volumes, (0.0,) * 8), 1, 1.0, volumes[:-1], steep, 1.0)
    assert slopes.peaks(0.1) == peaks


@pytest.mark.parametrize(("share", "peaks"), [(0.6, [2, 4]), (0.61, [2])])
def test_a_second_peak_has_its_share_of_the_first(share: float, peaks: list[int]) -> None:
    assert Slopes.over(of_steps(1.0, 2.0, 10.0, 1.0, 6.0, 1.0, 1.0), 1, 1.0).peaks(share) == peaks


def test_the_first_and_the_last_step_are_no_peaks() -> None:
    assert Slopes.over(of_steps(9.0, 1.0, 8.0, 1.0, 10.0), 1, 1.0).peaks(0.1) == [2]


@pytest.mark.parametrize(
    ("steps", "hill"),
    [
        ((1.0, 2.0, 4.0, 10.0, 4.0, 2.0, 3.0), True),  # below half nothing is asked
        ((1.0, 6.0, 7.0, 10.0, 6.0, 6.0, 1.0), True),
        ((1.0, 6.0, 7.0, 10.0, 6.0, 6.1, 1.0), False),
        ((1.0, 7.0, 6.0, 10.0, 6.0, 1.0, 1.0), False),
        ((1.0, 1.0, 6.0, 10.0, 5.0, 5.1, 1.0), False),  # half is not below half
        ((1.0, 1.0, 6.0, 10.0, 4.97, 5.1, 1.0), True),
    ],
)
def test_a_hill_falls_on_either_side_as_far_as_half_its_height(steps: tuple[float, ...], hill: bool) -> None:
    assert Slopes.over(of_steps(*steps), 1, 1.0).is_hill(3) is hill


def test_a_hill_is_looked_at_end_to_end_on_both_sides() -> None:
    # Chords over two steps, taken two apart: those between them do not count.
    steps = (0.0, 0.0, 2.0, 2.0, 9.0, 9.0, 8.0, 8.0, 0.0, 0.0)
    assert Slopes.over(of_steps(*steps), 2, 1.0).is_hill(4)
    assert not Slopes.over(of_steps(8.0, 8.0, 6.0, 6.0, 9.0, 9.0, 0.0, 0.0), 2, 1.0).is_hill(4)


def test_calm_chords_are_the_single_steps_without_noise() -> None:
    assert Slopes.calm(of_steps(*[1.0] * 10, 5.0, 9.0, 5.0, *[1.0] * 10), 1.0).stride == 1


@pytest.mark.parametrize(("points", "longest"), [(24, 3), (23, 2), (16, 2), (15, 1)])
def test_chords_of_noise_span_at_most_an_eighth_of_the_curve(points: int, longest: int) -> None:
    random = Random(1)
    curves = [of_steps(*(random.random() for _ in range(points - 1))) for _ in range(50)]
    assert max(Slopes.calm(curve, 1.0).stride for curve in curves) == longest
