"""The pages of additions: which there are, what a plan would do, and one from the balance to the retest."""

import re
from collections.abc import Iterator

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import LOT, SECOND, measure
from tests.unit.api.test_additions import (
    DAY_US,
    DOSE,
    MG_PER_ML_FREE,
    add,
    balance_shows,
    enter,
    plan,
    weigh,
)

PLAN = f"/additions/plan?lot={LOT}&substance=KMBS"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def words_of(rest: Rest, address: str) -> str:
    """Return what a page says, in one line."""
    return " ".join(re.sub(r"<[^>]+>", " ", rest.page(address)).split())


def test_without_a_lot_the_page_only_asks(rest: Rest) -> None:
    assert "What it would do" not in rest.page("/additions/plan")
    assert "No substance is stored." in rest.page("/additions/plan")


def test_a_plan_is_worked_out_and_nothing_is_written(rest: Rest) -> None:
    enter(rest)
    words = words_of(rest, f"{PLAN}&dose_mg_l=50&target_free_mg_l=&volume_l=&step_g=&water_ml=")
    assert "Weigh 399.3 g" in words
    assert "to 4600 L (4600 L entered by MAL, 1.0 d old)" in words
    assert "Free SO2 to expect 43 mg/L" in words
    assert "against a limit of 200 mg/L: inside" in words
    assert rest.get("/additions")["items"] == []


def test_what_cannot_be_planned_is_told_beside_its_field(rest: Rest) -> None:
    enter(rest)
    page = rest.page(f"{PLAN}&dose_mg_l=400")
    assert re.search(r'name="dose_mg_l"[^>]*aria-invalid="true" aria-describedby="fault-dose_mg_l"', page)
    assert 'id="fault-dose_mg_l">the total would pass its limit' in page
    assert "data-act" not in page.split("</form>", 1)[1]


def test_the_same_again_within_hours_asks_first(rest: Rest) -> None:
    enter(rest)
    assert "Is a second one meant?" not in rest.page(f"{PLAN}&dose_mg_l=20")
    number = plan(rest)
    words = words_of(rest, f"{PLAN}&dose_mg_l=20")
    assert f"Is a second one meant? addition {number}, 399.3 g of the same, was planned by MAL" in words


def test_a_mass_that_a_balance_showed_can_be_tied_once(rest: Rest, store: Store) -> None:
    enter(rest)
    first, second = plan(rest), plan(rest, confirmed=True, reason="in two steps")
    reading = balance_shows(rest, store, "399.3")
    assert f'{{"reading": {reading}}}' in rest.page(f"/additions/{second}")
    rest.post(f"/additions/{first}/weighings", {"reading": reading})
    words = words_of(rest, f"/additions/{second}")
    assert f"mass of addition {first}" in words
    assert f'{{"reading": {reading}}}' not in rest.page(f"/additions/{second}")


def test_an_addition_is_shown_from_the_balance_to_what_was_found(rest: Rest) -> None:
    enter(rest)
    number = plan(rest)
    assert "planned Weigh it, or cancel it with a reason." in words_of(rest, f"/additions/{number}")
    weigh(rest, number, 380.0)
    assert "-19.3 g, more than 2 % off the plan" in words_of(rest, f"/additions/{number}")
    rest.post(f"/additions/{number}/done", {})
    words = words_of(rest, f"/additions/{number}")
    assert "measure free SO2 not before 2025-10-08 and by 2025-10-11" in words
    assert "It went in" not in words
    rest.wait_until(rest.now_us + 6 * DAY_US)
    measure(rest, "free", 40 / MG_PER_ML_FREE, "2025-10-09T08:00:00Z", SECOND)
    assert "found 40 mg/L as expected" in words_of(rest, f"/additions/{number}")
    assert "40 as expected" in words_of(rest, "/additions")
    assert "As expected 10 48 42" in words_of(rest, f"/lots/{LOT}")


def test_additions_come_newest_first_and_those_to_be_made_alone_if_wanted(rest: Rest) -> None:
    enter(rest)
    first = add(rest, 399.3)
    second = plan(rest, confirmed=True, reason="the first leaked away")
    page = rest.page("/additions")
    assert page.index(f"addition {second}") < page.index(f"addition {first}")
    wanted = rest.page("/additions?show=open")
    assert f"addition {second}" in wanted
    assert f"addition {first}" not in wanted
    assert "None." in rest.page("/additions?before=1")


def test_an_addition_of_nobody_and_a_lot_of_nobody_are_not_found(rest: Rest) -> None:
    assert rest.request("GET", "/additions/999").status_code == 404
    assert rest.request("GET", "/additions?lot=NOBODY").status_code == 404
    assert "there is no lot" in rest.page("/additions/plan?lot=NOBODY&substance=KMBS&dose_mg_l=1")
    assert rest.request("GET", f"{PLAN}&dose_mg_l=much").status_code == 422
    assert DOSE["lot"] == LOT
