"""Instruments that were heard, and the drivers that read them."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from storage.queries.distinct import distinct
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
    names = connection.execute(distinct(capture.c.instrument)).scalars().all()
    return [_instrument_record(connection, name) for name in names]


def _instrument_record(connection: Connection, name: str) -> InstrumentRecord:
    own = [
        _newest_opening(connection, name, line, driver_number)
        for line in connection.execute(distinct(capture.c.line, capture.c.instrument == name)).scalars().all()
        for driver_number in _drivers_on(connection, name, line)
    ]
    return InstrumentRecord(
        name,
        tuple(dict.fromkeys(line for line, _, _ in own)),
        tuple(dict.fromkeys(driver_name for _, driver_name, _ in own)),
        max(opened_us for _, _, opened_us in own),
    )


def _drivers_on(connection: Connection, instrument: str, line: str) -> Sequence[int]:
    there = (capture.c.instrument == instrument, capture.c.line == line)
    return connection.execute(distinct(capture.c.driver_number, *there)).scalars().all()


def _newest_opening(
    connection: Connection, instrument: str, line: str, driver_number: int
) -> tuple[str, str, int]:
    """Return line, name of the driver and the moment of the newest capture of all three. [µs]"""
    statement = (
        select(capture.c.line, driver.c.name, capture.c.opened_at_us)
        .join(driver, driver.c.number == capture.c.driver_number)
        .where(capture.c.instrument == instrument, capture.c.line == line)
        .where(capture.c.driver_number == driver_number)
        .order_by(capture.c.number.desc())
        .limit(1)
    )
    found_line, name, opened_us = connection.execute(statement).one()
    return found_line, name, opened_us


def instrument_quantities(connection: Connection, instrument: str) -> list[str]:
    """Return the quantities that an instrument ever gave."""
    statement = distinct(reading.c.quantity, reading.c.instrument == instrument)
    return list(connection.execute(statement).scalars())
