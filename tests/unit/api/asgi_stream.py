"""A client of endless answers: it takes one piece at a time and goes away when it likes."""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI
from starlette.types import Message

PATIENCE_S = 5  # of one wait; a test that needs it fails [s]


@dataclass(frozen=True)
class Event:
    """One server-sent event."""

    kind: str
    number: int
    body: dict[str, Any]


class Stream:
    """An open stream of server-sent events, straight from the app."""

    def __init__(self, app: FastAPI, address: str, headers: Mapping[str, str] | None = None) -> None:
        self._app = app
        parts = urlsplit(address)
        given = {"host": "127.0.0.1:8710", **(headers or {})}
        self._scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": "GET",
            "scheme": "http",
            "path": parts.path,
            "raw_path": parts.path.encode(),
            "query_string": parts.query.encode(),
            "headers": [(name.lower().encode(), value.encode()) for name, value in given.items()],
            "server": ("127.0.0.1", 8710),
            "client": ("127.0.0.1", 50000),
            "root_path": "",
        }
        self._messages: asyncio.Queue[Message] = asyncio.Queue(maxsize=1)
        self._gone = asyncio.Event()
        self._begun = False
        self._left: list[Event] = []

    async def __aenter__(self) -> "Stream":
        self._task = asyncio.create_task(self._app(self._scope, self._receive, self._messages.put))
        self.start = await self._next()
        return self

    async def __aexit__(self, *_error: object) -> None:
        self._gone.set()
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)

    async def _receive(self) -> Message:
        if self._begun:
            await self._gone.wait()
            return {"type": "http.disconnect"}
        self._begun = True
        return {"type": "http.request", "body": b"", "more_body": False}

    async def _next(self) -> Message:
        return await asyncio.wait_for(self._messages.get(), PATIENCE_S)

    async def ended(self) -> None:
        """Wait until the app has ended the stream."""
        while (await self._next()).get("more_body"):
            pass

    async def events(self, count: int) -> list[Event]:
        """Take the next events."""
        while len(self._left) < count:
            text = (await self._next())["body"].decode()
            self._left += [_event(block) for block in text.split("\n\n") if "\ndata: " in block]
        taken, self._left = self._left[:count], self._left[count:]
        return taken


def _event(block: str) -> Event:
    fields = dict(line.split(": ", 1) for line in block.splitlines())
    return Event(fields["event"], int(fields["id"]), json.loads(fields["data"]))
