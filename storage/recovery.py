"""What a daemon left open when it died: its session and its captures are closed as they were found.

A capture ends with the last heartbeat, before which all that arrived was kept, or with its last chunk if
that is later; the gap after it is entered when its line is open again.
"""

from typing import Final

from sqlalchemy import Connection, select

from storage.ledger import ActorKind, Head
from storage.queries.captures import stream_bytes
from storage.rows import CaptureEndRow, Row, SessionEndRow
from storage.schema import capture, capture_end, chunk, heartbeat, session, session_end
from storage.transaction import Statements, Transaction

DAEMON: Final = "tundish"
WHY: Final = "the daemon was not running: it had ended without a clean stop"

_OPEN_CAPTURES: Final = (
    select(capture.c.number, capture.c.opened_at_us)
    .outerjoin(capture_end, capture_end.c.capture_number == capture.c.number)
    .where(capture_end.c.number.is_(None))
    .order_by(capture.c.number)
)
_OPEN_SESSIONS: Final = (
    select(session.c.number)
    .outerjoin(session_end, session_end.c.session_number == session.c.number)
    .where(session_end.c.number.is_(None))
    .order_by(session.c.number)
)


def close_what_was_left_open(connection: Connection, chain: Head, at_us: int, statements: Statements) -> Head:
    """Enter the ends that are wanting and return the chain after them. [µs since 1970 UTC]"""
    tx = Transaction(connection, chain, statements)
    alive_us = connection.execute(select(heartbeat.c.last_at_us)).scalar()
    for number, opened_us in connection.execute(_OPEN_CAPTURES).all():
        silent_us = max(opened_us, alive_us or opened_us, _last_chunk_us(connection, number))
        end = CaptureEndRow(number, silent_us, "found_open", WHY, *stream_bytes(connection, number))
        _enter(tx, "capture.found_open", at_us, "capture_end", end)
    for number in connection.execute(_OPEN_SESSIONS).scalars().all():
        _enter(tx, "session.found_dead", at_us, "session_end", SessionEndRow(number, at_us, "found_dead"))
    tx.flush()
    return tx.head


def _last_chunk_us(connection: Connection, capture_number: int) -> int:
    """Return when a capture was last heard: it may be later than the last heartbeat. [µs since 1970 UTC]"""
    statement = (
        select(chunk.c.at_us)
        .where(chunk.c.capture_number == capture_number)
        .order_by(chunk.c.number.desc())
        .limit(1)
    )
    return connection.execute(statement).scalar() or 0


def _enter(tx: Transaction, action: str, at_us: int, table: str, row: Row) -> None:
    tx.enter(action, at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows={table: [row]})
