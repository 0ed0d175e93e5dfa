"""Stored captures poured over REST: previewed, applied by a named person for a reason, listed, taken back."""

from typing import Any

import httpx
import pytest

from storage.store import Store
from tests.fakes.heard_captures import hear, so2_rows, view

Client = httpx.AsyncClient
POURS = "/api/v1/pours"
WRONG, RIGHT = so2_rows(unit="g/L"), so2_rows()
WHO = {"Tundish-Actor": "MAL"}


@pytest.fixture
async def heard(store: Store) -> None:
    """A capture of three rows, read in the wrong unit."""
    await hear(store, WRONG, [b"W-1;28.50;20.1\nW-2;31.00;20.2\n", b"W-3;11.25;20.3\n"])


def _wanted(**more: Any) -> dict[str, Any]:
    return {"definition": RIGHT.identity.definition, "line": "so2", **more}


@pytest.mark.usefixtures("heard")
async def test_a_preview_says_what_would_change_and_writes_nothing(client: Client, store: Store) -> None:
    before = view(store)
    body = (await client.post(f"{POURS}/preview", json=_wanted(), headers=WHO)).json()
    assert (body["ledger_number"], body["looked_at"], body["complete"]) == (None, 1, True)
    (capture,) = body["captures"]
    assert (capture["line"], capture["changed"], capture["added"], capture["withdrawn"]) == ("so2", 3, 0, 0)
    first = body["changes"][0]
    assert (first["kind"], first["before"]["unit"], first["after"]["unit"]) == ("changed", "g/L", "mg/L")
    assert view(store) == before
    assert (await client.get(POURS)).json()["items"] == []


@pytest.mark.usefixtures("heard")
async def test_applied_it_is_one_act_with_its_actor_and_reason_and_twice_it_is_nothing(
    client: Client, store: Store
) -> None:
    wanted = _wanted(reason="the unit was wrong")
    done = (await client.post(POURS, json=wanted, headers=WHO)).json()
    again = (await client.post(POURS, json=wanted, headers=WHO)).json()
    assert (again["ledger_number"], again["captures"]) == (None, [])
    (told,) = (await client.get(POURS)).json()["items"]
    assert told["ledger_number"] == done["ledger_number"]
    assert (told["actor"], told["reason"], told["changed"], told["captures"]) == (
        "MAL",
        "the unit was wrong",
        3,
        1,
    )
    assert {row["unit"] for row in view(store)} == {"mg/L", "°C"}


@pytest.mark.usefixtures("heard")
async def test_the_driver_of_before_brings_back_what_stood(client: Client, store: Store) -> None:
    before = view(store)
    (first, *_) = (await client.get("/api/v1/readings")).json()["items"]
    await client.post(POURS, json=_wanted(reason="the unit was wrong"), headers=WHO)
    old = {"driver_id": _driver_of(store, first["reading_id"]), "line": "so2", "reason": "it was right"}
    done = (await client.post(POURS, json=old, headers=WHO)).json()
    assert done["captures"][0]["changed"] == 3
    assert view(store) == before
    (thread,) = [(await client.get(f"/api/v1/readings/{first['reading_id']}")).json()]
    assert [one["version"] for one in thread["versions"]] == [1, 2, 3]


def _driver_of(store: Store, reading_id: int) -> int:
    from storage.queries import reading_versions

    with store.reader() as connection:
        return reading_versions(connection, reading_id)[0].driver_number


@pytest.mark.usefixtures("heard")
async def test_who_has_seen_a_reading_learns_that_it_was_taken_back(client: Client) -> None:
    head = (await client.get("/api/v1/readings")).json()["head"]
    narrow = so2_rows(columns=2).identity.definition
    await client.post(POURS, json=_wanted(definition=narrow, reason="no such column"), headers=WHO)
    assert (await client.get("/api/v1/readings")).json()["items"] == []
    seen = (await client.get("/api/v1/readings", params={"since": head})).json()["items"]
    assert {(one["outcome"], one["value"], one["reason"]) for one in seen} == {
        ("withdrawn", None, "a corrected driver does not find this reading in its frame")
    }
    sheet = (await client.get("/sheets/readings.csv")).text
    assert sheet.count("\r\n") == 1


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"line": "so2"}, 422, "name the driver once"),
        ({"driver": "a", "driver_id": 1, "line": "so2"}, 422, "name the driver once"),
        ({"driver": "so2-burette"}, 422, "say which captures"),
        ({"driver": "no-such", "line": "so2", "reason": "x"}, 422, "no driver is called 'no-such'"),
        ({"driver": "/etc/passwd.toml", "line": "so2", "reason": "x"}, 422, "no driver is called"),
        ({"definition": "name = 1", "line": "so2", "reason": "x"}, 422, "definition"),
        ({"driver_id": 99, "line": "so2", "reason": "x"}, 422, "the store knows no driver 99"),
        ({"driver": "so2-burette", "line": "so2"}, 422, "why readings change"),
        ({"driver": "so2-burette", "line": "so2", "reason": "  "}, 422, "why readings change"),
    ],
)
async def test_what_cannot_be_poured_is_refused_with_what_was_wanted(
    client: Client, body: dict[str, Any], status: int, words: str
) -> None:
    answer = await client.post(POURS, json=body, headers=WHO)
    assert answer.status_code == status
    assert words in answer.text


async def test_nobody_pours_without_a_name(client: Client) -> None:
    assert (await client.post(POURS, json=_wanted(reason="x"))).status_code == 422
