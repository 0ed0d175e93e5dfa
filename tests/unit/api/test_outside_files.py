"""Files of another laboratory that come by a line: theirs under their names, never ours, and nothing lost."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, enter_wine
from tests.unit.bench.acts import take_in

FOLDER = "ext-files"
DAY = "2025-10-02"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_wine(rest)
        rest.record("equipment", FOLDER, name="files of ext-1", outside_laboratory="ext-1")
        yield rest


class Files:
    """A folder into which another laboratory drops its tables."""

    def __init__(self, rest: Rest, store: Store) -> None:
        self._store = store
        self._filler = Filler(store, at_us=rest.now_us)
        self._line = self._filler.open("outside-laboratory", FOLDER)

    def come(self, *answers: Answer) -> list[int]:
        """Let a row come with its numbers; return the readings."""
        made = self._filler.hear(self._line, b"a row of the table\n", list(answers))
        take_in(self._store)
        return made


@pytest.fixture
def files(rest: Rest, store: Store) -> Files:
    return Files(rest, store)


def told(name: str, text: str = "90", unit: str = "mg/L", **fields: Any) -> Answer:
    return Answer(
        "total_so2", text, unit, sample=name, **{"sequence": "L-1", "instrument_time": DAY, **fields}
    )


def test_a_row_becomes_a_number_of_theirs_at_their_own_day_and_none_of_ours(rest: Rest, files: Files) -> None:
    rest.post("/aliases", {"code": "A1", "fields": {"source": "ext-1", "name": "PN 1, free run", "lot": LOT}})
    files.come(told("PN 1, free run"))
    (one,) = rest.get("/outside-results")["items"]
    assert (one["source"], one["name"], one["lot"], one["known"]) == ("ext-1", "PN 1, free run", LOT, True)
    assert (one["value"], one["unit"], one["at"][:10], one["method"]) == (90.0, "mg/L", DAY, "L-1")
    assert rest.get("/results")["items"] == []


def test_a_name_that_is_a_sample_of_ours_ties_nothing_without_an_alias(rest: Rest, files: Files) -> None:
    (reading,) = files.come(told(FIRST))
    assert rest.get(f"/readings/{reading}/ties")["items"] == []
    assert rest.get("/results")["items"] == []
    assert rest.get("/outside-results")["items"][0]["known"] is False


def test_a_name_that_nobody_explained_waits_and_is_told_until_an_alias_says(rest: Rest, files: Files) -> None:
    files.come(told("tank by the door"), told("the other tank"))
    due = [one for one in rest.get("/due")["items"] if one["code"] == "outside.unknown"]
    assert [one["evidence"] for one in due] == ["ext-1: tank by the door, the other tank"]
    assert not [one for one in rest.get("/due")["items"] if one["code"] == "reading.untied"]
    for code, name in (("A1", "tank by the door"), ("A2", "the other tank")):
        rest.post("/aliases", {"code": code, "fields": {"source": "ext-1", "name": name, "lot": LOT}})
    assert not [one for one in rest.get("/due")["items"] if one["code"] == "outside.unknown"]
    assert {one["lot"] for one in rest.get("/outside-results")["items"]} == {LOT}


def test_the_same_number_in_two_files_is_one_and_a_corrected_one_is_another(rest: Rest, files: Files) -> None:
    for text in ("90", "90", "91"):
        files.come(told("PN 1", text))
    assert [one["value"] for one in rest.get("/outside-results")["items"]] == [90.0, 91.0]


def test_a_bound_and_a_blank_are_no_numbers_and_are_kept(rest: Rest, files: Files) -> None:
    files.come(
        told("PN 1", "<0.10", outcome="below_range", bound="0.10"), told("PN 1", "n.d.", outcome="no_value")
    )
    items = rest.get("/outside-results")["items"]
    assert [(one["outcome"], one["value"], one["figure"]) for one in items] == [
        ("below_range", None, "0.10"),
        ("no_value", None, None),
    ]


def test_a_unit_that_does_not_fit_is_told_and_the_reading_stays(rest: Rest, files: Files) -> None:
    (reading,) = files.come(told("PN 1", unit="pH"))
    assert rest.get("/outside-results")["items"] == []
    assert rest.get(f"/readings/{reading}")["reading"]["value_text"] == "90"
    assert [one for one in rest.get("/ledger")["items"] if one["action"] == "fault.found"]


def test_a_row_without_a_name_and_a_day_to_come_is_kept_as_it_was_heard(rest: Rest, files: Files) -> None:
    files.come(told("", sequence="L-7", instrument_time="2031-01-01"))
    (one,) = rest.get("/outside-results")["items"]
    assert (one["name"], one["known"]) == ("without a name, L-7", False)
    assert one["at"][:10] == "2025-10-03"
