"""The printed card of an addition, as a page and as plain text."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, PlainTextResponse
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.parameters import Identifier
from api.routing import reads
from bench.addition_card import Card, card_of, card_text
from bench.additions import known

router = APIRouter()


@reads(router, "/additions/{number}/card")
async def card_page(
    number: Identifier, request: Request, parts: PartsOf, database: DatabaseOf
) -> HTMLResponse:
    """Show what to weigh, what to expect of it, the cautions, and the lines to fill in."""
    return parts.pages.draw(request, "addition_card.html", card=await database.read(_card, number))


@reads(router, "/additions/{number}/card.txt")
async def card_as_text(number: Identifier, database: DatabaseOf, services: ServicesOf) -> PlainTextResponse:
    """Return the card as plain text for any printer."""
    text = card_text(await database.read(_card, number))
    kind = services.settings.store_kind
    banner = "" if kind == "real" else f"{kind.upper()} DATA. Nothing here was measured on a real wine.\n\n"
    return PlainTextResponse(banner + text, headers={"Cache-Control": "no-store"})


def _card(connection: Connection, number: int) -> Card:
    return card_of(connection, known(connection, number))
