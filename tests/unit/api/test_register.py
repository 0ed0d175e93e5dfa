"""Recall lists, the equipment register, and what a result's uncertainty is made of."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.rest import Rest, check, enter_acidity, rest_on, typed
from tests.fakes.wine_over_rest import enter_wine, measure

NINE, TEN = "2025-10-03T09:00:00Z", "2025-10-03T10:00:00Z"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def recalled(rest: Rest, code: str, **window: str) -> dict[int, list[str]]:
    found = rest.get(f"/reagents/{code}/recall", **window)
    return {one["result"]["id"]: one["ways"] for one in found["items"]}


def test_a_titrant_recalls_its_results_and_what_was_worked_out_from_them(rest: Rest) -> None:
    enter_wine(rest)
    ph = measure(rest, "ph", 3.4, NINE)
    free = measure(rest, "free", 2.5, NINE)
    molecular = rest.get("/results", quantity="molecular_so2")["items"][0]["id"]
    found = recalled(rest, "I-0925")
    assert set(found) == {free, molecular}
    assert "titrant" in found[free]
    assert any(way.startswith("standardisation") for way in found[free])
    assert found[molecular] == ["worked out from one of these"]
    assert ph not in found


def test_a_stretch_of_time_confines_a_recall(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "total", 2.5, NINE)
    later = measure(rest, "total", 2.6, TEN)
    assert set(recalled(rest, "I-0925", **{"from": TEN})) == {later}
    assert recalled(rest, "I-0925", to=NINE) == {}


def test_a_check_standard_recalls_what_its_method_measured(rest: Rest) -> None:
    enter_acidity(rest)
    number = check(rest, 8.44, NINE)
    result = typed(rest, 8.4, TEN)
    found = rest.get("/reagents/HC1/recall")
    assert number in found["control_records"]
    assert recalled(rest, "HC1") == {result: ["check of its method"]}


def test_a_buffer_recalls_what_the_electrode_measured_until_the_next_calibration(rest: Rest) -> None:
    enter_wine(rest)
    for code in ("B4", "B7", "B9"):
        rest.record("reagents", code, name=code, reagent_kind="buffer")

    def calibrate(at: str, *buffers: tuple[str, float, float]) -> None:
        points = [
            {"buffer": code, "ph": ph, "mv": mv, "temperature_c": 25, "edition": "certificate"}
            for code, ph, mv in buffers
        ]
        rest.post("/calibrations", {"instrument": "ph-1", "points": points, "at": at})

    def by_meter(value: float, at: str) -> int:
        body = {"method": "ph", "sample": "CK4H7M", "value": value, "again": value}
        return int(rest.post("/results", {**body, "instrument": "ph-1", "at": at})["id"])

    calibrate("2025-10-03T08:00:00Z", ("B4", 4.0, 177.5), ("B7", 7.0, 0.0))
    with_it = by_meter(3.4, NINE)
    calibrate("2025-10-03T09:30:00Z", ("B7", 7.0, 0.0), ("B9", 9.2, -130.1))
    without_it = by_meter(3.5, TEN)
    assert set(recalled(rest, "B4")) == {with_it}
    assert set(recalled(rest, "B7")) == {with_it, without_it}


def test_a_reagent_recalls_only_by_versions_of_methods_that_name_it(rest: Rest) -> None:
    for code in ("ACID-1", "ACID-2"):
        rest.record("reagents", code, name="acid", reagent_kind="reagent")
    rest.record("lots", "L", name="L")
    rest.record("samples", "S", lot="L")
    fields = {"name": "VA", "quantity": "va"}
    rest.record("methods", "va", **fields, reagents=["ACID-1"])
    body = {"method": "va", "sample": "S", "value": 0.4, "again": 0.4}
    first = rest.post("/results", {**body, "at": NINE})["id"]
    changed = {**fields, "reagents": ["ACID-2"]}
    rest.put("/methods/va", {"version": 1, "fields": changed, "valid_from": "2025-10-03T09:30:00Z"})
    second = rest.post("/results", {**body, "at": TEN})["id"]
    assert recalled(rest, "ACID-1") == {first: ["reagent of its method"]}
    assert recalled(rest, "ACID-2") == {second: ["reagent of its method"]}


def test_nothing_stood_on_a_bottle_that_was_never_used(rest: Rest) -> None:
    rest.record("reagents", "NEW", name="new", reagent_kind="titrant")
    assert rest.get("/reagents/NEW/recall") == {"reagent": "NEW", "control_records": [], "items": []}
    assert rest.request("GET", "/api/v1/reagents/none/recall").json()["rule"] == "record.unknown"


def test_services_and_changed_parts_make_the_register_of_an_instrument(rest: Rest) -> None:
    rest.record("equipment", "ph-1", name="pH meter", parts={"electrode": "E-17"})
    path = "/equipment/ph-1/services"
    cleaned = {"what": "cleaned the diaphragm", "at": NINE, "reason": "slope 94 %"}
    assert rest.post(path, cleaned, "YAR")["version"] == 2
    changed = {"parts": {"electrode": "E-18", "cable": "C-2"}, "next_due": "2026-04-01T00:00:00Z", "at": TEN}
    rest.post(path, changed, "YAR")
    first, second, third = rest.get(path)["items"]
    assert first["parts"] == [{"part": "electrode", "before": None, "after": "E-17"}]
    assert (second["what"], second["parts"], second["actor"], second["reason"]) == (
        "cleaned the diaphragm",
        [],
        "YAR",
        "slope 94 %",
    )
    assert third["parts"] == [
        {"part": "cable", "before": None, "after": "C-2"},
        {"part": "electrode", "before": "E-17", "after": "E-18"},
    ]
    assert third["next_due"].startswith("2026-04-01")
    rest.post(path, {"parts": {"cable": ""}})
    assert rest.get("/equipment/ph-1")["fields"]["parts"] == {"electrode": "E-18"}


@pytest.mark.parametrize(
    ("path", "body", "status", "rule"),
    [
        ("/equipment/none/services", {"what": "cleaned"}, 404, "record.unknown"),
        ("/equipment/ph-1/services", {}, 422, "equipment.nothing_done"),
        ("/equipment/ph-1/services", {"what": "x", "at": "2025-10-04T00:00:00Z"}, 422, "act.future"),
    ],
)
def test_a_service_that_cannot_have_been_is_refused(
    rest: Rest, path: str, body: dict[str, Any], status: int, rule: str
) -> None:
    rest.record("equipment", "ph-1", name="pH meter")
    assert rest.refused(path, body) == (status, rule)
    assert rest.get("/equipment/ph-1")["version"] == 1


def test_a_budget_says_what_each_input_adds(rest: Rest) -> None:
    enter_acidity(rest, uncertainty_budget={"titre_ml": 0.02, "sample_ml": 0.02, "titrant_factor": 0.001})
    found = rest.get(f"/results/{typed(rest, 8.0, '2025-10-03T11:30:00Z')}/budget")
    # relative: 0.02 / 8, 0.02 / 10, 0.001 / 1.002, added as squares (product of powers of one)
    relative = ((0.02 / 8) ** 2 + (0.02 / 10) ** 2 + (0.001 / 1.002) ** 2) ** 0.5
    assert found["uncertainty"] == pytest.approx(found["value"] * relative, rel=1e-5)
    assert found["expanded"] == pytest.approx(2 * found["uncertainty"])
    shares = {one["input"]: one["share"] for one in found["items"]}
    assert shares["titre_ml"] == pytest.approx((0.02 / 8) ** 2 / relative**2, rel=1e-4)
    assert sum(shares.values()) == pytest.approx(1)


def test_a_derived_result_has_the_uncertainty_of_its_parts(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.4, NINE)
    measure(rest, "free", 2.5, NINE)
    molecular = rest.get("/results", quantity="molecular_so2")["items"][0]
    found = rest.get(f"/results/{molecular['id']}/budget")
    assert {one["input"] for one in found["items"]} == {"free_mg_per_l", "ph"}
    assert found["uncertainty"] == pytest.approx(molecular["uncertainty"], rel=1e-9)


@pytest.mark.parametrize(("fields", "by"), [({"relative_uncertainty": 0.02}, "relative"), ({}, "none")])
def test_without_a_budget_the_method_s_own_figure_stands(rest: Rest, fields: dict[str, Any], by: str) -> None:
    enter_acidity(rest, **fields)
    found = rest.get(f"/results/{typed(rest, 8.0, TEN)}/budget")
    assert (found["by"], found["items"], found["uncertainty"] is None) == (by, [], by == "none")


def test_what_has_no_value_has_no_budget(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 2.5, NINE)
    missing = rest.get("/results", quantity="molecular_so2")["items"][0]["id"]
    for number, status, rule in ((missing, 409, "result.no_value"), (99_999, 404, "result.unknown")):
        answer = rest.request("GET", f"/api/v1/results/{number}/budget")
        assert (answer.status_code, answer.json()["rule"]) == (status, rule)


def test_values_are_told_by_the_reporting_limit_and_decimals_of_their_method(rest: Rest) -> None:
    rest.record("lots", "L", name="L")
    rest.record("samples", "S", lot="L")
    rest.record("methods", "malic", name="malic", quantity="malic_acid", reporting_limit=0.05, decimals=1)
    body = {"method": "malic", "sample": "S", "at": TEN}
    for value in (0.04, 1.25, 1.349):
        rest.post("/results", {**body, "value": value, "again": value})
    assert [one["rounded"] for one in rest.get("/results")["items"]] == ["<0.05", "1.2", "1.3"]
