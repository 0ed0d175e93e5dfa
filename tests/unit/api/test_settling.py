"""Streaming instruments over REST: what they show, what came to rest, and taking what stands there now."""

from typing import Any

import httpx
import pytest

from storage.store import Store
from tests.fakes.filled_store import SECOND_US, Answer, Filler
from tests.unit.bench.acts import make, take_in

Client = httpx.AsyncClient
WHO = {"Tundish-Actor": "MAL"}
METER = "/api/v1/instruments/meter-1"
RULE = {"span": 0.02, "window_s": 5.0, "longest_wait_s": 60.0, "longest_gap_s": 10.0}


@pytest.fixture
def meter(store: Store, filler: Filler) -> Filler:
    """A meter whose pH comes to rest, up to the present of the API's clock."""
    make(store, "instrument", "meter-1", name="meter", settling={"ph": RULE})
    filler.at_us += 290 * SECOND_US
    capture = filler.open("ph", "meter-1")
    for text in ["3.80", "3.60", *["3.41"] * 7]:
        filler.hear(capture, text.encode(), [Answer("ph", text, "pH")])
    take_in(store)
    return filler


@pytest.mark.usefixtures("meter")
async def test_what_came_to_rest_names_its_rule_and_its_stretch(client: Client) -> None:
    (item,) = (await client.get("/api/v1/settled")).json()["items"]
    assert (item["instrument"], item["quantity"], item["how"], item["verdict"]) == (
        "meter-1",
        "ph",
        "rule",
        "stable",
    )
    assert item["rule"]["window_s"] == 5.0
    assert item["first_reading_id"] < item["reading_id"]
    assert (await client.get("/api/v1/settled", params={"instrument": "other"})).json()["items"] == []
    assert (await client.get("/api/v1/settled", params={"since": item["ledger_number"]})).json()[
        "items"
    ] == []


@pytest.mark.usefixtures("meter")
async def test_what_a_stream_shows_now_is_told_with_its_verdict(client: Client) -> None:
    body = (await client.get(f"{METER}/settling/ph")).json()
    assert (body["value_text"], body["verdict"], body["span"]) == ("3.41", "stable", 0.0)
    assert (await client.get(f"{METER}/settling/density")).status_code == 404


@pytest.mark.usefixtures("meter")
async def test_a_tap_is_an_act_of_a_person_and_happens_once(client: Client) -> None:
    tapped: dict[str, Any] = (await client.post(f"{METER}/tap", json={"quantity": "ph"}, headers=WHO)).json()
    assert (tapped["how"], tapped["verdict"]) == ("person", "stable")
    again = await client.post(f"{METER}/tap", json={"quantity": "ph"}, headers=WHO)
    assert (again.status_code, again.json()["rule"]) == (409, "tap.taken")
    (entry,) = [
        one
        for one in (await client.get("/api/v1/ledger", params={"limit": 1000})).json()["items"]
        if one["number"] == tapped["ledger_number"]
    ]
    assert (entry["actor"], entry["action"]) == ("MAL", "reading.tapped")


@pytest.mark.usefixtures("meter")
async def test_what_cannot_be_tapped_is_refused(client: Client) -> None:
    unheard = await client.post(f"{METER}/tap", json={"quantity": "density"}, headers=WHO)
    assert (unheard.status_code, unheard.json()["rule"]) == (404, "tap.nothing_heard")
    assert (await client.post(f"{METER}/tap", json={}, headers=WHO)).status_code == 422
    assert (await client.post(f"{METER}/tap", json={"quantity": "ph"})).status_code == 422
