import math
import random
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.curve import Curve, Dropped, DroppedPoint, clean_curve
from evaluate.errors import EvaluateError, OutOfRangeError
from evaluate.statistics import NORMAL_MAD

VOLUMES = st.lists(st.floats(0.0, 50.0), max_size=30)
NAN = math.nan


def longest_in_order(values: list[float]) -> int:
    """Length of the longest non-decreasing subsequence, by trying all of them."""
    kept = (part for n in range(len(values), -1, -1) for part in combinations(values, n))
    return next(len(part) for part in kept if list(part) == sorted(part))


def test_clean_curve__closed_form_good_readings_pass_unchanged() -> None:
    assert clean_curve([0.0, 1.0, 2.5], [3.0, 4.0, 9.0]) == Curve((0.0, 1.0, 2.5), (3.0, 4.0, 9.0))


def test_clean_curve__closed_form_missing_and_rail_readings_are_named() -> None:
    curve = clean_curve([0.0, 1.0, 2.0, 3.0], [3.0, NAN, 14.0, 9.0], rail_low=0.0, rail_high=14.0)
    assert curve.volume_ml == (0.0, 3.0)
    assert curve.dropped == (DroppedPoint(1, Dropped.MISSING), DroppedPoint(2, Dropped.RAIL))


def test_clean_curve__closed_form_a_signal_at_the_low_rail_is_dropped() -> None:
    assert clean_curve([0.0, 1.0], [0.0, 5.0], rail_low=0.0).dropped == (DroppedPoint(0, Dropped.RAIL),)


def test_clean_curve__closed_form_a_volume_of_none_is_missing() -> None:
    assert clean_curve([None, 1.0], [3.0, None]).dropped == (
        DroppedPoint(0, Dropped.MISSING),
        DroppedPoint(1, Dropped.MISSING),
    )


def test_clean_curve__closed_form_one_high_volume_costs_one_point() -> None:
    curve = clean_curve([0.0, 1.0, 99.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0, 5.0])
    assert curve.signal == (1.0, 2.0, 4.0, 5.0)
    assert curve.dropped == (DroppedPoint(2, Dropped.BACKWARD),)


def test_clean_curve__closed_form_the_last_of_repeated_readings_counts() -> None:
    curve = clean_curve([1.0, 1.0, 1.0, 2.0], [3.0, 3.5, 4.0, 5.0])
    assert curve.signal == (4.0, 5.0)
    assert [point.place for point in curve.dropped] == [0, 1]


def test_clean_curve__closed_form_the_mean_of_repeated_readings_counts_if_asked() -> None:
    assert clean_curve([1.0, 1.0, 2.0], [3.0, 4.0, 5.0], repeated="mean").signal == (3.5, 5.0)


def test_clean_curve__limit_no_readings_give_an_empty_curve() -> None:
    assert len(clean_curve([], [])) == 0


@given(VOLUMES)
def test_clean_curve__law_every_reading_is_kept_or_named(volumes: list[float]) -> None:
    curve = clean_curve(volumes, [1.0] * len(volumes))
    assert len(curve) + len(curve.dropped) == len(volumes)
    assert list(curve.volume_ml) == sorted(set(curve.volume_ml))


@given(VOLUMES)
def test_clean_curve__law_cleaning_twice_changes_nothing(volumes: list[float]) -> None:
    once = clean_curve(volumes, list(map(float, range(len(volumes)))))
    again = clean_curve(once.volume_ml, once.signal)
    assert (again.volume_ml, again.signal) == (once.volume_ml, once.signal)


@given(st.lists(st.integers(0, 9), max_size=8, unique=True))
def test_clean_curve__independent_as_many_are_kept_as_any_search_finds(volumes: list[int]) -> None:
    values = [float(v) for v in volumes]
    assert len(clean_curve(values, values)) == longest_in_order(values)


def test_clean_curve__refuses_a_negative_volume() -> None:
    with pytest.raises(OutOfRangeError, match="volume must be at least 0 mL, not -1"):
        clean_curve([-1.0], [3.0])


def test_clean_curve__refuses_unequal_lengths() -> None:
    with pytest.raises(EvaluateError, match="2 volumes and 1 signals"):
        clean_curve([0.0, 1.0], [3.0])


