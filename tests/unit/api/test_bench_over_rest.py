"""A morning at the bench over REST alone: records, tray, checks, results, holds, and what is refused."""

import csv
import io
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from api.app import close_app
from bench.rules import RULES
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.unit.bench.acts import take_in

BASE = "http://127.0.0.1:8710/api/v1"
BURETTE = "burette-1"


class Bench:
    """Somebody at the bench with a client."""

    def __init__(self, client: httpx.AsyncClient) -> None:
        self.client = client

    async def get(self, path: str, **params: Any) -> Any:
        answer = await self.client.get(BASE + path, params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()

    async def send(
        self, method: str, path: str, body: Any, who: str = "MAL", **headers: str
    ) -> httpx.Response:
        return await self.client.request(
            method, BASE + path, json=body, headers={"Tundish-Actor": who, **headers}
        )

    async def post(self, path: str, body: Any, who: str = "MAL") -> Any:
        answer = await self.send("POST", path, body, who)
        assert answer.status_code < 300, answer.text
        return answer.json()

    async def refused(self, path: str, body: Any, who: str = "MAL") -> tuple[int, str]:
        answer = await self.send("POST", path, body, who)
        assert answer.status_code >= 400, answer.text
        problem = answer.json()
        assert problem["rule"] in RULES
        return answer.status_code, problem["rule"]


@pytest.fixture
async def bench(store: Store) -> AsyncIterator[Bench]:
    app: FastAPI = app_on(still_services(store))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=BASE) as client:
        yield Bench(client)
    close_app(app)


async def set_up(bench: Bench) -> None:
    """Enter a lot, two samples, a titrant, a check wine with its limits, and a method."""
    await bench.post("/lots", {"code": "25-RI-01", "fields": {"name": "Riesling", "wine_class": "white"}})
    for code in ("CK4H7M", "DM6R3X"):
        await bench.post("/samples", {"code": code, "fields": {"lot": "25-RI-01"}})
    titrant = {"name": "NaOH", "reagent_kind": "titrant", "nominal_mol_per_l": 0.1}
    await bench.post("/reagents", {"code": "N-0925", "fields": titrant})
    await bench.post(
        "/reagents", {"code": "HC1", "fields": {"name": "check wine", "reagent_kind": "control_material"}}
    )
    limits = {
        "material": "HC1",
        "quantity": "ta_ph_8_2",
        "centre": 6.35,
        "sd": 0.05,
        "centre_origin": "assigned",
        "sd_origin": "given",
    }
    await bench.post("/limit-sets", {"code": "HC1-TA", "fields": limits})
    method = {
        "name": "TA to pH 8.2",
        "quantity": "ta_ph_8_2",
        "formula": "ta_ph_8_2",
        "reading_quantity": "dispensed_volume",
        "aliquot_ml": 10,
        "titrant": "N-0925",
        "checks": ["HC1"],
    }
    await bench.post("/methods", {"code": "ta", "fields": method})
    strengths = [0.1002, 0.1002, 0.1002]
    factor = {"titrant": "N-0925", "strengths_mol_per_l": strengths, "again_mol_per_l": strengths}
    await bench.post("/standardisations", {**factor, "at": "2025-10-03T11:00:00Z"})


async def check(bench: Bench, given: float, at: str) -> None:
    body = {"instrument": BURETTE, "material": "HC1", "method": "ta", "given": given, "at": at}
    await bench.post("/checks", body)


