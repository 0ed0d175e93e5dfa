"""Captures of the files of one line: what was read of each, for whoever reads on."""

from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, func, select

from storage.schema import capture, capture_end


class FileCapture(NamedTuple):
    """A capture of a file with its end, if it has ended."""

    number: int
    device: str
    settings: str
    ending: str | None
    why: str | None


def _captures_of(line: str) -> Select[Any]:
    return (
        select(
            capture.c.number, capture.c.device, capture.c.settings, capture_end.c.ending, capture_end.c.why
        )
        .outerjoin(capture_end, capture_end.c.capture_number == capture.c.number)
        .where(capture.c.line == line)
        .order_by(capture.c.number)
    )


def newest_capture_of_each_file(connection: Connection, line: str) -> list[FileCapture]:
    """Return the newest capture of each device of a line, oldest first."""
    newest = select(func.max(capture.c.number)).where(capture.c.line == line).group_by(capture.c.device)
    statement = _captures_of(line).where(capture.c.number.in_(newest))
    return [FileCapture(*row) for row in connection.execute(statement)]


def captures_of_file(connection: Connection, line: str, device: str) -> list[FileCapture]:
    """Return all captures of one device of a line, oldest first."""
    statement = _captures_of(line).where(capture.c.device == device)
    return [FileCapture(*row) for row in connection.execute(statement)]
