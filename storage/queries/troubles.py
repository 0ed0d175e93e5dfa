"""What went wrong: time in which a line was not heard, and faults of our own."""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from storage.schema import fault, gap


@dataclass(frozen=True, slots=True)
class GapRecord:
    """Time in which a line was not heard."""

    number: int
    line: str
    instrument: str
    begin_us: int
    end_us: int
    why: str
    lost_bytes: int | None


@dataclass(frozen=True, slots=True)
class FaultRecord:
    """Something of ours that failed."""

    number: int
    capture_number: int | None
    line: str | None
    source: str
    text: str


def gaps_before(
    connection: Connection, *, before: int | None, limit: int, line: str | None = None
) -> list[GapRecord]:
    """Return gaps with a number below `before`, newest first."""
    statement = select(gap).order_by(gap.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(gap.c.number < before)
    if line is not None:
        statement = statement.where(gap.c.line == line)
    return [GapRecord(*row) for row in connection.execute(statement)]


def faults_before(connection: Connection, *, before: int | None, limit: int) -> list[FaultRecord]:
    """Return faults with a number below `before`, newest first."""
    statement = select(fault).order_by(fault.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(fault.c.number < before)
    return [FaultRecord(*row) for row in connection.execute(statement)]