async def test_a_morning_from_tray_to_released_result_and_a_hold(bench: Bench, store: Store) -> None:
    await set_up(bench)
    await check(bench, 8.44, "2025-10-03T11:30:00Z")
    (item,) = (
        await bench.post(
            f"/trays/{BURETTE}/items", {"items": [{"kind": "sample", "sample": "CK4H7M", "tests": ["ta"]}]}
        )
    )["items"]
    await bench.post(f"/trays/{BURETTE}/on", {"item": item, "set_by": "scan"})
    filler = Filler(store, at_us=NOON_US + 301_000_000)
    burette = filler.open("burette", BURETTE)
    filler.hear(burette, b"8.40", [Answer("dispensed_volume", "8.40", "mL")])
    take_in(store)
    (result,) = (await bench.get("/results", lot="25-RI-01"))["items"]
    # 8.40 mL x 0.1002 mol/L x 150.087 g/mol / 2 / 10 mL
    assert result["value"] == pytest.approx(8.40 * 0.1002 * 150.087 / 20, rel=1e-5)
    assert (result["rounded"], result["standing"], result["released"]) == ("6.32", "good", True)
    tray = await bench.get(f"/trays/{BURETTE}")
    assert (tray["on"]["sample"], tray["items"][0]["state"]) == ("CK4H7M", "measured")
    stood_on = (await bench.get(f"/results/{result['id']}/history"))["stood_on"]
    assert {"reading", "method", "titrant", "factor"} == {part["role"] for part in stood_on}


async def test_a_failed_check_opens_a_hold_that_a_person_settles(bench: Bench) -> None:
    await set_up(bench)
    await check(bench, 8.44, "2025-10-03T11:30:00Z")
    await bench.post(
        "/results",
        {
            "method": "ta",
            "sample": "CK4H7M",
            "value": 8.4,
            "again": 8.4,
            "at": "2025-10-03T11:40:00Z",
            "instrument": BURETTE,
        },
    )
    await check(bench, 9.0, "2025-10-03T11:50:00Z")
    (hold,) = (await bench.get("/holds", unsettled=True))["items"]
    (result,) = (await bench.get("/results"))["items"]
    assert hold["results"] == [result["id"]]
    assert (result["standing"], result["released"]) == ("do_not_use", False)
    assert result["reasons"][0]["advice"]
    assert await bench.refused(f"/holds/{hold['number']}/settle", {"way": "accepted"}) == (
        422,
        "act.reason_wanted",
    )
    await bench.post(
        f"/holds/{hold['number']}/settle", {"way": "accepted", "reason": "bottle was old"}, "YAR"
    )
    (result,) = (await bench.get("/results"))["items"]
    assert [reason["code"] for reason in result["reasons"]] == ["hold.accepted"]


async def test_the_same_request_sent_twice_acts_once(bench: Bench) -> None:
    body = {"code": "25-RI-01", "fields": {"name": "Riesling"}}
    key = {"Idempotency-Key": "7f9c2e51-aa"}
    first = await bench.send("POST", "/lots", body, **key)
    again = await bench.send("POST", "/lots", body, **key)
    assert (first.status_code, again.status_code, again.json()) == (201, 201, first.json())
    assert len((await bench.get("/lots"))["items"]) == 1
    other = await bench.send("POST", "/lots", {**body, "code": "25-RI-02"}, **key)
    assert (other.status_code, other.json()["rule"]) == (409, "request.key_used")


async def test_a_sample_without_a_code_gets_one(bench: Bench) -> None:
    made = [await bench.post("/samples", {"fields": {}}) for _ in range(3)]
    assert len({one["code"] for one in made}) == 3


async def test_a_change_from_an_old_version_is_refused(bench: Bench) -> None:
    await bench.post("/lots", {"code": "25-RI-01", "fields": {"name": "Riesling"}})
    changed = await bench.send(
        "PUT", "/lots/25-RI-01", {"version": 1, "fields": {"name": "dry"}, "reason": "AF over"}
    )
    assert changed.json()["version"] == 2
    stale = await bench.send("PUT", "/lots/25-RI-01", {"version": 1, "fields": {"name": "sweet"}})
    assert (stale.status_code, stale.json()["rule"]) == (409, "record.changed_meanwhile")
    history = (await bench.get("/lots/25-RI-01/history"))["items"]
    assert [(one["fields"]["name"], one["actor"], one["reason"]) for one in history] == [
        ("Riesling", "MAL", None),
        ("dry", "MAL", "AF over"),
    ]


