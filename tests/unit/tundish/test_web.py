"""Taking the address before anything else starts."""

import asyncio
import json
import socket
from collections.abc import AsyncIterator

import pytest
import pytest_asyncio
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from tundish.errors import AddressError
from tundish.web import bind, server

PATIENCE_S = 10.0  # [s] a test that waits longer has failed


def test_a_free_port_is_taken() -> None:
    with bind("127.0.0.1", 0) as listener:
        assert listener.getsockname()[1] > 0


def test_a_taken_port_says_so_and_what_to_do() -> None:
    with bind("127.0.0.1", 0) as first:
        first.listen()
        port = first.getsockname()[1]
        with pytest.raises(
            AddressError, match=f"port {port} of 127.0.0.1 is taken .* choose another with api.port"
        ):
            bind("127.0.0.1", port)


def test_an_address_that_is_not_ours_is_refused_in_words() -> None:
    with pytest.raises(AddressError, match="cannot be had"):
        bind("192.0.2.1", 0)  # a documentation address, RFC 5737


@pytest.mark.skipif(not socket.has_ipv6, reason="no IPv6 on this machine")
def test_the_loopback_address_may_be_of_version_6() -> None:
    with bind("::1", 0) as listener:
        assert listener.family is socket.AF_INET6


async def hello(scope: Scope, receive: Receive, send: Send) -> None:
    """Answer every request."""
    await Response("hello")(scope, receive, send)


@pytest_asyncio.fixture
async def address() -> AsyncIterator[tuple[str, int]]:
    """Where a server of ours answers."""
    with bind("127.0.0.1", 0) as listener:
        running = server(hello)
        serving = asyncio.create_task(running.serve(sockets=[listener]))
        yield listener.getsockname()
        running.should_exit = True
        await serving


async def asked(address: tuple[str, int], request: bytes) -> tuple[bytes, bytes]:
    """Send bytes as they are and return head and body of the answer."""
    async with asyncio.timeout(PATIENCE_S):
        reader, writer = await asyncio.open_connection(*address)
        writer.write(request)
        answer = await reader.read()
        writer.close()
        await writer.wait_closed()
    head, _, body = answer.partition(b"\r\n\r\n")
    return head, body


async def test_a_request_without_a_host_is_answered_with_a_problem_document(address: tuple[str, int]) -> None:
    head, body = await asked(address, b"GET /api/v1/health HTTP/1.1\r\n\r\n")
    problem = json.loads(body)
    assert head.startswith(b"HTTP/1.1 400 Bad Request\r\n")
    assert b"application/problem+json" in head
    assert b"nosniff" in head
    assert (problem["status"], problem["title"], problem["errors"]) == (400, "Bad Request", [])
    assert "the request has no Host header" in problem["detail"]


@pytest.mark.parametrize(
    ("request_bytes", "status", "words"),
    [
        (b"\x16\x03\x01\x02\x00\x01\r\n\r\n", 400, "no request that can be read as HTTP"),
        (b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", 400, "Found multiple Host: headers"),
        (b"GET / HTTP/1.1\r\nHost: a\r\nLong: " + b"x" * 100_000, 431, "no request that can be read"),
    ],
)
async def test_what_is_no_http_is_answered_with_a_problem_document(
    address: tuple[str, int], request_bytes: bytes, status: int, words: str
) -> None:
    head, body = await asked(address, request_bytes)
    assert head.startswith(f"HTTP/1.1 {status} ".encode())
    assert words in json.loads(body)["detail"]
