"""What other laboratories found: under their names, apart by source, beside ours."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, SECOND, enter_wine, measure

MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 20 * 1000
"""What a millilitre of iodine finds in 20 mL of sample. [mg/L per mL]"""


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_wine(rest)
        yield rest


def told(rest: Rest, value: str, **fields: Any) -> int:
    item = {
        "name": "PN 1",
        "at": "2025-10-02T09:00:00Z",
        "quantity": "total_so2",
        "value": value,
        "unit": "mg/L",
        **fields,
    }
    (number,) = rest.post("/outside-results", {"source": "ext-1", "items": [item]})["items"]
    return int(number)


def explain(rest: Rest, **means: str) -> None:
    rest.record("aliases", "A1", source="ext-1", name="PN 1", **(means or {"lot": LOT}))


def test_a_name_that_nobody_has_explained_waits_and_is_asked_about_once(rest: Rest) -> None:
    number = told(rest, "191")
    (waiting,) = rest.get("/outside-results", unknown=True)["items"]
    assert (waiting["number"], waiting["lot"], waiting["known"]) == (number, None, False)
    explain(rest)
    assert rest.get("/outside-results", unknown=True)["items"] == []
    told(rest, "190", at="2025-10-03T09:00:00Z")
    assert [one["lot"] for one in rest.get("/outside-results")["items"]] == [LOT, LOT]


def test_the_same_name_of_another_source_means_nothing_yet(rest: Rest) -> None:
    explain(rest)
    item = {"name": "PN 1", "at": "2025-10-02T09:00:00Z", "quantity": "ph", "value": "3.4", "unit": "pH"}
    rest.post("/outside-results", {"source": "ext-2", "items": [item]})
    (found,) = rest.get("/outside-results", source="ext-2")["items"]
    assert found["known"] is False


@pytest.mark.parametrize(
    ("value", "unit", "outcome", "figure"),
    [
        ("191", "mg/L", "value", "191"),
        ("0,191", "g/L", "value", "191"),
        ("191,5", "mg/L", "value", "191.5"),
        ("<10", "mg/L", "below_range", "10"),
        ("> 350", "mg/L", "above_range", "350"),
    ],
)
def test_figures_are_taken_as_people_write_them(
    rest: Rest, value: str, unit: str, outcome: str, figure: str
) -> None:
    told(rest, value, unit=unit)
    (found,) = rest.get("/outside-results")["items"]
    assert (found["outcome"], float(found["figure"]), found["unit"]) == (outcome, float(figure), "mg/L")
    assert found["value"] == (float(figure) if outcome == "value" else None)


@pytest.mark.parametrize(
    ("fields", "status", "rule"),
    [
        ({"value": "much"}, 422, "outside.figure"),
        ({"value": "1.234,5"}, 422, "outside.figure"),
        ({"value": ""}, 422, "outside.figure"),
        ({"unit": "pH"}, 422, "outside.unit"),
        ({"quantity": "no_such_quantity"}, 422, "outside.unit"),
        ({"at": "2025-10-04T09:00:00Z"}, 422, "act.future"),
    ],
)
def test_one_bad_line_and_nothing_of_the_paper_is_entered(
    rest: Rest, fields: dict[str, Any], status: int, rule: str
) -> None:
    good = {
        "name": "PN 1",
        "at": "2025-10-02T09:00:00Z",
        "quantity": "total_so2",
        "value": "191",
        "unit": "mg/L",
    }
    body = {"source": "ext-1", "items": [good, {**good, **fields}]}
    assert rest.refused("/outside-results", body) == (status, rule)
    assert rest.get("/outside-results")["items"] == []


def test_the_same_paper_entered_twice_is_refused(rest: Rest) -> None:
    item = {"name": "PN 1", "at": "2025-10-02T09:00:00Z", "quantity": "ph", "value": "3,4", "unit": "pH"}
    body = {"source": "ext-1", "items": [item]}
    rest.post("/outside-results", body)
    assert rest.refused("/outside-results", body) == (409, "outside.entered_already")
    again = {**body, "items": [{**item, "value": "3.5"}]}
    rest.post("/outside-results", again)


def test_theirs_are_never_among_ours(rest: Rest) -> None:
    explain(rest)
    told(rest, "191")
    assert rest.get("/results")["items"] == []
    assert rest.get(f"/lots/{LOT}/latest")["items"] == []


def test_the_bias_of_ours_against_theirs_has_an_interval(rest: Rest) -> None:
    explain(rest)
    days = ("2025-09-25", "2025-09-27", "2025-09-29", "2025-10-01")
    for day, theirs, ours in zip(days, (100, 98, 96, 95), (102.0, 99.0, 98.0, 96.0), strict=True):
        told(rest, str(theirs), at=f"{day}T09:00:00Z", uncertainty=2.0)
        measure(rest, "total", ours / MG_PER_ML, f"{day}T15:00:00Z")
    found = rest.get("/outside-results/bias", source="ext-1", quantity="total_so2", within_d=0.5)
    # differences 2, 1, 2, 1: mean 1.5, s 0.57735, t(3; 0.975) = 3.1824 from any table
    assert found["bias"] == pytest.approx(1.5, abs=1e-4)
    assert found["high"] - found["bias"] == pytest.approx(3.18245 * 0.57735 / 2, rel=1e-4)
    assert found["significant"] is True
    assert [pair["difference"] for pair in found["pairs"]] == pytest.approx([2, 1, 2, 1], abs=1e-4)
    # 2 / hypot(2 % of 102, 2)
    assert found["pairs"][0]["zeta"] == pytest.approx(2 / (2.04**2 + 4) ** 0.5, rel=1e-3)


def test_ours_of_the_same_sample_goes_before_a_nearer_one(rest: Rest) -> None:
    explain(rest, sample=FIRST)
    told(rest, "100")
    same = measure(rest, "total", 101 / MG_PER_ML, "2025-10-01T09:00:00Z", FIRST)
    measure(rest, "total", 120 / MG_PER_ML, "2025-10-02T10:00:00Z", SECOND)
    found = rest.get("/outside-results/bias", source="ext-1", quantity="total_so2")
    assert [pair["result"] for pair in found["pairs"]] == [same]
    assert (found["bias"], bool(found["why"])) == (None, True)


def test_a_bound_or_an_unexplained_name_makes_no_pair(rest: Rest) -> None:
    measure(rest, "total", 101 / MG_PER_ML, "2025-10-02T09:00:00Z")
    told(rest, "100")
    explain(rest)
    told(rest, "<10", at="2025-10-02T10:00:00Z")
    found = rest.get("/outside-results/bias", source="ext-1", quantity="total_so2")
    assert len(found["pairs"]) == 1
