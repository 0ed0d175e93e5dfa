"""Sheets: flat text for spreadsheets, at addresses that end in .csv."""

import hashlib
from collections.abc import AsyncIterator, Iterator
from enum import StrEnum
from http import HTTPStatus
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from api.database import Database
from api.dependencies import DatabaseOf, ServicesOf
from api.parameters import Moment, Name, ReadingChoice, refuse_future
from api.problems import bad_parameter
from api.routing import reads
from storage import queries
from storage.csv_text import DIALECTS, ResultSheetFilter, readings_csv, results_csv, results_revision
from storage.queries import ReadingFilter

router = APIRouter(prefix="/sheets", tags=["sheets"])

CSV_MEDIA_TYPE: Final = "text/csv; charset=utf-8; header=present"
SHEET_ROWS: Final = 1_048_575  # what a spreadsheet holds below its header row


StandingName = Literal["good", "provisional", "look_again", "do_not_use"]


class DialectName(StrEnum):
    """How cells are written: for programs, with a decimal point, with a decimal comma."""

    STANDARD = "standard"
    SHEET = "sheet"
    SHEET_EU = "sheet-eu"


class SheetChoice(ReadingChoice):
    """Which readings are wanted, and how they are written."""

    dialect: DialectName = Field(DialectName.STANDARD, description="How cells are written.")
    download: bool = Field(default=False, description="Ask the browser to save it as a file.")


@reads(
    router,
    "/readings.csv",
    response_class=Response,
    summary="One row a reading",
    responses={
        200: {"content": {"text/csv": {}}, "description": "A header row, and one row a reading."},
        304: {"description": "Nothing has changed since the ETag that was sent."},
    },
)
async def get_readings_csv(
    choice: Annotated[SheetChoice, Query()], request: Request, services: ServicesOf, database: DatabaseOf
) -> Response:
    """Return the current version of each reading as CSV with a header row; a cell without a number is empty.

    The same address gives the same bytes, and the same ETag, until a reading comes or changes. A spreadsheet
    cannot hold more than 1,048,575 rows: more are refused in its dialects, never cut.
    """
    wanted = choice.filter()
    head, revision = await database.read(_head_and_revision)
    refuse_future(choice.since, head)
    headers = _headers(choice, revision)
    if headers["ETag"] in request.headers.get("if-none-match", ""):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Type": CSV_MEDIA_TYPE})
    if choice.dialect is not DialectName.STANDARD:
        await database.read(_refuse_too_many, wanted, choice.since, head)
    pieces = readings_csv(
        services.store.reader,
        wanted,
        DIALECTS[choice.dialect],
        store_kind=services.settings.store_kind,
        after=choice.since,
        up_to=head,
    )
    return StreamingResponse(
        _in_reader_threads(database, pieces), headers={**headers, "Content-Type": CSV_MEDIA_TYPE}
    )


class ResultSheetChoice(BaseModel):
    """Which results are wanted, and how they are written; what is left out asks for all."""

    model_config = ConfigDict(frozen=True)

    all: bool = Field(default=False, description="Also what is not released, with its standing.")
    sample: Name | None = Field(None, description="Only of this sample, by its code.")
    lot: Name | None = Field(None, description="Only of this lot, by its code.")
    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")
    method: Name | None = Field(None, description="Only by this method, by its code.")
    instrument: Name | None = Field(None, description="Only of this instrument.")
    standing: StandingName | None = Field(None, description="Only with this standing.")
    begin: Moment | None = Field(None, alias="from", description="Measured at this time or later.")
    end: Moment | None = Field(None, alias="to", description="Measured before this time.")
    dialect: DialectName = Field(DialectName.STANDARD, description="How cells are written.")
    download: bool = Field(default=False, description="Ask the browser to save it as a file.")

    def filter(self) -> ResultSheetFilter:
        """Return the filter for the store; refuse a range that runs backwards."""
        if self.begin is not None and self.end is not None and self.begin >= self.end:
            raise bad_parameter("to", "it is not later than from; give an end after the beginning")
        return ResultSheetFilter(
            released_only=not self.all,
            sample=self.sample,
            lot=self.lot,
            quantity=self.quantity,
            method=self.method,
            instrument=self.instrument,
            standing=self.standing,
            from_us=self.begin,
            to_us=self.end,
        )


@reads(
    router,
    "/results.csv",
    response_class=Response,
    summary="One row a result",
    responses={
        200: {"content": {"text/csv": {}}, "description": "A header row, and one row a result."},
        304: {"description": "Nothing has changed since the ETag that was sent."},
    },
)
async def get_results_csv(
    choice: Annotated[ResultSheetChoice, Query()],
    request: Request,
    services: ServicesOf,
    database: DatabaseOf,
) -> Response:
    """Return results as they stand now as CSV with a header row: those that are released, or all on request.

    A cell without a number is empty; standing and reasons stand beside it.
    """
    wanted = choice.filter()
    head, revision = await database.read(_head_and_results_revision)
    query = choice.model_dump_json(exclude={"download"})
    headers = _sheet_headers("results.csv", query, revision, download=choice.download)
    if headers["ETag"] in request.headers.get("if-none-match", ""):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Type": CSV_MEDIA_TYPE})
    pieces = results_csv(
        services.store.reader,
        wanted,
        DIALECTS[choice.dialect],
        store_kind=services.settings.store_kind,
        up_to=head,
    )
    return StreamingResponse(
        _in_reader_threads(database, pieces), headers={**headers, "Content-Type": CSV_MEDIA_TYPE}
    )


def _head_and_results_revision(connection: Connection) -> tuple[int, int]:
    return queries.head(connection), results_revision(connection)


def _head_and_revision(connection: Connection) -> tuple[int, int]:
    return queries.head(connection), queries.readings_revision(connection)


def _headers(choice: SheetChoice, revision: int) -> dict[str, str]:
    query = choice.model_dump_json(exclude={"download"})
    return _sheet_headers("readings.csv", query, revision, download=choice.download)


def _sheet_headers(name: str, query: str, revision: int, *, download: bool) -> dict[str, str]:
    mark = hashlib.sha256(f"{name} {revision} {query}".encode()).hexdigest()[:20]
    headers = {"ETag": f'W/"{mark}"', "Cache-Control": "private, no-cache"}
    if download:
        headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return headers


def _refuse_too_many(connection: Connection, wanted: ReadingFilter, after: int, up_to: int) -> None:
    count = queries.count_readings(connection, wanted, after=after, up_to=up_to, limit=SHEET_ROWS + 1)
    if count > SHEET_ROWS:
        raise bad_parameter(
            "dialect",
            f"a spreadsheet holds {SHEET_ROWS} rows and there are more; narrow the readings with from and "
            "to, instrument, quantity, sample or since, or take dialect=standard",
        )


async def _in_reader_threads(database: Database, pieces: Iterator[bytes]) -> AsyncIterator[bytes]:
    """Pull each piece in a reader thread; between pieces nothing of the store is held."""
    while (piece := await database.run(lambda: next(pieces, None))) is not None:
        yield piece
