"""Additions on the due list: what waits to be made, and what is to be measured after it."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.filled_store import NOON_US
from tests.fakes.rest import Rest, rest_on

DAY_US = 86_400_000_000


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    """A wine whose sulfur dioxide is known, and metabisulfite."""
    with rest_on(store) as client:
        wine = {"name": "Merlot", "colour": "red", "jurisdiction": "EU", "sugar_g_l": 1.0, "volume_l": 2250}
        client.record("lots", "24-ME-02", **wine)
        client.record("reagents", "KMBS", name="metabisulfite", reagent_kind="substance", strength=0.576)
        client.record("samples", "ME24", lot="24-ME-02")
        for code, quantity, value in (
            ("free", "free_so2", 20.5),
            ("total", "total_so2", 64.0),
            ("ph", "ph", 3.62),
        ):
            client.record("methods", code, name=code, quantity=quantity, relative_uncertainty=0.02)
            measure(client, code, value)
        yield client


def measure(rest: Rest, method: str, value: float) -> None:
    rest.post("/results", {"method": method, "sample": "ME24", "value": value, "again": value})


def plan(rest: Rest) -> int:
    made: int = rest.post("/additions", {"lot": "24-ME-02", "substance": "KMBS", "dose_mg_l": 15})["id"]
    return made


def do(rest: Rest, number: int) -> None:
    rest.post(f"/additions/{number}/weighings", {"mass_g": 58.6, "again_g": 58.6})
    rest.post(f"/additions/{number}/done", {})


def due(rest: Rest, at_us: int | None = None) -> list[Any]:
    if at_us is not None:
        rest.wait_until(at_us)
    return [one for one in rest.get("/due")["items"] if one["code"].startswith("addition.")]


def test_an_addition_is_due_until_it_is_done_or_cancelled(rest: Rest) -> None:
    first = plan(rest)
    (item,) = due(rest)
    assert (item["code"], item["subject"], item["is_due"]) == ("addition.open", f"addition {first}", True)
    assert "24-ME-02" in item["evidence"]
    rest.post(f"/additions/{first}/cancel", {"reason": "not needed"})
    assert due(rest) == []


def test_the_wine_is_to_be_measured_once_it_has_settled_until_it_was(rest: Rest) -> None:
    number = plan(rest)
    do(rest, number)
    assert due(rest) == []
    # It settles for five days; it is told two days before.
    (soon,) = due(rest, NOON_US + 4 * DAY_US)
    assert (soon["code"], soon["is_due"]) == ("addition.retest", False)
    (now,) = due(rest, NOON_US + 6 * DAY_US)
    assert (now["code"], now["is_due"]) == ("addition.retest", True)
    (late,) = due(rest, NOON_US + 12 * DAY_US)
    assert "overdue" in late["evidence"]
    measure(rest, "free", 29.0)
    assert due(rest) == []


def test_an_addition_that_nobody_followed_for_months_is_let_be(rest: Rest) -> None:
    do(rest, plan(rest))
    assert due(rest, NOON_US + 70 * DAY_US) == []


def test_an_open_addition_stands_on_the_closing_card(rest: Rest) -> None:
    plan(rest)
    points = {one["code"]: one for one in rest.get("/cards/closing")["points"]}
    assert not points["additions"]["is_true"]
    assert "24-ME-02" in points["additions"]["evidence"][0]
