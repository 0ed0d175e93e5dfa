"""Whoever looks at health or at the page of lines sees what waits for a broker, and why."""

from collections.abc import AsyncIterator
from dataclasses import replace
from functools import partial

import httpx
import pytest
from fastapi import FastAPI

from api.app import close_app, create_app
from api.services import PublishReport
from storage.queries.line_stream import line_events
from storage.queries.publishing import (
    CAPTURES_PLACE,
    Due,
    Place,
    RefusedRecord,
    due_after,
    note_place,
    set_aside,
)
from storage.store import Store
from tests.fakes.api_services import StillHealth, still_services
from tests.fakes.filled_store import NOON_US, SECOND_US, Filler, fill_bench
from tests.services.grounds import NewStore

BROKER = "mqtts://broker.example:8883/tundish/north/v1/status"
ONLINE = PublishReport(BROKER, "online", NOON_US, "", NOON_US + 10 * SECOND_US)
WAITING = PublishReport(BROKER, "waiting", NOON_US, "no broker answers; is it running?", None)


@pytest.fixture
def store(new_store: NewStore) -> Store:
    store = new_store("real")
    fill_bench(Filler(store), streamed=2)
    return store


def place_before_the_last(store: Store, count: int) -> int:
    """Let all but the last messages be published; return when the first of those was entered. [µs]"""
    with store.reader() as connection:
        found = due_after(connection, 0, 10_000)
    done = len(found) - count
    store.writer.submit(lambda tx: note_place(tx, Place(found[done - 1].number, done))).result(10)
    return found[done].number


def health_of(store: Store, report: PublishReport | None) -> StillHealth:
    return StillHealth(replace(StillHealth().told, publishing=report))


@pytest.fixture
def app(store: Store) -> FastAPI:
    return create_app(replace(still_services(store), health=health_of(store, ONLINE)))


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        yield client
    close_app(app)


def tell(app: FastAPI, report: PublishReport | None) -> None:
    app.state.parts.services.health.told = replace(app.state.parts.services.health.told, publishing=report)


async def test_health_says_how_much_waits_and_since_when(client: httpx.AsyncClient, store: Store) -> None:
    place_before_the_last(store, 3)
    said = (await client.get("/api/v1/health")).json()["publishing"]
    assert (said["broker"], said["state"], said["waiting"], said["refused"]) == (BROKER, "online", 3, 0)
    assert 200 < said["oldest_age_s"] < 300
    assert said["last_taken_at"] == "2025-10-03T12:00:10.000000Z"


async def test_health_says_what_the_broker_refused_in_its_words(
    client: httpx.AsyncClient, store: Store
) -> None:
    record = RefusedRecord(4, Due(9, "reading", 9), "t/north/v1/reading/ph", "not authorized", NOON_US, 2)
    store.writer.submit(partial(set_aside, record=record)).result(10)
    said = (await client.get("/api/v1/health")).json()["publishing"]
    assert said["refused"] == 1
    assert said["first_refused"] == [
        {
            "sequence": 4,
            "revision": 9,
            "topic": "t/north/v1/reading/ph",
            "why": "not authorized",
            "refused_at": "2025-10-03T12:00:00.000000Z",
            "attempts": 2,
        }
    ]
    page = (await client.get("/lines")).text
    assert "The broker refused 1 messages." in page
    assert "t/north/v1/reading/ph" in page


@pytest.mark.parametrize(("report", "ok"), [(ONLINE, True), (WAITING, False), (None, True)])
async def test_health_is_in_order_only_while_what_is_stored_is_taken(
    client: httpx.AsyncClient, app: FastAPI, store: Store, report: PublishReport | None, ok: bool
) -> None:
    lines = app.state.parts.services.lines
    lines.lines = lines.lines[:1]  # the one that is open
    tell(app, report)
    assert (await client.get("/api/v1/health")).json()["ok"] is ok


async def test_the_page_says_why_publishing_waits(client: httpx.AsyncClient, app: FastAPI) -> None:
    tell(app, WAITING)
    page = (await client.get("/lines")).text
    assert "no broker answers; is it running?" in page
    assert "nothing is lost" in page


async def test_where_nothing_is_published_nothing_is_said_of_it(
    client: httpx.AsyncClient, app: FastAPI
) -> None:
    tell(app, None)
    assert (await client.get("/api/v1/health")).json()["publishing"] is None
    assert "Publishing" not in (await client.get("/lines")).text


async def test_when_a_far_bench_was_last_heard_from_is_shown(client: httpx.AsyncClient, app: FastAPI) -> None:
    lines = app.state.parts.services.lines
    lines.lines = [replace(lines.lines[0], last_contact_us=NOON_US + 60 * SECOND_US)]
    (line,) = (await client.get("/api/v1/lines")).json()["items"]
    assert line["last_contact_at"] == "2025-10-03T12:01:00.000000Z"
    assert "the far bench was heard from" in (await client.get("/lines")).text


async def test_health_says_how_much_of_the_captures_waits(
    client: httpx.AsyncClient, app: FastAPI, store: Store
) -> None:
    said = (await client.get("/api/v1/health")).json()["publishing"]
    assert (said["captures_waiting"], said["oldest_capture_age_s"]) == (None, None)
    tell(app, replace(ONLINE, captures=True))
    with store.reader() as connection:
        heard = [event for event in line_events(connection, 0, 1000) if event.what == "heard"]
    store.writer.submit(lambda tx: tx.set_position(CAPTURES_PLACE, heard[-3].number)).result(10)
    said = (await client.get("/api/v1/health")).json()["publishing"]
    assert said["captures_waiting"] == 2
    assert said["oldest_capture_age_s"] == (NOON_US + 300 * SECOND_US - heard[-2].at_us) / 1e6
    assert "2 pieces, the first since" in (await client.get("/lines")).text
