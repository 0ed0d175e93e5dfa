import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.cursors import CursorError, filter_mark, read_cursor, write_cursor

MARK = filter_mark("readings", {"instrument": "burette-1", "line": None})


@given(st.integers(min_value=0, max_value=2**63 - 1))
def test_a_cursor_gives_its_place_back(place: int) -> None:
    assert read_cursor(write_cursor(place, MARK), MARK) == place


def test_the_order_of_filters_does_not_matter() -> None:
    assert filter_mark("readings", {"line": None, "instrument": "burette-1"}) == MARK


@pytest.mark.parametrize(
    "other", [{"instrument": "burette-2", "line": None}, {"instrument": "burette-1", "line": ""}, {}]
)
def test_a_cursor_of_other_filters_is_refused(other: dict[str, str | None]) -> None:
    with pytest.raises(CursorError, match="other filters"):
        read_cursor(write_cursor(7, MARK), filter_mark("readings", other))


def test_a_cursor_of_another_route_is_refused() -> None:
    with pytest.raises(CursorError, match="other filters"):
        read_cursor(write_cursor(7, filter_mark("captures", {})), filter_mark("readings", {}))


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_as_a_cursor(text: str) -> None:
    with pytest.raises(CursorError):
        read_cursor(text, MARK)
