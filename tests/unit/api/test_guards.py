import asyncio
from collections.abc import AsyncIterator

import httpx
import pytest
from fastapi import FastAPI
from starlette.requests import ClientDisconnect
from starlette.types import Message, Receive, Scope, Send

from api.guards import SendTimeout, add_guards, host_name
from api.problems import PROBLEM_MEDIA_TYPE

Client = httpx.AsyncClient


@pytest.fixture
async def client() -> AsyncIterator[Client]:
    inner = FastAPI()
    inner.add_api_route("/thing", lambda: {"here": True}, methods=["GET", "POST"])
    inner.add_api_route("/broken", _broken)
    add_guards(inner, ["Bench.example"], send_timeout_s=5)
    transport = httpx.ASGITransport(inner)
    async with Client(transport=transport, base_url="http://127.0.0.1:8710") as client:
        yield client


def _broken() -> None:
    raise RuntimeError("secret of the inside")


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1:8710", "127.0.0.1", "localhost:1", "LOCALHOST", "[::1]:8710", "[::1]", "bench.example:8710"],
)
async def test_our_own_names_pass(client: Client, host: str) -> None:
    assert (await client.get("/thing", headers={"Host": host})).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8710", "", "[::2]", "::1"]
)
async def test_a_foreign_host_name_is_refused(client: Client, host: str) -> None:
    answer = await client.get("/thing", headers={"Host": host})
    assert answer.status_code == 400
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE
    assert "allowed hosts" in answer.json()["detail"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:8710"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
async def test_a_write_set_off_by_another_origin_is_refused(client: Client, headers: dict[str, str]) -> None:
    answer = await client.post("/thing", headers=headers)
    assert answer.status_code == 403
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE


@pytest.mark.parametrize(
    "headers",
    [{}, {"Origin": "http://127.0.0.1:8710", "Sec-Fetch-Site": "same-origin"}, {"Sec-Fetch-Site": "none"}],
)
async def test_a_write_of_our_own_page_or_of_a_program_passes(
    client: Client, headers: dict[str, str]
) -> None:
    assert (await client.post("/thing", headers=headers)).status_code == 200


async def test_every_answer_tells_the_browser_to_be_strict(client: Client) -> None:
    answers = [
        await client.get("/thing"),
        await client.get("/broken"),
        await client.get("/thing", headers={"Host": "x"}),
    ]
    for answer in answers:
        assert "default-src 'self'" in answer.headers["content-security-policy"]
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers


async def test_an_unforeseen_error_tells_nothing_of_the_inside(client: Client) -> None:
    answer = await client.get("/broken")
    assert answer.status_code == 500
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE
    assert "secret" not in answer.text


@pytest.mark.parametrize(
    ("host", "name"),
    [("Bench:80", "bench"), ("[::1]:80", "[::1]"), ("[::1]", "[::1]"), ("a:b", "a:b"), ("", "")],
)
def test_the_name_is_told_from_the_port(host: str, name: str) -> None:
    assert host_name(host) == name


async def test_a_client_that_takes_nothing_is_dropped() -> None:
    async def talks(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})

    with pytest.raises(ClientDisconnect):
        await SendTimeout(talks, timeout_s=0.001)({"type": "http", "path": "/"}, _nothing, _never_taken)


async def _nothing() -> Message:
    return {"type": "http.request"}


async def _never_taken(message: Message) -> None:
    await asyncio.Event().wait()
