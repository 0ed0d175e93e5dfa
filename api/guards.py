"""What stands between the network and the routes, as plain ASGI layers.

A service on the loopback address is within reach of every web page that a browser on the same machine opens.
The Host header keeps foreign names out (a page can make its own name point here), Origin and Sec-Fetch-Site
keep foreign pages from writing, the limit on bodies keeps one request from filling memory.
"""

import asyncio
from collections.abc import Sequence
from http import HTTPStatus
from typing import Final
from urllib.parse import urlsplit

import structlog
from fastapi import FastAPI
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem_response

LOOPBACK_HOSTS: Final = ("127.0.0.1", "localhost", "[::1]")
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
TOO_LARGE: Final = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
JSON_MEDIA_TYPE: Final = "application/json"
BODY_LIMIT_BYTES: Final = 1_048_576  # 1 MiB: far above any body a route takes [bytes]

SECURITY_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}

_log = structlog.get_logger(__name__)


def add_guards(app: FastAPI, allowed_hosts: Sequence[str], send_timeout_s: float) -> None:
    """Put every guard before the routes of an app; what is added later stands further out."""
    app.add_middleware(FaultBoundary)
    app.add_middleware(JsonOnly)
    app.add_middleware(BodyLimit)
    app.add_middleware(OriginGuard)
    app.add_middleware(HostGuard, allowed=allowed_hosts)
    app.add_middleware(SecurityHeaders)
    app.add_middleware(SendTimeout, timeout_s=send_timeout_s)


def host_name(host: str) -> str:
    """Return the lower-case name in a Host header without its port; IPv6 keeps its brackets."""
    name, separator, port = host.rpartition(":")
    return (name if separator and port.isdigit() else host).lower()


class SecurityHeaders:
    """Add the headers that tell a browser to be strict, to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on and complete its answer."""

        async def completed(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(SECURITY_HEADERS)
            await send(message)

        await self._app(scope, receive, completed if scope["type"] == "http" else send)


class HostGuard:
    """Refuse requests whose Host header names another machine."""

    def __init__(self, app: ASGIApp, allowed: Sequence[str] = ()) -> None:
        self._app = app
        self._allowed = {*LOOPBACK_HOSTS, *(name.lower() for name in allowed)}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on if its host is ours."""
        if scope["type"] == "http" and (fault := self._fault(Headers(scope=scope))):
            refusal = problem_response(HTTPStatus.BAD_REQUEST, fault, scope["path"])
            await refusal(scope, receive, send)
            return
        await self._app(scope, receive, send)

    def _fault(self, headers: Headers) -> str | None:
        hosts = headers.getlist("host")
        if len(hosts) == 1 and host_name(hosts[0]) in self._allowed:
            return None
        came = ", ".join(hosts) or "none"
        return (
            f"the Host header is {came!r}, allowed are {', '.join(sorted(self._allowed))}; "
            "add the name under which this service is reached to the allowed hosts of its configuration"
        )


class OriginGuard:
    """Refuse writes that a page of another origin set off."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on unless it is a write from elsewhere."""
        if scope["type"] == "http" and scope["method"] not in SAFE_METHODS:
            headers = Headers(scope=scope)
            if _from_elsewhere(headers, scope.get("scheme", "http")):
                detail = "a page of another origin asked for a write; only this service's own pages may"
                await problem_response(HTTPStatus.FORBIDDEN, detail, scope["path"])(scope, receive, send)
                return
        await self._app(scope, receive, send)


def _from_elsewhere(headers: Headers, scheme: str) -> bool:
    """Tell whether a browser says that the request came from a foreign page; programs send neither header."""
    if headers.get("sec-fetch-site", "none") not in {"none", "same-origin"}:
        return True
    origin = headers.get("origin")
    if origin is None:
        return False
    try:
        parts = urlsplit(origin)
    except ValueError:
        return True  # no browser writes such an origin for one of our pages
    return (parts.scheme, parts.netloc.lower()) != (scheme, headers.get("host", "").lower())


class JsonOnly:
    """Refuse bodies that are not said to be JSON: a foreign page can send some other kinds unasked."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on if it has no body, or a body of JSON."""
        if scope["type"] == "http" and scope["method"] not in SAFE_METHODS:
            headers = Headers(scope=scope)
            came = headers.get("content-type", "")
            if _has_body(headers) and came.partition(";")[0].strip().lower() != JSON_MEDIA_TYPE:
                detail = f"the body is said to be {came or 'of no type'!r}; send {JSON_MEDIA_TYPE}"
                await problem_response(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, detail, scope["path"])(
                    scope, receive, send
                )
                return
        await self._app(scope, receive, send)


def _has_body(headers: Headers) -> bool:
    return "transfer-encoding" in headers or headers.get("content-length", "0") != "0"


class BodyLimit:
    """Refuse bodies that are larger than any route takes, told beforehand or not."""

    def __init__(self, app: ASGIApp, limit_bytes: int = BODY_LIMIT_BYTES) -> None:
        self._app = app
        self._limit_bytes = limit_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, counting its body."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        told = Headers(scope=scope).get("content-length", "0")
        if not told.isdigit() or int(told) > self._limit_bytes:
            await problem_response(TOO_LARGE, self._detail(), scope["path"])(scope, receive, send)
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self._limit_bytes:
                raise HTTPException(TOO_LARGE.value, self._detail())
            return message

        await self._app(scope, counted, send)

    def _detail(self) -> str:
        return f"the body is larger than {self._limit_bytes} bytes, the most that any route takes"


class FaultBoundary:
    """Answer an unforeseen error with a plain 500 and log it; nothing of the inside goes out."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on and stand between its errors and the network."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except ClientDisconnect:
            return  # nobody is there to be answered
        except Exception:  # the boundary of a request
            _log.exception("request.failed", method=scope["method"], path=scope["path"])
            if started:
                raise  # the server cuts the connection, so that nobody takes half an answer for a whole one
            detail = "something went wrong inside; the log of the daemon says what"
            await problem_response(HTTPStatus.INTERNAL_SERVER_ERROR, detail, scope["path"])(
                scope, receive, send
            )


class SendTimeout:
    """Drop a client that takes nothing for too long, so that it cannot hold a stream open for ever."""

    def __init__(self, app: ASGIApp, timeout_s: float) -> None:
        self._app = app
        self._timeout_s = timeout_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on and watch each piece of its answer leave."""

        async def in_time(message: Message) -> None:
            try:
                async with asyncio.timeout(self._timeout_s):
                    await send(message)
            except TimeoutError:
                _log.warning("client.dropped", path=scope.get("path"), waited_s=self._timeout_s)
                raise ClientDisconnect from None

        await self._app(scope, receive, in_time)
