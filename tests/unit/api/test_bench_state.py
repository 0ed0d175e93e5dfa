from dataclasses import replace

import httpx
from fastapi import FastAPI

from storage.rows import ClockEventRow
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
    burette, _running, ph = (await bench.get("/api/v1/instruments")).json()["items"]
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


async def test_health_says_how_far_the_clock_can_be_trusted(client: Client, app: FastAPI) -> None:
    clock = (await client.get("/api/v1/health")).json()["clock"]
    assert clock == {
        "quality": "in_step",
        "why": "a time service keeps it in step, within 0.005 s",
        "max_error_s": 0.005,
        "last_step": None,
    }


async def test_a_step_of_the_clock_is_in_health_in_its_list_and_on_the_page(
    client: Client, filler: Filler
) -> None:
    number = step_the_clock(filler)
    last = (await client.get("/api/v1/health")).json()["clock"]["last_step"]
    assert last == {"at": "2025-10-03T12:00:00.000000Z", "by_s": -3600.0, "why": "put back by an hour"}
    (event,) = (await client.get("/api/v1/clock-events")).json()["items"]
    assert (event["ledger_number"], event["event"], event["step_s"]) == (number, "stepped", -3600.0)
    page = (await client.get("/lines")).text
    assert "Last step of the clock" in page
    assert "put back by an hour" in page


async def test_a_clock_that_runs_by_itself_is_told_with_what_to_do(client: Client, app: FastAPI) -> None:
    health = app.state.parts.services.health
    health.told = replace(health.told, clock_quality="not_in_step", clock_why="it runs by itself")
    page = (await client.get("/lines")).text
    assert "not in step: it runs by itself" in page
    assert "The clock of this computer is not kept in step." in page


async def test_events_of_the_clock_are_read_in_pages(client: Client, filler: Filler) -> None:
    numbers = [step_the_clock(filler) for _ in range(3)]
    first = (await client.get("/api/v1/clock-events?limit=2")).json()
    second = (await client.get(f"/api/v1/clock-events?limit=2&cursor={first['next']}")).json()
    assert [one["ledger_number"] for one in first["items"] + second["items"]] == numbers[::-1]


def step_the_clock(filler: Filler) -> int:
    """Enter that the clock was put back by an hour."""
    row = ClockEventRow(filler.session, "stepped", "not_in_step", "put back by an hour", None, -3_600_000_000)
    return filler._enter("clock.stepped", clock_event=[row])
