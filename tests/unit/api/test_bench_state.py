from dataclasses import replace

import httpx
from fastapi import FastAPI

from tests.fakes.filled_store import Filler

Client = httpx.AsyncClient


async def test_health_says_which_lines_are_not_heard(bench: Client) -> None:
    body = (await bench.get("/api/v1/health")).json()
    assert body["ok"] is False
    assert (body["lines_open"], body["lines_not_open"]) == (1, ["burette"])
    assert body["store"]["kind"] == "demo"


async def test_health_says_why_the_store_is_not_written(client: Client, app: FastAPI) -> None:
    health = app.state.parts.services.health
    health.told = replace(health.told, store_ok=False, store_why="database or disk is full", spool_items=7)
    store = (await client.get("/api/v1/health")).json()["store"]
    assert (store["ok"], store["why"], store["spool_items"]) == (False, "database or disk is full", 7)


async def test_lines_say_why_and_what_to_do(bench: Client) -> None:
    body = (await bench.get("/api/v1/lines/burette")).json()
    assert body["state"] == "waiting"
    assert body["state_words"] == "lost, trying again"
    assert "is the cable plugged in?" in body["why"]
    assert "comes back by itself" in body["what_to_do"]


async def test_lines_come_in_the_order_of_the_configuration(bench: Client) -> None:
    assert [item["line"] for item in (await bench.get("/api/v1/lines")).json()["items"]] == ["ph", "burette"]


async def test_a_line_that_is_not_there_is_answered_with_those_that_are(bench: Client) -> None:
    answer = await bench.get("/api/v1/lines/centrifuge")
    assert answer.status_code == 404
    assert "configured lines: ph, burette" in answer.json()["detail"]


async def test_instruments_are_those_heard_and_those_configured(client: Client, filler: Filler) -> None:
    filler.open("balance", "balance-1")
    items = (await client.get("/api/v1/instruments")).json()["items"]
    assert [item["instrument"] for item in items] == ["balance-1", "burette-1", "ph-meter-1"]
    assert items[1]["last_reading"] is None


async def test_an_instrument_shows_its_newest_reading(bench: Client, ids: dict[str, int]) -> None:
    burette, ph = (await bench.get("/api/v1/instruments")).json()["items"]
    assert burette["last_reading"]["reading_id"] == ids["over"]
    assert burette["quantities"] == ["dispensed_volume", "free_so2"]
    assert (ph["lines"], ph["drivers"]) == (["ph"], ["ph-text"])


async def test_the_ledger_is_read_in_pages(bench: Client, ids: dict[str, int]) -> None:
    first = (await bench.get("/api/v1/ledger?limit=3")).json()
    second = (await bench.get(f"/api/v1/ledger?limit=3&cursor={first['next']}")).json()
    assert [entry["number"] for entry in first["items"] + second["items"]] == [1, 2, 3, 4, 5, 6]
    assert first["items"][0]["action"] == "store.made"
    assert len(first["items"][0]["link"]) == 64


async def test_the_ledger_is_read_since_a_number(bench: Client, ids: dict[str, int]) -> None:
    head = (await bench.get("/api/v1/ledger")).json()["head"]
    body = (await bench.get("/api/v1/ledger", params={"since": head - 2})).json()
    assert [entry["number"] for entry in body["items"]] == [head - 1, head]
    assert body["next"] is None
