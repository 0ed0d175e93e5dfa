"""Sheets: flat rows for spreadsheets and programs, at addresses that end in .csv or .xlsx."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Query, Response

from api.routing import Endpoint, reads
from api.sheets import choices as of
from api.sheets.answers import AskedOf
from api.sheets.xlsx import MEDIA_TYPE

router = APIRouter(prefix="/sheets", tags=["sheets"])


def _lay(name: str, summary: str) -> Callable[[Endpoint], Endpoint]:
    """Lay the route of a sheet; what it answers follows from its ending."""
    media_type = "text/csv" if name.endswith(".csv") else MEDIA_TYPE

    def lay(endpoint: Endpoint) -> Endpoint:
        route = reads(
            router,
            f"/{name}",
            response_class=Response,
            summary=summary,
            responses={
                200: {"content": {media_type: {}}, "description": "A header row, and the rows."},
                304: {"description": "Nothing has changed since the ETag that was sent."},
            },
        )
        return route(endpoint)

    return lay


@_lay("readings.csv", "One row a reading")
async def get_readings_csv(choice: Annotated[of.ReadingsCsv, Query()], asked: AskedOf) -> Response:
    """Return the current version of each reading as CSV with a header row; a cell without a number is empty.

    The same address gives the same bytes, and the same ETag, until a reading comes or changes. A spreadsheet
    cannot hold more than 1,048,575 rows: more are refused in its dialects, never cut.
    """
    return await asked.csv(choice, choice.wanted())


@_lay("readings.xlsx", "One row a reading, as a workbook")
async def get_readings_xlsx(choice: Annotated[of.ReadingsXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook, whose cells have types: no locale can misread them."""
    return await asked.xlsx(choice, choice.wanted())


@_lay("results.csv", "One row a result")
async def get_results_csv(choice: Annotated[of.ResultsCsv, Query()], asked: AskedOf) -> Response:
    """Return results as they stand now as CSV with a header row: those that are released, or all on request.

    A cell without a number is empty; standing and reasons stand beside it.
    """
    return await asked.csv(choice, choice.wanted())


@_lay("results.xlsx", "One row a result, as a workbook")
async def get_results_xlsx(choice: Annotated[of.ResultsXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted())


@_lay("wide.csv", "One row a sample")
async def get_wide_csv(choice: Annotated[of.WideCsv, Query()], asked: AskedOf) -> Response:
    """Return one row a sample and three columns a quantity: its newest value, its standing and a note.

    The unit stands in the head of the column. Quantities stand in the order in which they first came, so
    that a new one stands at the end; `quantities` names them and their order.
    """
    return await asked.csv(choice, choice.wanted())


@_lay("wide.xlsx", "One row a sample, as a workbook")
async def get_wide_xlsx(choice: Annotated[of.WideXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted())


@_lay("lots.csv", "The newest of each lot")
async def get_lots_csv(choice: Annotated[of.LotsCsv, Query()], asked: AskedOf) -> Response:
    """Return the newest result of each lot and quantity with its age in days.

    Ages count up to `at`; without it, up to the minute that has begun, so that an address without `at` gives
    the same bytes within that minute alone.
    """
    return await asked.csv(choice, choice.wanted(asked.now_us))


@_lay("lots.xlsx", "The newest of each lot, as a workbook")
async def get_lots_xlsx(choice: Annotated[of.LotsXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted(asked.now_us))


@_lay("calibrations.csv", "Calibrations and their like")
async def get_calibrations_csv(choice: Annotated[of.ControlCsv, Query()], asked: AskedOf) -> Response:
    """Return calibrations, verifications, standardisations, blanks, pump factors, mass checks as judged."""
    return await asked.csv(choice, choice.wanted("calibrations"))


@_lay("calibrations.xlsx", "Calibrations and their like, as a workbook")
async def get_calibrations_xlsx(choice: Annotated[of.ControlXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted("calibrations"))


@_lay("checks.csv", "Control materials that were measured")
async def get_checks_csv(choice: Annotated[of.ControlCsv, Query()], asked: AskedOf) -> Response:
    """Return each measurement of a control material with the verdict on it."""
    return await asked.csv(choice, choice.wanted("checks"))


@_lay("checks.xlsx", "Control materials that were measured, as a workbook")
async def get_checks_xlsx(choice: Annotated[of.ControlXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted("checks"))


@_lay("amendments.csv", "Values that were amended")
async def get_amendments_csv(choice: Annotated[of.AmendmentsCsv, Query()], asked: AskedOf) -> Response:
    """Return each amended value beside the original, with the state of its amendment, by whom and why."""
    return await asked.csv(choice, choice.wanted())


@_lay("amendments.xlsx", "Values that were amended, as a workbook")
async def get_amendments_xlsx(choice: Annotated[of.AmendmentsXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted())


@_lay("additions.csv", "Additions")
async def get_additions_csv(choice: Annotated[of.AdditionsCsv, Query()], asked: AskedOf) -> Response:
    """Return each addition: what was planned, weighed and done, by whom and why."""
    return await asked.csv(choice, choice.wanted())


@_lay("additions.xlsx", "Additions, as a workbook")
async def get_additions_xlsx(choice: Annotated[of.AdditionsXlsx, Query()], asked: AskedOf) -> Response:
    """Return the same rows as a workbook."""
    return await asked.xlsx(choice, choice.wanted())