@pytest.mark.parametrize(
    ("path", "body", "status", "rule"),
    [
        ("/samples", {"code": "W1", "fields": {"lot": "nowhere"}}, 404, "record.unknown"),
        ("/ties", {"readings": [999], "sample": "W1"}, 404, "record.unknown"),
        ("/ties", {"readings": [999]}, 422, "act.reason_wanted"),
        ("/trays/b/items", {"items": [{"kind": "sample"}]}, 422, "tray.item_malformed"),
        ("/trays/b/on", {"item": 5}, 404, "tray.item_unknown"),
        ("/holds/5/settle", {"way": "accepted", "reason": "a"}, 404, "hold.unknown"),
        ("/releases", {"results": [5]}, 404, "result.unknown"),
        (
            "/mass-checks",
            {"instrument": "bal-1", "known_g": 100, "found_g": 100, "at": "2031-01-01T00:00:00Z"},
            422,
            "control.future",
        ),
    ],
)
async def test_what_a_rule_forbids_is_a_problem_with_the_rule_s_code(
    bench: Bench, path: str, body: Any, status: int, rule: str
) -> None:
    assert await bench.refused(path, body) == (status, rule)


async def test_typed_factors_are_given_twice(bench: Bench) -> None:
    await bench.post(
        "/reagents",
        {"code": "N", "fields": {"name": "a", "reagent_kind": "titrant", "nominal_mol_per_l": 0.1}},
    )
    body = {"titrant": "N", "strengths_mol_per_l": [0.1, 0.1, 0.1], "again_mol_per_l": [0.1, 0.1, 0.2]}
    assert await bench.refused("/standardisations", body) == (422, "hand.not_twice")


async def test_an_unknown_sample_is_a_problem_on_reading_too(bench: Bench, store: Store) -> None:
    answer = await bench.send("GET", "/results?sample=nobody", None)
    assert (answer.status_code, answer.json()["rule"]) == (404, "record.unknown")


async def sheet(client: httpx.AsyncClient, **params: Any) -> list[dict[str, str]]:
    answer = await client.get("http://127.0.0.1:8710/sheets/results.csv", params=params)
    assert answer.status_code == 200, answer.text
    separator = ";" if params.get("dialect") == "sheet-eu" else ","
    return list(csv.DictReader(io.StringIO(answer.text, newline=""), delimiter=separator))


async def test_the_sheet_shows_released_results_and_the_others_on_request(bench: Bench, store: Store) -> None:
    await set_up(bench)
    typed = {"method": "ta", "sample": "CK4H7M", "value": 8.4, "again": 8.4, "instrument": BURETTE}
    await bench.post("/results", {**typed, "at": "2025-10-03T11:20:00Z"})
    await check(bench, 8.44, "2025-10-03T11:30:00Z")
    await bench.post("/results", {**typed, "sample": "DM6R3X", "at": "2025-10-03T11:40:00Z"})
    (row,) = await sheet(bench.client)
    assert (row["sample"], row["lot"], row["standing"], row["released"]) == (
        "DM6R3X",
        "25-RI-01",
        "good",
        "1",
    )
    (result,) = (await bench.get("/results", sample="DM6R3X"))["items"]
    assert float(row["value"]) == result["value"]
    every = await sheet(bench.client, all="true")
    assert [one["standing"] for one in every] == ["provisional", "good"]
    assert await sheet(bench.client, all="true", sample="CK4H7M") == every[:1]
    (comma,) = await sheet(bench.client, dialect="sheet-eu")
    assert comma["value"] == row["value"].replace(".", ",")


async def test_the_sheet_is_byte_equal_until_a_result_changes(bench: Bench, store: Store) -> None:
    await set_up(bench)
    address = "http://127.0.0.1:8710/sheets/results.csv?all=true"
    first, again = await bench.client.get(address), await bench.client.get(address)
    assert (first.content, first.headers["etag"]) == (again.content, again.headers["etag"])
    same = await bench.client.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert same.status_code == 304
    await bench.post("/results", {"method": "ta", "sample": "CK4H7M", "value": 8.4, "again": 8.4})
    assert (await bench.client.get(address)).headers["etag"] != first.headers["etag"]


