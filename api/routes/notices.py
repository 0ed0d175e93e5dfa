"""What instruments said beside readings: the points of their curves, and their reports."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from api.dependencies import DatabaseOf
from api.parameters import LARGEST, PAGE_LIMIT, Name, Walk, refuse_future
from api.routing import reads
from api.schemas.notices import CurvePointsPage, ReportKind, ReportsPage, point_body, report_body
from bench.canonical_json import from_text
from storage import queries
from storage.queries import NoticeFilter, PointRecord, ReportRecord

router = APIRouter(tags=["notices"])


class _NoticeChoice(BaseModel):
    """What is wanted of what instruments said, and which page of it; what is left out asks for all."""

    model_config = ConfigDict(frozen=True)

    instrument: Name | None = Field(None, description="Only of this instrument.")
    line: Name | None = Field(None, description="Only of this line.")
    capture: int | None = Field(None, ge=1, le=LARGEST, description="Only of this capture.")
    since: int = Field(0, ge=0, le=LARGEST, description="Only what came after this ledger number.")
    limit: int = Field(100, ge=1, le=PAGE_LIMIT, description="Items on one page.")
    cursor: str | None = Field(None, max_length=64, description="From `next` of the page before.")


class PointChoice(_NoticeChoice):
    """Which points of curves are wanted."""

    sample: Name | None = Field(None, description="Only with exactly this sample id.")

    def filter(self) -> NoticeFilter:
        """Return the filter for the store."""
        return NoticeFilter(self.instrument, self.line, self.capture, sample=self.sample)


class ReportChoice(_NoticeChoice):
    """Which reports are wanted."""

    kind: ReportKind | None = Field(None, description="Only of this kind.")

    def filter(self) -> NoticeFilter:
        """Return the filter for the store."""
        return NoticeFilter(self.instrument, self.line, self.capture, kind=self.kind)


@reads(router, "/curve-points", response_model=CurvePointsPage, summary="Points of curves, oldest first")
async def list_curve_points(
    choice: Annotated[PointChoice, Query()], request: Request, response: Response, database: DatabaseOf
) -> CurvePointsPage:
    """Return a page of the points of running titrations, each with all its signals."""
    wanted = choice.filter()
    walk = Walk("curve-points", choice.since, choice.cursor, since=choice.since, filter=wanted)

    def page(connection: Connection) -> tuple[int, list[PointRecord]]:
        found = queries.points_after(connection, wanted, after=walk.place, limit=choice.limit + 1)
        return queries.head(connection), found

    head, records = await database.read(page)
    refuse_future(choice.since, head)
    last = records[choice.limit - 1].number if len(records) > choice.limit else None
    return CurvePointsPage(
        items=[point_body(record) for record in records[: choice.limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )


@reads(router, "/reports", response_model=ReportsPage, summary="What instruments reported, oldest first")
async def list_reports(
    choice: Annotated[ReportChoice, Query()], request: Request, response: Response, database: DatabaseOf
) -> ReportsPage:
    """Return a page of calibration reports, beginnings and ends of runs, status codes and identities."""
    wanted = choice.filter()
    walk = Walk("reports", choice.since, choice.cursor, since=choice.since, filter=wanted)

    def page(connection: Connection) -> tuple[int, list[ReportRecord]]:
        found = queries.reports_after(connection, wanted, after=walk.place, limit=choice.limit + 1)
        return queries.head(connection), found

    head, records = await database.read(page)
    refuse_future(choice.since, head)
    last = records[choice.limit - 1].number if len(records) > choice.limit else None
    return ReportsPage(
        items=[report_body(record, from_text(record.body)) for record in records[: choice.limit]],
        next=walk.next_cursor(request, response, last),
        head=head,
    )
