"""What happened on the lines, in the order of the ledger: what a far bench tells whoever collects it."""

from dataclasses import dataclass
from operator import attrgetter
from typing import Any, Final

from sqlalchemy import Connection, exists, func, literal, null, select

from storage.schema import capture, capture_end, chunk, driver, frame, gap, ledger, session

_no_chunk: Final = ~exists().where(chunk.c.number == frame.c.number)


@dataclass(frozen=True, slots=True)
class LineEvent:
    """One entry of the ledger that tells of a line. What is None does not belong to its kind."""

    number: int
    line: str
    what: str
    """opened, heard, sent, silent, closed or gap."""
    at_us: int
    """Of a silence: up to when the line was silent. Of a gap: its end. [µs since 1970 UTC]"""
    capture: int | None = None
    offset: int | None = None
    data: bytes | None = None
    instrument: str | None = None
    device: str | None = None
    settings: str | None = None
    driver: str | None = None
    driver_version: str | None = None
    ending: str | None = None
    why: str | None = None
    heard_bytes: int | None = None
    sent_bytes: int | None = None
    begin_us: int | None = None
    lost_bytes: int | None = None


def line_events(connection: Connection, after: int, limit: int, line: str | None = None) -> list[LineEvent]:
    """Return the next events behind an entry, of one line or of all, oldest first."""
    found: list[LineEvent] = []
    for query in (_openings(), _chunks(), _endings(), _gaps()):
        key = query.selected_columns["number"]
        query = query.where(key > after).order_by(key).limit(limit)  # noqa: PLW2901 - the same, narrower
        if line is not None:
            query = query.where((gap if "begin_us" in query.selected_columns else capture).c.line == line)  # noqa: PLW2901
        found += [LineEvent(**row) for row in connection.execute(query).mappings()]
    found = sorted(found, key=attrgetter("number"))[:limit]
    up_to = found[-1].number if len(found) == limit else None
    found += _silences(connection, after, up_to, line)
    return sorted(found, key=attrgetter("number"))[:limit]


def last_of_line(connection: Connection, line: str, up_to: int) -> int:
    """Return the number of the last event of a line up to an entry; 0 if there is none."""
    of_line = capture.c.line == line
    newest = connection.execute(
        select(func.max(capture.c.number)).where(of_line, capture.c.number <= up_to)
    ).scalar()
    ended = (
        select(func.max(capture_end.c.number))
        .join(capture, capture.c.number == capture_end.c.capture_number)
        .where(of_line, capture_end.c.number <= up_to)
    )
    missed = select(func.max(gap.c.number)).where(gap.c.line == line, gap.c.number <= up_to)
    last = [newest, connection.execute(ended).scalar(), connection.execute(missed).scalar()]
    if newest is not None:
        for table in (chunk, frame):
            query = select(func.max(table.c.number)).where(
                table.c.capture_number == newest, table.c.number <= up_to
            )
            last.append(connection.execute(query).scalar())
    return max(number or 0 for number in last)


def newest_session(connection: Connection) -> int:
    """Return the entry with which the newest run of the daemon began; 0 if there was none."""
    return connection.execute(select(func.max(session.c.number))).scalar() or 0


def _openings() -> Any:
    return (
        select(
            capture.c.number.label("number"),
            capture.c.line,
            literal("opened").label("what"),
            capture.c.opened_at_us.label("at_us"),
            capture.c.number.label("capture"),
            capture.c.instrument,
            capture.c.device,
            capture.c.settings,
            driver.c.name.label("driver"),
            driver.c.version.label("driver_version"),
        )
        .select_from(capture)
        .join(driver, driver.c.number == capture.c.driver_number)
    )


def _chunks() -> Any:
    return (
        select(
            chunk.c.number.label("number"),
            capture.c.line,
            chunk.c.direction.label("what"),
            chunk.c.at_us.label("at_us"),
            chunk.c.capture_number.label("capture"),
            chunk.c.offset,
            chunk.c.data,
        )
        .select_from(chunk)
        .join(capture, capture.c.number == chunk.c.capture_number)
    )


def _endings() -> Any:
    return (
        select(
            capture_end.c.number.label("number"),
            capture.c.line,
            literal("closed").label("what"),
            capture_end.c.ended_at_us.label("at_us"),
            capture_end.c.capture_number.label("capture"),
            capture_end.c.ending,
            capture_end.c.why,
            capture_end.c.heard_bytes,
            capture_end.c.sent_bytes,
        )
        .select_from(capture_end)
        .join(capture, capture.c.number == capture_end.c.capture_number)
    )


def _gaps() -> Any:
    return select(
        gap.c.number.label("number"),
        gap.c.line,
        literal("gap").label("what"),
        gap.c.end_us.label("at_us"),
        gap.c.begin_us.label("begin_us"),
        gap.c.why,
        gap.c.lost_bytes,
        gap.c.instrument,
    )


def _silences(connection: Connection, after: int, up_to: int | None, line: str | None) -> list[LineEvent]:
    """Return when silence alone completed frames: nobody else could read them alike without it."""
    query = (
        select(frame.c.number, capture.c.line, ledger.c.at_us, frame.c.capture_number)
        .join(capture, capture.c.number == frame.c.capture_number)
        .join(ledger, ledger.c.number == frame.c.number)
        .where(frame.c.number > after, frame.c.pour_number.is_(null()), _no_chunk)
        .distinct()
    )
    if up_to is not None:
        query = query.where(frame.c.number <= up_to)
    if line is not None:
        query = query.where(capture.c.line == line)
    return [
        LineEvent(number=number, line=name, what="silent", at_us=at_us, capture=of)
        for number, name, at_us, of in connection.execute(query)
    ]
