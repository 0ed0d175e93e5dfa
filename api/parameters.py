"""What routes take in their addresses, and how a page's place is told."""

from typing import Annotated, Any, Final

from fastapi import Path, Query, Request, Response
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from api.cursors import CursorError, filter_mark, read_cursor, write_cursor
from api.problems import bad_parameter
from api.schemas.readings import OutcomeCode
from api.times import parse_rfc3339
from storage.queries import ReadingFilter

LARGEST: Final = 2**63 - 1
PAGE_LIMIT: Final = 1000

Identifier = Annotated[int, Path(ge=1, le=LARGEST)]
Limit = Annotated[int, Query(ge=1, le=PAGE_LIMIT, description="Items on one page.")]
Cursor = Annotated[str | None, Query(max_length=64, description="From `next` of the page before.")]
After = Annotated[int, Query(ge=0, le=LARGEST, description="From `next` of the page before.")]
LineName = Annotated[str | None, Query(max_length=200, description="Only this line.")]
Since = Annotated[int, Query(ge=0, le=LARGEST, description="Only what came after this ledger number.")]


def _moment(given: Any) -> Any:
    return parse_rfc3339(given) if isinstance(given, str) else given


Moment = Annotated[
    int,
    BeforeValidator(_moment),
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2025-10-03T08:15:30Z"]}),
]
"""RFC 3339 with an offset on the wire; since 1970 UTC inside. [µs]"""

Name = Annotated[str, Field(max_length=200)]


class ReadingChoice(BaseModel):
    """Which readings are wanted; what is left out asks for all."""

    model_config = ConfigDict(frozen=True)

    instrument: Name | None = Field(None, description="Only of this instrument.")
    line: Name | None = Field(None, description="Only of this line.")
    quantity: Name | None = Field(None, description="Only of this quantity, by its code.")
    outcome: OutcomeCode | None = Field(None, description="Only answers of this kind.")
    sample: Name | None = Field(None, description="Only with exactly this sample id.")
    begin: Moment | None = Field(None, alias="from", description="Heard at this time or later.")
    end: Moment | None = Field(None, alias="to", description="Heard before this time.")
    since: int = Field(0, ge=0, le=LARGEST, description="Only revisions after this ledger number.")

    def filter(self) -> ReadingFilter:
        """Return the filter for the store; refuse a range that runs backwards."""
        if self.begin is not None and self.end is not None and self.begin >= self.end:
            raise bad_parameter("to", "it is not later than from; give an end after the beginning")
        return ReadingFilter(
            self.instrument,
            self.line,
            self.quantity,
            self.outcome,
            self.sample,
            self.begin,
            self.end,
            with_withdrawn=self.since > 0,
        )


class ReadingPageChoice(ReadingChoice):
    """Which readings are wanted, and which page of them."""

    limit: int = Field(100, ge=1, le=PAGE_LIMIT, description="Items on one page.")
    cursor: str | None = Field(None, max_length=64, description="From `next` of the page before.")


def refuse_future(since: int, head: int) -> None:
    """Refuse a ledger number that was not yet given."""
    if since > head:
        raise bad_parameter("since", f"{since} lies in the future; the newest ledger number is {head}")


class Walk:
    """A walk over pages: where it stands, and the cursor of its next page."""

    def __init__(self, route: str, begin: int, cursor: str | None, **filters: object) -> None:
        self._mark = filter_mark(route, filters)
        try:
            self.place = begin if cursor is None else read_cursor(cursor, self._mark)
        except CursorError as error:
            raise bad_parameter("cursor", str(error)) from error

    def next_cursor(self, request: Request, response: Response, place: int | None) -> str | None:
        """Return the cursor of the page after `place`, and name it in a Link header; None after the last."""
        if place is None:
            return None
        cursor = write_cursor(place, self._mark)
        address = request.url.include_query_params(cursor=cursor)
        response.headers["Link"] = f'<{address}>; rel="next"'
        return cursor
