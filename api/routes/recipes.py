"""The page of recipes: what to paste where, for the reader's own address and key."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, ConfigDict, Field

from api.callers import caller_of
from api.credentials import given_key
from api.dependencies import PartsOf
from api.recipes import CANNOT, KEY_TO_FILL_IN, SHEETS, Reader, address, recipes
from api.routing import reads
from api.sheets.forms import ZoneName

router = APIRouter()


SheetName = Literal[
    "readings", "results", "wide", "lots", "calibrations", "checks", "amendments", "additions"
]


class RecipeChoice(BaseModel):
    """For which sheet, and with times in which zone."""

    model_config = ConfigDict(frozen=True)

    sheet: SheetName = Field("results", description="Which sheet.")
    tz: ZoneName | Literal[""] = Field("", description="Times in this zone; UTC without.")


@reads(router, "/sheets")
async def recipes_page(
    choice: Annotated[RecipeChoice, Query()], request: Request, parts: PartsOf
) -> HTMLResponse:
    """Show the recipes of one sheet."""
    base = str(request.base_url).rstrip("/")
    reader = Reader(base, _key(request), choice.tz or None)
    return parts.pages.draw(
        request,
        "sheets.html",
        sheet=choice.sheet,
        zone=choice.tz,
        sheets=SHEETS,
        key=reader.key,
        recipes=recipes(choice.sheet, reader),
        text=address(choice.sheet, reader, download="true"),
        book=address(choice.sheet, reader, "xlsx", download="true"),
        cannot=CANNOT,
    )


def _key(request: Request) -> str | None:
    """Return the reader's key if it stands in the address already, else a word to be replaced by one."""
    if caller_of(request).key_name is None:
        return None
    given = given_key(request.scope)
    return given.text if given is not None and given.in_address else KEY_TO_FILL_IN
