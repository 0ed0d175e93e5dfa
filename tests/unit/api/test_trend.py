import re

from hypothesis import given
from hypothesis import strategies as st

from api.trend import trend

VALUES = st.one_of(st.none(), st.floats(min_value=-1e9, max_value=1e9))


@given(st.lists(VALUES, max_size=50))
def test_the_drawing_stays_inside_its_frame(values: list[float | None]) -> None:
    drawn = trend([(at, value) for at, value in enumerate(values)], width=100, height=40)
    numbers = [float(text) for text in re.findall(r"[-\d.]+", drawn.path if drawn else "")]
    assert all(0 <= x <= 100 for x in numbers[::2])
    assert all(0 <= y <= 40 for y in numbers[1::2])


def test_one_number_is_no_trend() -> None:
    assert trend([(0, 3.4), (1, None)]) is None


def test_the_line_breaks_where_there_was_no_number() -> None:
    drawn = trend([(0, 1.0), (1, 2.0), (2, None), (3, 2.0), (4, 1.0)])
    assert drawn is not None
    assert drawn.path.count("M") == 2


def test_a_value_that_does_not_move_is_drawn_in_the_middle() -> None:
    drawn = trend([(0, 3.4), (1, 3.4)], height=72)
    assert drawn is not None
    assert drawn.last_y == 36


def test_higher_values_are_drawn_higher() -> None:
    drawn = trend([(0, 1.0), (1, 2.0)], height=72)
    assert drawn is not None
    assert drawn.last_y < 36