async def weakened(bench: Bench) -> list[Any]:
    """Enter three results, two of them after the hydroxide began to weaken, and return what is shown."""
    await set_up(bench)
    await check(bench, 8.44, "2025-10-03T11:05:00Z")
    for minute, sample in ((10, "CK4H7M"), (30, "DM6R3X"), (50, "CK4H7M")):
        typed = {"method": "ta", "sample": sample, "value": 8.4, "again": 8.4, "instrument": BURETTE}
        await bench.post("/results", {**typed, "at": f"2025-10-03T11:{minute}:00Z"})
    found: list[Any] = (await bench.get("/results"))["items"]
    return found


WEAK = {
    "begin": "2025-10-03T11:20:00Z",
    "end": "2025-10-03T12:00:00Z",
    "titrant": "N-0925",
    "factors": [
        {"at": "2025-10-03T11:00:00Z", "factor": 1.002},
        {"at": "2025-10-03T12:00:00Z", "factor": 0.982},
    ],
    "course": "line",
}


async def test_a_weak_titrant_is_supposed_applied_and_taken_back(bench: Bench) -> None:
    before = await weakened(bench)
    items = (await bench.post("/what-if", WEAK))["items"]
    assert [one["result"] for one in items] == [one["id"] for one in before[1:]]
    # On the line from 1.002 to 0.982 over an hour: 0.992 after 30 min and 0.98533 after 50 min.
    for one, factor in zip(items, (0.992, 1.002 - 0.02 * 50 / 60), strict=True):
        assert one["new"] == pytest.approx(8.4 * 0.1 * factor * 150.087 / 20, rel=1e-5)
    assert (await bench.get("/results"))["items"] == before
    assert await bench.refused("/amendments", WEAK) == (422, "act.reason_wanted")
    made = await bench.post("/amendments", {**WEAK, "reason": "the guard tube was left off"}, "YAR")
    assert (made["state"], made["results"]) == ("in_force", [one["id"] for one in before[1:]])
    after = (await bench.get("/results"))["items"]
    assert after[0] == before[0]
    assert [one["value"] for one in after[1:]] == [one["new"] for one in items]
    assert {one["amendment"] for one in after[1:]} == {made["id"]}
    rows = await sheet(bench.client)
    assert [float(row["value"]) for row in rows] == [one["value"] for one in after if one["released"]]
    await bench.post(f"/amendments/{made['id']}/undo", {"reason": "the tube was on"}, "YAR")
    again = (await bench.get("/results"))["items"]
    changing = ("revision", "amendment")
    assert [{k: v for k, v in one.items() if k not in changing} for one in again] == [
        {k: v for k, v in one.items() if k not in changing} for one in before
    ]
    history = (await bench.get(f"/results/{before[1]['id']}/history"))["items"]
    assert [(one["what"], one["actor"], one["reason"]) for one in history if "amendment" in one["what"]] == [
        ("amendment.in_force", "YAR", "the guard tube was left off"),
        ("amendment.undone", "YAR", "the tube was on"),
    ]


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"titrant": None}, "amendment.nothing_supposed"),
        ({"end": "2025-10-03T11:00:00Z"}, "amendment.window"),
        ({"factors": [{"at": "2025-10-03T11:45:00Z", "factor": 0.98}]}, "amendment.cannot_be_computed"),
    ],
)
async def test_a_supposition_that_is_none_is_refused(bench: Bench, change: Any, rule: str) -> None:
    await weakened(bench)
    assert await bench.refused("/what-if", {**WEAK, **change}) == (422, rule)


async def test_a_supposition_that_changes_nothing_is_not_applied(bench: Bench) -> None:
    await weakened(bench)
    empty = {**WEAK, "begin": "2025-10-03T11:55:00Z", "reason": "a try"}
    assert await bench.refused("/amendments", empty) == (409, "amendment.changes_nothing")
