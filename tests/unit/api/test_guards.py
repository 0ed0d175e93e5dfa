import asyncio
from collections.abc import AsyncIterator

import httpx
import pytest
from fastapi import FastAPI, Request
from starlette.requests import ClientDisconnect
from starlette.types import Message, Receive, Scope, Send
from structlog.testing import capture_logs

from api.guards import BODY_LIMIT_BYTES, SendTimeout, add_guards, host_name
from api.problems import PROBLEM_MEDIA_TYPE, add_problem_handlers

Client = httpx.AsyncClient
JSON = {"Content-Type": "application/json"}


@pytest.fixture
async def client() -> AsyncIterator[Client]:
    inner = FastAPI()
    inner.add_api_route("/thing", lambda: {"here": True}, methods=["GET", "POST"])
    inner.add_api_route("/broken", _broken)
    inner.add_api_route("/count", _count, methods=["POST"])
    add_problem_handlers(inner)
    add_guards(inner, ["Bench.example"], send_timeout_s=5)
    transport = httpx.ASGITransport(inner)
    async with Client(transport=transport, base_url="http://127.0.0.1:8710") as client:
        yield client


async def _count(request: Request) -> int:
    return len(await request.body())


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
        {"Origin": "http://[bad"},
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


async def test_a_body_of_the_greatest_size_passes(client: Client) -> None:
    answer = await client.post("/count", content=bytes(BODY_LIMIT_BYTES), headers=JSON)
    assert answer.json() == BODY_LIMIT_BYTES


@pytest.mark.parametrize("media_type", ["application/json", "Application/JSON; charset=utf-8"])
async def test_a_body_of_json_passes(client: Client, media_type: str) -> None:
    answer = await client.post("/count", content=b"{}", headers={"Content-Type": media_type})
    assert answer.json() == 2


@pytest.mark.parametrize(
    "media_type", ["text/plain", "multipart/form-data; boundary=x", "application/jsonx", ""]
)
async def test_a_body_of_another_kind_is_refused(client: Client, media_type: str) -> None:
    answer = await client.post("/count", content=b"{}", headers={"Content-Type": media_type})
    assert answer.status_code == 415
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE
    assert "send application/json" in answer.json()["detail"]


async def _unannounced(size: int) -> AsyncIterator[bytes]:
    for _ in range(size // 1024):
        yield bytes(1024)


@pytest.mark.parametrize("content", [bytes(BODY_LIMIT_BYTES + 1), _unannounced(2 * BODY_LIMIT_BYTES)])
async def test_a_larger_body_is_refused(client: Client, content: bytes | AsyncIterator[bytes]) -> None:
    answer = await client.post("/count", content=content, headers=JSON)
    assert answer.status_code == 413
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE


@pytest.mark.parametrize(
    ("address", "host"), [("/thing", "localhost"), ("/broken", "localhost"), ("/thing", "x")]
)
async def test_every_answer_tells_the_browser_to_be_strict(client: Client, address: str, host: str) -> None:
    with capture_logs():
        headers = (await client.get(address, headers={"Host": host})).headers
    assert "default-src 'self'" in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "access-control-allow-origin" not in headers


async def test_an_unforeseen_error_is_logged_and_tells_nothing_of_the_inside(client: Client) -> None:
    with capture_logs() as logs:
        answer = await client.get("/broken")
    assert answer.status_code == 500
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE
    assert "secret" not in answer.text
    assert [(log["event"], log["path"]) for log in logs] == [("request.failed", "/broken")]


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
