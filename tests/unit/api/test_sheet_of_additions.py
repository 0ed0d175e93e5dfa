"""The sheet of additions: a row from the plan on, whose cells fill as the addition goes on."""

import csv
import io
from collections.abc import Iterator

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import LOT
from tests.unit.api.test_additions import enter, plan, weigh

SHEET = "/sheets/additions.csv"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def rows(rest: Rest, query: str = "") -> list[dict[str, str]]:
    answer = rest.request("GET", SHEET + query)
    assert answer.status_code == 200, answer.text
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


def test_a_planned_addition_has_no_mass_that_nobody_weighed(rest: Rest) -> None:
    enter(rest)
    number = plan(rest)
    (row,) = rows(rest)
    assert (row["addition"], row["state"], row["lot"], row["substance"]) == (
        str(number),
        "planned",
        LOT,
        "KMBS",
    )
    assert (row["weighed_g"], row["weighed_at_utc"], row["done_at_utc"], row["done_by"]) == ("", "", "", "")
    assert (row["volume_l"], row["planned_by"]) == ("4600.0", "MAL")
    # 50 mg/L in 4600 L are 230 g of SO2; 57.6 % of the salt is SO2: 399.3 g, weighed to whole grams or finer.
    assert float(row["planned_g"]) == pytest.approx(230 / 0.576, abs=1)
    assert float(row["planned_mg_l"]) == pytest.approx(50, abs=0.2)


def test_it_fills_as_the_addition_goes_on_and_its_revision_moves(rest: Rest) -> None:
    enter(rest)
    number = plan(rest)
    (planned,) = rows(rest)
    weigh(rest, number, float(planned["planned_g"]))
    (weighed,) = rows(rest, f"?since={planned['revision']}")
    rest.post(f"/additions/{number}/done", {"reason": None, "confirmed": False})
    (done,) = rows(rest, "?state=done")
    assert [one["state"] for one in (planned, weighed, done)] == ["planned", "weighed", "done"]
    assert weighed["weighed_g"] == done["weighed_g"] == planned["planned_g"]
    assert done["done_by"] == "MAL"
    assert done["done_at_utc"].endswith("Z")
    assert int(planned["revision"]) < int(weighed["revision"]) < int(done["revision"])
    assert rows(rest, f"?since={done['revision']}") == []


def test_filters_choose_additions(rest: Rest) -> None:
    enter(rest)
    plan(rest)
    assert len(rows(rest, f"?lot={LOT}&state=planned&from=2025-10-03T00:00:00Z")) == 1
    for query in ("?lot=nowhere", "?state=done", "?to=2025-10-03T00:00:00Z"):
        assert rows(rest, query) == []
    refused = rest.request("GET", SHEET + "?state=perhaps")
    assert (refused.status_code, refused.json()["errors"][0]["parameter"]) == (422, "state")


def test_the_workbook_holds_the_same(rest: Rest) -> None:
    enter(rest)
    plan(rest)
    (row,) = rows(rest)
    answer = rest.request("GET", "/sheets/additions.xlsx")
    page = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    assert isinstance(page, Worksheet)
    head, line = page.iter_rows(values_only=True)
    typed = dict(zip(map(str, head), line, strict=True))
    assert list(typed) == list(row)
    assert typed["planned_g"] == float(row["planned_g"])
    assert typed["weighed_g"] is None
