"""Instruments that were heard, and the drivers that read them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from storage.schema import capture, driver, reading


@dataclass(frozen=True, slots=True)
class DriverRecord:
    """A driver that has read something."""

    number: int
    name: str
    version: str
    definition_sha256: str
    definition: str


@dataclass(frozen=True, slots=True)
class InstrumentRecord:
    """An instrument that was heard at least once."""

    instrument: str
    lines: tuple[str, ...]
    drivers: tuple[str, ...]
    last_opened_us: int


def driver_by_number(connection: Connection, number: int) -> DriverRecord | None:
    """Return a driver as it was when it was first used, or None."""
    row = connection.execute(select(driver).where(driver.c.number == number)).one_or_none()
    return None if row is None else DriverRecord(*row)


def driver_number(connection: Connection, name: str, version: str, definition_sha256: str) -> int | None:
    """Return the entry of exactly this driver, or None if it was never used."""
    statement = select(driver.c.number).where(
        driver.c.name == name,
        driver.c.version == version,
        driver.c.definition_sha256 == definition_sha256,
    )
    return connection.execute(statement).scalar()


def drivers(connection: Connection) -> list[DriverRecord]:
    """Return every driver that was ever used."""
    return [DriverRecord(*row) for row in connection.execute(select(driver).order_by(driver.c.number))]


def instruments(connection: Connection) -> list[InstrumentRecord]:
    """Return every instrument that was ever heard, by name."""
    rows = connection.execute(
        select(capture.c.instrument, capture.c.line, driver.c.name, func.max(capture.c.opened_at_us))
        .join(driver, driver.c.number == capture.c.driver_number)
        .group_by(capture.c.instrument, capture.c.line, driver.c.name)
        .order_by(capture.c.instrument)
    ).all()
    return [_instrument_record(name, rows) for name in dict.fromkeys(row[0] for row in rows)]


def _instrument_record(name: str, rows: Sequence[Any]) -> InstrumentRecord:
    own = [row for row in rows if row[0] == name]
    return InstrumentRecord(
        name,
        tuple(dict.fromkeys(row[1] for row in own)),
        tuple(dict.fromkeys(row[2] for row in own)),
        max(row[3] for row in own),
    )


def instrument_quantities(connection: Connection, instrument: str) -> list[str]:
    """Return the quantities that an instrument ever gave."""
    statement = (
        select(reading.c.quantity)
        .where(reading.c.instrument == instrument)
        .distinct()
        .order_by(reading.c.quantity)
    )
    return list(connection.execute(statement).scalars())
