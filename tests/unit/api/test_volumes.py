"""How much wine a lot and a vessel hold: the entered volume, and what movements did to it since."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, rest_on

LOT, OTHER, BLEND = "25-RI-01", "25-CH-01", "25-BL-01"
ENTERED = "2025-10-02T12:00:00Z"
LATER = "2025-10-03T08:00:00Z"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        rest.record("lots", LOT, name="Riesling", volume_l=4600.0)
        for code in (OTHER, BLEND):
            rest.record("lots", code, name=code)
        for code in ("T1", "T2"):
            rest.record("vessels", code, vessel_kind="tank", capacity_l=5000)
        yield rest


def move(rest: Rest, kind: str, to_lot: str, *parts: dict[str, Any], at: str = LATER, **fields: Any) -> int:
    body = {"kind": kind, "at": at, "to_lot": to_lot, "parts": parts, **fields}
    made: int = rest.post("/movements", body)["id"]
    return made


def test_a_volume_says_who_entered_it_and_how_old_it_is(rest: Rest) -> None:
    found = rest.get(f"/lots/{LOT}/volume")
    assert (found["entered_l"], found["expected_l"], found["movements"]) == (4600.0, 4600.0, [])
    assert found["words"] == "4600 L entered by MAL, 1.0 d old"


def test_what_was_taken_since_is_less_and_what_was_brought_is_more(rest: Rest) -> None:
    out = move(rest, "blend", BLEND, {"lot": LOT, "volume_l": 600.0}, {"lot": OTHER, "volume_l": 100.0})
    back = move(rest, "top", LOT, {"lot": OTHER, "volume_l": 20.0})
    found = rest.get(f"/lots/{LOT}/volume")
    assert (found["in_l"], found["out_l"], found["expected_l"]) == (20.0, 600.0, 4020.0)
    assert found["movements"] == [out, back]
    assert found["words"].endswith("since then 20 L in and 600 L out by 2 movements")
    assert (
        rest.get(f"/lots/{BLEND}/volume")["words"]
        == "by movements alone: 700 L in and 0 L out by one movement"
    )


def test_what_was_moved_before_the_entry_is_in_it_already(rest: Rest) -> None:
    move(rest, "rack", LOT, {"lot": OTHER, "volume_l": 900.0}, at="2025-10-01T08:00:00Z")
    assert rest.get(f"/lots/{LOT}/volume")["expected_l"] == 4600.0


def test_a_new_entry_ends_what_movements_said(rest: Rest) -> None:
    move(rest, "loss", LOT, {"lot": LOT, "volume_l": 50.0})
    assert rest.get(f"/lots/{LOT}/volume")["expected_l"] == 4550.0
    fields = rest.get(f"/lots/{LOT}")["fields"] | {"volume_l": 4540.0}
    rest.put(f"/lots/{LOT}", {"fields": fields, "version": 1, "valid_from": "2025-10-03T10:00:00Z"})
    assert rest.get(f"/lots/{LOT}/volume")["expected_l"] == 4540.0


def test_another_change_of_the_record_makes_its_volume_no_younger(rest: Rest) -> None:
    move(rest, "loss", LOT, {"lot": LOT, "volume_l": 50.0})
    fields = rest.get(f"/lots/{LOT}")["fields"] | {"note": "smells of pear"}
    rest.put(f"/lots/{LOT}", {"fields": fields, "version": 1, "valid_from": "2025-10-03T10:00:00Z"})
    found = rest.get(f"/lots/{LOT}/volume")
    assert (found["entered_at"][:19] + "Z", found["expected_l"]) == (ENTERED, 4550.0)


@pytest.mark.parametrize(("kind", "expected"), [("rack", 4600.0), ("bottle", 3600.0), ("loss", 3600.0)])
def test_racked_within_itself_a_lot_keeps_its_volume_and_bottled_or_lost_it_does_not(
    rest: Rest, kind: str, expected: float
) -> None:
    move(rest, kind, LOT, {"lot": LOT, "vessel": "T1", "volume_l": 1000.0})
    assert rest.get(f"/lots/{LOT}/volume")["expected_l"] == expected


def test_a_lot_of_which_nothing_was_entered_has_no_volume(rest: Rest) -> None:
    found = rest.get(f"/lots/{OTHER}/volume")
    assert (found["expected_l"], found["words"]) == (None, "never entered")


def test_a_vessel_holds_what_movements_brought_less_what_they_took(rest: Rest) -> None:
    move(rest, "fill", LOT, {"volume_l": 4600.0}, to_vessel="T1", at=ENTERED)
    move(rest, "rack", LOT, {"lot": LOT, "vessel": "T1", "volume_l": 1600.0}, to_vessel="T2")
    first, second = (rest.get(f"/vessels/{code}/contents") for code in ("T1", "T2"))
    assert (first["expected_l"], second["expected_l"]) == (3000.0, 1600.0)
    assert first["lots"] == [{"lot": LOT, "volume_l": 3000.0}]
    assert first["remark"] == second["remark"] == ""


def test_a_vessel_says_when_a_movement_must_be_missing(rest: Rest) -> None:
    move(rest, "rack", LOT, {"lot": LOT, "vessel": "T1", "volume_l": 1600.0}, to_vessel="T2")
    assert "more was taken out" in rest.get("/vessels/T1/contents")["remark"]
    move(rest, "fill", OTHER, {"volume_l": 4000.0}, to_vessel="T2")
    assert "more than it holds, 5000 L" in rest.get("/vessels/T2/contents")["remark"]
