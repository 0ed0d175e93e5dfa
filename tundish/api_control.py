"""What the API may ask of the daemon: its requests are handed on, refusals become problem documents."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any

from api.acts import Act, LineSettings, Reloaded
from api.problems import ParameterFault, ProblemError
from storage.rows import Row
from tundish.acts import ActRecord, By
from tundish.config_faults import ConfigError
from tundish.errors import LineConflictError, NotKeptError, UnknownLineError
from tundish.line_book import LineBook


class RecordOfActs:
    """Implements `api.acts.Acts`."""

    def __init__(self, record: ActRecord) -> None:
        self._record = record

    async def enter(self, action: str, act: Act, rows: Mapping[str, Sequence[Row]]) -> int:
        """Enter an act with the rows it brings; return its number once it is durable."""
        with _as_problems():
            return await self._record.enter(action, _by(act), rows)


class BookControl:
    """Implements `api.acts.LineControl`."""

    def __init__(self, book: LineBook) -> None:
        self._book = book

    def settings(self, line: str) -> LineSettings:
        """Return what the configuration says of a line."""
        with _as_problems():
            return LineSettings(*self._book.settings(line))

    async def add(self, table: Mapping[str, Any], act: Act) -> int:
        """Add a line, as a table of the configuration says it."""
        with _as_problems():
            return await self._book.add(table, _by(act))

    async def change(self, line: str, table: Mapping[str, Any], act: Act) -> int | None:
        """Put another table in the place of a line's."""
        with _as_problems():
            return await self._book.change(line, table, _by(act))

    async def stop(self, line: str, act: Act) -> int | None:
        """Stop a line until it is started."""
        with _as_problems():
            return await self._book.stop(line, _by(act))

    async def start(self, line: str, act: Act) -> int | None:
        """Start a line that was stopped, has ended or has failed."""
        with _as_problems():
            return await self._book.start(line, _by(act))

    async def remove(self, line: str, act: Act) -> int:
        """Stop a line and forget it."""
        with _as_problems():
            return await self._book.remove(line, _by(act))

    async def reload(self, act: Act) -> Reloaded:
        """Read the configuration again and bring the lines in step with it."""
        with _as_problems(location="configuration"):
            done = await self._book.reload(_by(act))
        return Reloaded(done.number, done.acts)


def _by(act: Act) -> By:
    return By(act.actor, reason=act.reason)


@contextmanager
def _as_problems(location: str = "body") -> Iterator[None]:
    try:
        yield
    except UnknownLineError as error:
        raise ProblemError(HTTPStatus.NOT_FOUND, str(error)) from error
    except LineConflictError as error:
        raise ProblemError(HTTPStatus.CONFLICT, str(error)) from error
    except NotKeptError as error:
        raise ProblemError(HTTPStatus.SERVICE_UNAVAILABLE, str(error)) from error
    except ConfigError as error:
        faults = [_fault(fault, location) for fault in error.faults]
        detail = "what is configured cannot be used; nothing was changed"
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, detail, faults) from error


def _fault(fault: str, location: str) -> ParameterFault:
    place, _, words = fault.partition(": ")
    return ParameterFault(parameter=place, location=location, detail=words or fault)
