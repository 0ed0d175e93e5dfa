import httpx
import pytest
from fastapi import FastAPI

from api.app import close_app, create_app, end_streams
from api.services import ApiSettings
from storage.store import Store
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import Answer, Filler
from tests.unit.api.asgi_stream import Stream

EVENTS = "/api/v1/events"


def _weigh(filler: Filler, count: int) -> list[int]:
    capture = filler.open("balance", "balance-1")
    return [filler.hear(capture, b"1.0 g\r\n", [Answer("mass", "1.0", "g")])[0] for _ in range(count)]


async def test_a_stream_is_one_of_server_sent_events(app: FastAPI) -> None:
    async with Stream(app, EVENTS) as stream:
        headers = dict(stream.start["headers"])
    assert headers[b"content-type"].startswith(b"text/event-stream")
    assert headers[b"cache-control"] == b"no-cache"


async def test_a_new_stream_begins_with_what_comes(app: FastAPI, filler: Filler) -> None:
    async with Stream(app, EVENTS) as stream:
        (reading,) = _weigh(filler, 1)
        events = await stream.events(2)
    assert [(event.kind, event.body["action"]) for event in events] == [
        ("line", "capture.opened"),
        ("reading", "reading.heard"),
    ]
    assert events[1].number == reading == events[1].body["reading"]["revision"]
    assert events[1].body["reading"]["value_text"] == "1.0"


async def test_a_client_that_comes_back_gets_the_rest_and_nothing_twice(app: FastAPI, filler: Filler) -> None:
    written = _weigh(filler, 30)
    seen: list[int] = []
    last = written[0] - 1
    for count in (1, 7, 12):
        async with Stream(app, EVENTS, {"Last-Event-ID": str(last)}) as stream:
            seen += [event.number for event in await stream.events(count)]
            last = seen[-1]
    async with Stream(app, EVENTS, {"Last-Event-ID": str(last)}) as stream:
        written += [filler.hear(filler.open("ph", "ph-1"), b"7\n", [Answer("ph", "7", "pH")])[0]]
        seen += [event.number for event in await stream.events(12) if event.kind == "reading"]
    assert seen == written


async def test_a_stream_can_begin_since_a_number(bench_app: FastAPI, ids: dict[str, int]) -> None:
    async with Stream(bench_app, f"{EVENTS}?since=0") as stream:
        kinds = [event.kind for event in await stream.events(91)]
    assert kinds.count("reading") == 87
    assert kinds[-2:] == ["line", "gap"]


async def test_a_gap_is_told_with_its_length(app: FastAPI, filler: Filler) -> None:
    async with Stream(app, EVENTS) as stream:
        filler.gap("burette", "burette-1", 7)
        (event,) = await stream.events(1)
    assert event.body["gap"]["why"] == "the port was gone"


@pytest.mark.parametrize(
    ("query", "headers", "parameter"),
    [
        ("", {"Last-Event-ID": "soon"}, "last-event-id"),
        ("", {"Last-Event-ID": "99999"}, "last-event-id"),
        ("?since=99999", {}, "since"),
    ],
)
async def test_a_place_that_cannot_be_is_refused(
    bench: httpx.AsyncClient, query: str, headers: dict[str, str], parameter: str
) -> None:
    answer = await bench.get(EVENTS + query, headers=headers)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == parameter


async def test_more_streams_than_the_limit_are_refused(store: Store, filler: Filler) -> None:
    app = create_app(still_services(store, ApiSettings("demo", stream_limit=1, live_round_s=0)))
    async with Stream(app, EVENTS) as first:
        filler.gap("burette", "burette-1", 7)
        await first.events(1)
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(app), base_url="http://127.0.0.1"
        ) as client:
            answer = await client.get(EVENTS)
    close_app(app)
    assert answer.status_code == 503


async def test_streams_end_when_they_are_told_to(app: FastAPI) -> None:
    async with Stream(app, EVENTS) as stream:
        end_streams(app)
        await stream.ended()
