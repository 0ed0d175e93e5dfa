"""Instruments: everything that is configured or was ever heard."""

from collections.abc import Sequence

from fastapi import APIRouter
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.routing import reads
from api.schemas.instruments import InstrumentBody, InstrumentsBody
from api.schemas.lines import optional_time
from api.schemas.readings import reading_body
from api.services import LineState
from storage import queries
from storage.queries import InstrumentRecord, ReadingFilter

router = APIRouter(tags=["instruments"])


@reads(router, "/instruments", response_model=InstrumentsBody, summary="Every instrument")
async def list_instruments(services: ServicesOf, database: DatabaseOf) -> InstrumentsBody:
    """Return every instrument with its lines, drivers, quantities and newest reading."""
    return await database.read(_instruments, services.lines.states())


def _instruments(connection: Connection, states: Sequence[LineState]) -> InstrumentsBody:
    heard = {record.instrument: record for record in queries.instruments(connection)}
    names = sorted({*heard, *(state.instrument for state in states)})
    return InstrumentsBody(items=[_instrument(connection, name, heard.get(name), states) for name in names])


def _instrument(
    connection: Connection, name: str, heard: InstrumentRecord | None, states: Sequence[LineState]
) -> InstrumentBody:
    own = [state for state in states if state.instrument == name]
    newest = queries.newest_readings(connection, ReadingFilter(instrument=name), limit=1)
    return InstrumentBody(
        instrument=name,
        lines=sorted({*(heard.lines if heard else ()), *(state.line for state in own)}),
        drivers=sorted({*(heard.drivers if heard else ()), *(state.driver for state in own)}),
        quantities=queries.instrument_quantities(connection, name),
        last_opened_at=optional_time(heard.last_opened_us if heard else None),
        last_reading=reading_body(newest[0]) if newest else None,
    )