@pytest.mark.parametrize(
    ("volume", "signal", "said"),
    [
        ((0.0, 1.0), (1.0,), "2 volumes and 1 signals"),
        ((0.0, NAN), (1.0, 2.0), "finite"),
        ((0.0, 1.0), (1.0, math.inf), "finite"),
        ((1.0, 1.0), (1.0, 2.0), "must grow"),
    ],
)
def test_a_curve_refuses_what_cannot_be_evaluated(
    volume: tuple[float, ...], signal: tuple[float, ...], said: str
) -> None:
    with pytest.raises(EvaluateError, match=said):
        Curve(volume, signal)


def test_the_part_of_a_curve_includes_both_ends() -> None:
    part = Curve((0.0, 1.0, 2.0, 3.0), (1.0, 2.0, 3.0, 4.0)).between(1.0, 2.0)
    assert (part.volume_ml, part.signal) == ((1.0, 2.0), (2.0, 3.0))


def test_span_is_the_distance_of_the_extremes() -> None:
    assert Curve((0.0, 1.0, 2.0), (3.0, -2.0, 1.0)).span == 5.0
    assert Curve((), ()).span == 0.0


def test_slopes_stand_at_mid_volumes() -> None:
    curve = Curve((0.0, 1.0, 3.0), (0.0, 2.0, 10.0))
    assert curve.slopes() == ((0.5, 2.0), (2.0, 4.0))
    assert curve.slopes(2) == ((1.5, 10.0 / 3.0),)


def test_a_signal_between_readings_lies_on_their_line() -> None:
    curve = Curve((0.0, 2.0, 3.0), (0.0, 4.0, 10.0))
    assert curve.at(0.5) == 1.0
    assert curve.at(2.5) == 7.0
    assert curve.at(3.0) == 10.0


def test_the_bracket_of_a_volume_outside_is_the_nearest_step() -> None:
    curve = Curve((1.0, 2.0, 3.0), (0.0, 1.0, 2.0))
    assert [curve.bracket(v) for v in (0.5, 1.0, 2.0, 3.0, 9.0)] == [0, 0, 1, 1, 1]


def test_noise_of_a_cubic_is_nothing() -> None:
    volumes = tuple(map(float, range(20)))
    assert Curve(volumes, tuple(v**3 for v in volumes)).noise() == pytest.approx(0.0, abs=1e-9)


def test_noise_of_an_alternation_on_a_rise_is_that_about_the_line() -> None:
    # Each reading lies 0.2 from the line through its neighbours; thirteen points leave nine to judge by.
    volumes = tuple(map(float, range(13)))
    signal = tuple(v + 0.1 * (-1) ** i for i, v in enumerate(volumes))
    assert Curve(volumes, signal).noise() == pytest.approx(NORMAL_MAD * 0.2 / math.sqrt(1.5), rel=1e-12)


def test_noise_of_steps_in_pairs_is_that_about_the_cubic() -> None:
    # The cubic weighs even neighbours by -1/6, 4/6, 4/6, -1/6: it passes at 1/3 where the reading is 1.
    signal = tuple([1.0, 1.0, -1.0, -1.0] * 4)
    about_cubic = (1 - 1 / 3) / math.sqrt(1 + 2 / 36 + 32 / 36)
    found = Curve(tuple(map(float, range(16))), signal).noise()
    assert found == pytest.approx(NORMAL_MAD * about_cubic, rel=1e-12)


def test_noise_of_normal_scatter_is_its_deviation() -> None:
    source = random.Random(4)
    volumes = tuple(0.1 * i + 0.01 * source.random() for i in range(2000))
    curve = Curve(volumes, tuple(2.0 * v + source.gauss(0.0, 0.3) for v in volumes))
    assert curve.noise() == pytest.approx(0.3, rel=0.1)


def test_noise_of_eleven_points_is_not_judged() -> None:
    volumes, signal = tuple(map(float, range(12))), (0.0, 5.0) * 6
    assert Curve(volumes[:11], signal[:11]).noise() == 0.0
    assert Curve(volumes, signal).noise() > 0.0
