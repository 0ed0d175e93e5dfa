"""How many sheets are made at a time, and what is let go of when a client has gone."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import suppress
from http import HTTPStatus
from os import PathLike
from pathlib import Path
from typing import Final

from fastapi.responses import FileResponse, StreamingResponse
from starlette.types import Receive, Scope, Send

from api.database import Database
from api.problems import ProblemError

OPEN_LIMIT: Final = 16
"""Sheets that are being sent at a time; a workbook of linked sheets asks for all of them at once."""
PIECES_AT_ONCE: Final = 1
"""Pieces of sheets that are made at a time: of the two reader threads, one is left to everybody else."""


class Exports:
    """Counts the sheets that are being sent, and lets them take turns at the store.

    A client that takes its time holds a place, and nothing of the store.
    """

    def __init__(self, open_limit: int = OPEN_LIMIT) -> None:
        self.turn = asyncio.Semaphore(PIECES_AT_ONCE)
        self.workbook_turn = asyncio.Semaphore(1)
        self._open_limit = open_limit
        self._open = 0

    def enter(self) -> None:
        """Take a place; it must be left again. Raises `ProblemError` if there is none."""
        if self._open >= self._open_limit:
            raise ProblemError(
                HTTPStatus.SERVICE_UNAVAILABLE,
                f"{self._open_limit} sheets are being sent already; ask again in a few seconds",
                headers={"Retry-After": "3"},
            )
        self._open += 1

    def leave(self) -> None:
        """Give a place back."""
        self._open -= 1


class TextExport(StreamingResponse):
    """Sends the pieces of a sheet and gives its place back, however that ends."""

    def __init__(self, exports: Exports, pieces: AsyncIterator[bytes], headers: dict[str, str]) -> None:
        super().__init__(pieces, headers=headers)
        self._exports = exports

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._exports.leave()


class FileExport(FileResponse):
    """Sends a finished file, removes it and gives its place back, however that ends."""

    def __init__(self, exports: Exports, path: Path, headers: dict[str, str]) -> None:
        super().__init__(path, headers=headers, stat_result=path.stat())
        self._exports = exports
        self.headers.update(headers)  # the file is made anew each time, so its own mark and time say nothing
        del self.headers["last-modified"]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._exports.leave()
            _remove(self.path)


def _remove(path: str | PathLike[str]) -> None:
    with suppress(OSError):
        Path(path).unlink(missing_ok=True)


async def in_turns(exports: Exports, database: Database, pieces: Iterator[bytes]) -> AsyncIterator[bytes]:
    """Pull each piece in a reader thread when it is its turn; between pieces nothing of the store is held."""
    while True:
        async with exports.turn:
            piece = await database.run(lambda: next(pieces, None))
        if piece is None:
            return
        yield piece
