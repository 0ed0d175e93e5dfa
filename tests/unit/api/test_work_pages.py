"""The pages where people act: what stands on an instrument, its tray, and results that wait for somebody."""

import re
from collections.abc import Iterator

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, check, enter_acidity, rest_on, typed

BURETTE = "burette-1"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as one:
        yield one


def put(rest: Rest, *samples: str) -> list[int]:
    """Put samples on the tray of the burette and return their items."""
    items = [{"kind": "sample", "sample": sample, "tests": ["ta"]} for sample in samples]
    made: list[int] = rest.post(f"/trays/{BURETTE}/items", {"items": items})["items"]
    return made


def row_of(text: str, code: str) -> str:
    """Return the words of the row of a table that names a code."""
    row = next(row for row in re.findall(r"<tr.*?</tr>", text, re.DOTALL) if f">{code}<" in row)
    return " ".join(re.sub(r"<[^>]+>", " ", row).split())


def test_an_empty_bench_has_no_trays_and_says_so(rest: Rest) -> None:
    assert "none has a tray" in rest.page("/trays")


def test_a_tray_shows_its_places_in_order_and_what_stands_on_the_instrument(rest: Rest) -> None:
    enter_acidity(rest)
    _, second = put(rest, "CK4H7M", "DM6R3X")
    rest.post(f"/trays/{BURETTE}/on", {"item": second, "set_by": "tap"})
    text = rest.page("/trays")
    assert row_of(text, "CK4H7M").startswith("1 CK4H7M ta waiting Put on")
    assert row_of(text, "DM6R3X").startswith("2 DM6R3X ta on it now Out")
    assert '<strong class="big">DM6R3X</strong>' in text


def test_a_place_shows_what_was_found_with_its_standing(rest: Rest) -> None:
    enter_acidity(rest)
    put(rest, "CK4H7M")
    result = typed(rest, 8.4, "2025-10-03T11:40:00Z")
    words = row_of(rest.page("/trays"), "CK4H7M")
    assert "1 of 1 found" in words
    assert f"{rest.get(f'/results/{result}')['rounded']} g/L" in words
    assert "provisional" in words


def test_a_place_that_was_taken_out_is_gone(rest: Rest) -> None:
    enter_acidity(rest)
    (item,) = put(rest, "CK4H7M")
    rest.put(f"/tray-items/{item}", {"version": 1, "remove": True})
    assert "Its tray is empty" in rest.page("/trays")


def test_results_come_newest_first_with_why_and_what_to_do(rest: Rest) -> None:
    enter_acidity(rest)
    typed(rest, 8.4, "2025-10-03T11:40:00Z", "CK4H7M")
    typed(rest, 8.5, "2025-10-03T11:45:00Z", "DM6R3X")
    text = rest.page("/results")
    assert text.index("DM6R3X") < text.index("CK4H7M")
    words = row_of(text, "CK4H7M")
    assert "No check covers the result yet. Run the check standard." in words
    assert "typed" in words


def test_results_are_shown_that_need_a_look_or_wait(rest: Rest) -> None:
    enter_acidity(rest)
    check(rest, 8.44, "2025-10-03T11:30:00Z")
    doubted = typed(rest, 8.4, "2025-10-03T11:40:00Z")
    assert "None." in rest.page("/results?show=attention")
    check(rest, 9.0, "2025-10-03T11:50:00Z")  # far outside: what lies before it is in doubt
    assert f'value="{doubted}"' in rest.page("/results?show=attention")
    rest.post("/rejections", {"results": [doubted], "reason": "the check failed"})
    assert "None." in rest.page("/results?show=attention")
    assert "None." in rest.page("/results?show=waiting")
    assert f'value="{doubted}"' in rest.page("/results")


def test_results_go_on_further_back(rest: Rest) -> None:
    enter_acidity(rest)
    moments = [f"2025-10-03T{10 + index // 60}:{index % 60:02}:00Z" for index in range(61)]
    made = [typed(rest, 8.4, moment) for moment in moments][::-1]
    first = rest.page("/results")
    shown = [int(one) for one in re.findall(r'name="results"[^>]*value="(\d+)"', first)]
    (further,) = re.findall(r'href="(/results\?before=\d+)"', first)
    rest_of_them = [int(one) for one in re.findall(r'name="results"[^>]*value="(\d+)"', rest.page(further))]
    assert shown + rest_of_them == made


def test_an_unknown_choice_of_results_is_refused(rest: Rest) -> None:
    answer = rest.request("GET", "/results?show=everything")
    assert answer.status_code == 422
    assert "show" in answer.text
