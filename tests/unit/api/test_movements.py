"""Where wine went: movements, lineage, and what a blend should measure beside what it does."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, enter_wine, measure

MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 20 * 1000
"""What a millilitre of iodine finds in 20 mL of sample. [mg/L per mL]"""
OTHER, BLEND, LAST = "25-ME-01", "25-BL-01", "25-BL-02"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_wine(rest)
        for code in (OTHER, BLEND, LAST):
            rest.record("lots", code, name=code)
            rest.record("samples", f"S-{code}", lot=code)
        for code in ("B101", "B102", "T03"):
            rest.record("vessels", code, vessel_kind="barrel", capacity_l=225)
        yield rest


def total(rest: Rest, mg_l: float, at: str, sample: str) -> int:
    return measure(rest, "total", mg_l / MG_PER_ML, at, sample)


def blend(rest: Rest, volumes: dict[str, float], into: str = BLEND, at: str = "2025-10-02T12:00:00Z") -> int:
    parts = [{"lot": lot, "volume_l": volume} for lot, volume in volumes.items()]
    made: int = rest.post("/movements", {"kind": "blend", "at": at, "to_lot": into, "parts": parts})["id"]
    return made


def test_a_blend_is_expected_by_volume_beside_what_was_measured(rest: Rest) -> None:
    total(rest, 90, "2025-10-01T08:00:00Z", FIRST)
    total(rest, 110, "2025-10-01T08:00:00Z", f"S-{OTHER}")
    made = blend(rest, {LOT: 1000.0, OTHER: 3000.0})
    measured = total(rest, 107, "2025-10-03T08:00:00Z", f"S-{BLEND}")
    (value,) = rest.get(f"/movements/{made}", quantity="total_so2")["values"]
    # (1000 x 90 + 3000 x 110) / 4000
    assert value["expected"] == pytest.approx(105, rel=1e-6)
    # relative 0.02 of each part: hypot(1000 x 1.8, 3000 x 2.2) / 4000
    assert value["expected_uncertainty"] == pytest.approx(1.7103, rel=1e-4)
    assert (value["measured_result"], value["unit"]) == (measured, "mg/L")
    assert value["difference"] == pytest.approx(2, rel=1e-6)


def test_a_part_counts_as_it_was_before_the_blend(rest: Rest) -> None:
    total(rest, 90, "2025-10-01T08:00:00Z", FIRST)
    made = blend(rest, {LOT: 1000.0})
    total(rest, 150, "2025-10-03T08:00:00Z", FIRST)
    (value,) = rest.get(f"/movements/{made}", quantity="total_so2")["values"]
    assert value["expected"] == pytest.approx(90, rel=1e-6)


def test_a_part_of_which_nothing_is_known_leaves_the_blend_without_an_expectation(rest: Rest) -> None:
    total(rest, 90, "2025-10-01T08:00:00Z", FIRST)
    made = blend(rest, {LOT: 1000.0, OTHER: 3000.0})
    (value,) = rest.get(f"/movements/{made}", quantity="total_so2")["values"]
    assert (value["expected"], value["wanting"], value["difference"]) == (None, [1], None)
    assert [one["quantity"] for one in rest.get(f"/movements/{made}")["values"]] == ["total_so2"]


def test_a_barrel_counts_with_its_own_sample(rest: Rest) -> None:
    for vessel, mg_l in (("B101", 80.0), ("B102", 100.0)):
        rest.record("samples", f"S-{vessel}", lot=LOT, vessel=vessel)
        total(rest, mg_l, "2025-10-01T08:00:00Z", f"S-{vessel}")
    parts = [{"lot": LOT, "vessel": vessel, "volume_l": 225} for vessel in ("B101", "B102")]
    body = {"kind": "rack", "to_lot": LOT, "to_vessel": "T03", "parts": parts, "at": "2025-10-02T12:00:00Z"}
    made = rest.post("/movements", body)["id"]
    (value,) = rest.get(f"/movements/{made}", quantity="total_so2")["values"]
    assert value["expected"] == pytest.approx(90, rel=1e-6)


def test_the_lineage_of_a_lot_goes_back_through_every_blend(rest: Rest) -> None:
    first = blend(rest, {LOT: 1000.0, OTHER: 500.0}, BLEND, "2025-10-01T12:00:00Z")
    second = blend(rest, {BLEND: 700.0}, LAST)
    found = rest.get(f"/lots/{LAST}/lineage")
    assert [(one["depth"], one["movement"]["number"]) for one in found["came_from"]] == [
        (1, second),
        (2, first),
    ]
    assert [one["number"] for one in rest.get(f"/lots/{LOT}/lineage")["went_into"]] == [first]
    assert found["came_from"][1]["movement"]["volume_l"] == 1500


def test_wine_that_went_to_and_fro_has_a_lineage_that_ends(rest: Rest) -> None:
    there = blend(rest, {LOT: 1000.0}, BLEND, "2025-10-01T12:00:00Z")
    back = blend(rest, {BLEND: 100.0}, LOT)
    numbers = [one["movement"]["number"] for one in rest.get(f"/lots/{LOT}/lineage")["came_from"]]
    assert numbers == [back, there]


def part(**fields: Any) -> dict[str, Any]:
    return {"volume_l": 100.0, **fields}


@pytest.mark.parametrize(
    ("body", "status", "rule"),
    [
        ({"to_lot": LOT, "parts": [part(lot=LOT)]}, 409, "movement.into_itself"),
        ({"to_lot": BLEND, "parts": [part(lot=LOT), part(lot=BLEND)]}, 409, "movement.into_itself"),
        (
            {"kind": "rack", "to_lot": LOT, "to_vessel": "T03", "parts": [part(lot=LOT, vessel="T03")]},
            409,
            "movement.into_itself",
        ),
        ({"to_lot": BLEND, "parts": [part(lot=LOT, volume_l=0)]}, 422, "movement.volume"),
        ({"to_lot": BLEND, "parts": [part(lot=LOT), part(lot=OTHER, volume_l=-5)]}, 422, "movement.volume"),
        ({"to_lot": BLEND, "parts": []}, 422, "movement.no_parts"),
        ({"to_lot": "nowhere", "parts": [part(lot=LOT)]}, 404, "record.unknown"),
        ({"to_lot": BLEND, "parts": [part(lot="nowhere")]}, 404, "record.unknown"),
        ({"to_lot": BLEND, "to_vessel": "T99", "parts": [part(lot=LOT)]}, 404, "record.unknown"),
        ({"to_lot": BLEND, "parts": [part(lot=LOT)], "at": "2025-10-04T00:00:00Z"}, 422, "act.future"),
    ],
)
def test_what_cannot_have_been_moved_is_refused_and_nothing_is_written(
    rest: Rest, body: dict[str, Any], status: int, rule: str
) -> None:
    before = rest.get("/results")["head"]
    assert rest.refused("/movements", {"kind": "blend", **body}) == (status, rule)
    assert rest.get("/movements")["items"] == []
    assert rest.get("/results")["head"] == before


def test_ph_does_not_mix_by_volume(rest: Rest) -> None:
    made = blend(rest, {LOT: 1000.0})
    answer = rest.request("GET", f"/api/v1/movements/{made}?quantity=ph")
    assert (answer.status_code, answer.json()["rule"]) == (422, "movement.not_by_volume")
    assert rest.request("GET", "/api/v1/movements/999").json()["rule"] == "movement.unknown"


def test_movements_come_in_pages(rest: Rest) -> None:
    made = [blend(rest, {LOT: 10.0 + one}) for one in range(3)]
    first = rest.get("/movements", limit=2)
    assert [one["number"] for one in first["items"]] == made[:2]
    assert [one["number"] for one in rest.get("/movements", after=first["next"])["items"]] == made[2:]
    assert [one["number"] for one in rest.get("/movements", lot=OTHER)["items"]] == []
    assert len(rest.get("/movements", lot=LOT, limit=2)["items"]) == 2
