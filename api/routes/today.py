"""What must be done: the due list, the alerts, the opening and closing cards, and the page of the day."""

from http import HTTPStatus
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.desk import DeskOf
from api.routing import reads, writes
from api.schemas.bench import MadeAnswer
from api.schemas.today import AcknowledgeBody, AlertsBody, CardBody, DueListBody, SignBody
from api.times import rfc3339
from api.today import Day, alerts_body, card_body, day_of, due_bodies
from bench import alerts as acts
from bench import cards
from bench.actor import Actor
from storage.transaction import Transaction

router = APIRouter(tags=["today"])
pages = APIRouter()
Kind = Literal["opening", "closing"]
DayText = Annotated[
    str | None, Query(pattern=r"^\d{4}-\d{2}-\d{2}$", description="The local date; today by UTC if left out.")
]


@reads(router, "/due", response_model=DueListBody, summary="What must be done")
async def get_due(database: DatabaseOf, services: ServicesOf) -> DueListBody:
    """Return what is due now and soon, the gravest first, each with what to do."""
    day = day_of(services)
    items = await database.read(day.due)
    return DueListBody(now=rfc3339(day.now_us), items=due_bodies(items, day.now_us))


@reads(router, "/alerts", response_model=AlertsBody, summary="The few that matter")
async def get_alerts(database: DatabaseOf, services: ServicesOf) -> AlertsBody:
    """Return the causes that put numbers in use at stake and that nobody has seen, ranked."""
    day = day_of(services)
    return await database.read(lambda connection: alerts_body(connection, day.due(connection)))


@writes(
    router,
    "POST",
    "/alerts/acknowledge",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Say that an alert was seen",
)
async def acknowledge(body: AcknowledgeBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Acknowledge an alert, once: the same cause is not told again."""
    day = day_of(services)

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        return {"id": acts.acknowledge(tx, by, day.due(tx.connection), body.key)}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@reads(router, "/cards/{kind}", response_model=CardBody, summary="Opening or closing card")
async def get_card(kind: Kind, database: DatabaseOf, services: ServicesOf, day: DayText = None) -> CardBody:
    """Return a card: each point true, untrue with its evidence, or for a person to look at."""
    now = day_of(services)
    return await database.read(_card, kind, day or rfc3339(now.now_us)[:10], now)


def _card(connection: Connection, kind: str, day: str, now: Day) -> CardBody:
    return card_body(connection, kind, day, now.due(connection), now)


@writes(
    router,
    "POST",
    "/cards/{kind}",
    response_model=MadeAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Sign a card",
)
async def sign_card(kind: Kind, body: SignBody, desk: DeskOf, services: ServicesOf) -> Any:
    """Sign a card once a day: every point true, done, or given a reason, which is carried over."""
    now = day_of(services)

    def work(tx: Transaction, by: Actor) -> dict[str, Any]:
        points = cards.points_of(kind, now.due(tx.connection), now.around(tx.connection), now.now_us)
        made = cards.sign(tx, by, kind, body.day, points, done=body.done, reasons=body.reasons)
        return {"id": made}

    return await desk.act(work, reason=body.reason, status=HTTPStatus.CREATED)


@reads(pages, "/today")
async def today_page(
    request: Request, parts: PartsOf, services: ServicesOf, database: DatabaseOf
) -> HTMLResponse:
    """Show what must be done today at a glance, ready to be printed."""
    now = day_of(services)
    facts = await database.read(_today, now)
    return parts.pages.draw(request, "today.html", **facts)


def _today(connection: Connection, now: Day) -> dict[str, Any]:
    due = now.due(connection)
    bodies = due_bodies(due, now.now_us)
    date = rfc3339(now.now_us)[:10]
    alerts = alerts_body(connection, due)
    told = {(one.code, one.subject) for one in alerts.items}
    return {
        "date": date,
        "alerts": alerts,
        "seen": [one for one in alerts.acknowledged if one.at[:10] == date],
        "now_due": [one for one in bodies if one.is_due and (one.code, one.subject) not in told],
        "soon": [one for one in bodies if not one.is_due],
        "cards": [card_body(connection, kind, date, due, now) for kind in cards.CARDS],
    }
