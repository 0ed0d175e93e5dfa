"""The running of the daemon: copies of the store, and the host's clock."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, select

from storage.schema import backup, clock_event, heartbeat, ledger


@dataclass(frozen=True, slots=True)
class BackupRecord:
    """A checked copy that was made."""

    number: int
    file: str
    made_at_us: int
    head_number: int
    """The entry with which the copy ends."""
    size_bytes: int
    actor: str


@dataclass(frozen=True, slots=True)
class ClockEventRecord:
    """The host's clock was judged anew, or was seen to step."""

    number: int
    at_us: int
    event: str
    quality: str
    why: str
    max_error_us: int | None
    step_us: int | None


def backups_before(connection: Connection, *, before: int | None, limit: int) -> list[BackupRecord]:
    """Return copies that were entered with a number below `before`, newest first."""
    statement = (
        select(
            backup.c.number,
            backup.c.file,
            backup.c.made_at_us,
            backup.c.head_number,
            backup.c.size_bytes,
            ledger.c.actor,
        )
        .join(ledger, ledger.c.number == backup.c.number)
        .order_by(backup.c.number.desc())
        .limit(limit)
    )
    if before is not None:
        statement = statement.where(backup.c.number < before)
    return [BackupRecord(*row) for row in connection.execute(statement)]


def last_backup(connection: Connection) -> BackupRecord | None:
    """Return the copy that was entered last, or None."""
    return next(iter(backups_before(connection, before=None, limit=1)), None)


_SELECT_CLOCK_EVENTS: Final = select(
    clock_event.c.number,
    ledger.c.at_us,
    clock_event.c.event,
    clock_event.c.quality,
    clock_event.c.why,
    clock_event.c.max_error_us,
    clock_event.c.step_us,
).join(ledger, ledger.c.number == clock_event.c.number)


def clock_events_before(connection: Connection, *, before: int | None, limit: int) -> list[ClockEventRecord]:
    """Return what was noted of the host's clock with a number below `before`, newest first."""
    statement = _SELECT_CLOCK_EVENTS.order_by(clock_event.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(clock_event.c.number < before)
    return [ClockEventRecord(*row) for row in connection.execute(statement)]


def last_clock_step(connection: Connection) -> ClockEventRecord | None:
    """Return the newest step of the host's clock, or None."""
    statement = (
        _SELECT_CLOCK_EVENTS.where(clock_event.c.event == "stepped")
        .order_by(clock_event.c.number.desc())
        .limit(1)
    )
    row = connection.execute(statement).one_or_none()
    return None if row is None else ClockEventRecord(*row)


def last_alive_us(connection: Connection) -> int | None:
    """Return when a daemon was last seen alive on this store, by the host's clock of then. [µs]"""
    return connection.execute(select(heartbeat.c.last_at_us)).scalar()
