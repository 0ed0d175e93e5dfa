"""One value for one cell: as plain text, and as a small XML document that a cell function takes apart."""

from typing import Annotated, Final
from xml.sax.saxutils import escape

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, ServicesOf
from api.parameters import Moment
from api.problems import bad_parameter, not_found
from api.routing import reads
from api.sheets.forms import DialectName
from api.times import rfc3339
from storage.csv_text import DIALECTS
from storage.sheets.one_value import OneValue, newest_value, record_named

router = APIRouter(prefix="/sheets", tags=["sheets"])

USABLE: Final = frozenset({"good", "provisional"})
"""Standings with which a value may stand in a cell by itself, where nothing beside it warns."""

Code = Annotated[str, Field(max_length=40)]


class CellChoice(BaseModel):
    """Which value is wanted: the newest released one of a lot or a sample."""

    model_config = ConfigDict(frozen=True)

    quantity: Code = Field(description="Code of the quantity.", examples=["free_so2"])
    lot: Code | None = Field(None, description="Code of the lot; or give a sample.")
    sample: Code | None = Field(None, description="Code of the sample; or give a lot.")
    method: Code | None = Field(None, description="Only by this method, by its code.")
    at: Moment | None = Field(None, description="What was measured later is left out.")


class TextChoice(CellChoice):
    """The same, and how the number is written."""

    dialect: DialectName = Field(DialectName.STANDARD, description="sheet-eu writes a decimal comma.")


def _found(connection: Connection, choice: CellChoice) -> OneValue | None:
    kind, code = ("lot", choice.lot) if choice.lot is not None else ("sample", choice.sample)
    if code is None or (choice.lot is not None and choice.sample is not None):
        raise bad_parameter("lot", "give a lot or a sample, one of the two")
    record_id = record_named(connection, kind, code)
    if record_id is None:
        raise not_found(f"there is no {kind} {code!r}")
    return newest_value(
        connection,
        choice.quantity,
        lot_id=record_id if kind == "lot" else None,
        sample_id=record_id if kind == "sample" else None,
        method=choice.method,
        at_us=choice.at,
    )


def cell_text(found: OneValue | None) -> str:
    """Return the number if there is one that may be used, else words that no arithmetic takes for one."""
    if found is None:
        return ""
    if found.outcome != "value" or found.numeral is None:
        return found.outcome.replace("_", " ")
    if found.standing not in USABLE:
        return (found.standing or "not judged").replace("_", " ")
    return found.numeral


@reads(
    router,
    "/value.txt",
    response_class=Response,
    summary="One value as text",
    responses={200: {"content": {"text/plain": {}}, "description": "A number, words why not, or nothing."}},
)
async def get_value_text(choice: Annotated[TextChoice, Query()], database: DatabaseOf) -> Response:
    """Return the newest released value and nothing else; nothing at all where there is none.

    Where it may not be used, or there is no number, words stand in its place, so that arithmetic with the
    cell fails instead of giving a wrong answer.
    """
    found = await database.read(_found, choice)
    text = cell_text(found)
    if found is not None and text == found.numeral:
        text = text.replace(".", DIALECTS[choice.dialect].decimal_mark)
    return Response(text, media_type="text/plain", headers={"Cache-Control": "private, no-cache"})


@reads(
    router,
    "/value.xml",
    response_class=Response,
    summary="One value as XML",
    responses={200: {"content": {"application/xml": {}}, "description": "One element a fact."}},
)
async def get_value_xml(
    choice: Annotated[CellChoice, Query()], database: DatabaseOf, services: ServicesOf
) -> Response:
    """Return the newest released value with its unit, standing, time and sample, one element each."""
    found = await database.read(_found, choice)
    document = _xml(found, services.settings.store_kind)
    return Response(document, media_type="application/xml", headers={"Cache-Control": "private, no-cache"})


def _xml(found: OneValue | None, store_kind: str) -> str:
    facts: dict[str, str | int | None] = {"value": cell_text(found)}
    if found is not None:
        facts |= {
            "unit": found.unit,
            "basis": found.basis,
            "outcome": found.outcome,
            "standing": found.standing,
            "measured_at": rfc3339(found.at_us),
            "sample": found.sample,
            "quantity": found.quantity,
            "result_id": found.result_id,
            "revision": found.revision,
        }
    facts["store"] = store_kind
    told = [f"  <{name}>{escape(str(fact))}</{name}>" for name, fact in facts.items() if fact is not None]
    return "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', "<result>", *told, "</result>", ""])
