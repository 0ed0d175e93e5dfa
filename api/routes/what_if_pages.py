"""The pages of the what-if sheet: suppose something else, see what would change, apply it, take it back."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from sqlalchemy import Connection

from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.keys import Scope
from api.parameters import LARGEST, Identifier
from api.pours import PourReport, WantedDriver
from api.problems import ProblemError
from api.routing import reads
from api.times import parse_rfc3339, rfc3339
from api.what_if_view import OtherSample, WhatIfView, factors_found, read_amendment, read_sheet
from bench.amendments import FactorFrom, WhatIf
from bench.refused import NotThereError
from storage.queries import PourScope

router = APIRouter()


def _given(value: Any) -> Any:
    """Take an empty field of a form for one that was left out."""
    return None if value == "" else value


def _moment(value: Any) -> Any:
    """Take a time of a form, which names no zone, for UTC, as all times of pages are."""
    if not isinstance(value, str) or not value:
        return _given(value)
    return parse_rfc3339(value if value.endswith("Z") or "+" in value else f"{value}Z")


Text = Annotated[Annotated[str, Field(max_length=64)] | None, BeforeValidator(_given)]
Number = Annotated[Annotated[float, Field(gt=0, le=1e9, allow_inf_nan=False)] | None, BeforeValidator(_given)]
Moment = Annotated[int | None, BeforeValidator(_moment)]
Whole = Annotated[Annotated[int, Field(ge=1, le=LARGEST)] | None, BeforeValidator(_given)]


class SheetChoice(BaseModel):
    """What is supposed, as a form sends it."""

    model_config = ConfigDict(frozen=True)

    kind: Literal["factor", "aliquot", "sample", "driver"] = "factor"
    begin: Moment = None
    end: Moment = None
    titrant: Text = None
    course: Literal["step", "line"] = "step"
    found: bool = Field(default=False, description="Take the factors that standardisations found.")
    at_1: Moment = None
    factor_1: Number = None
    at_2: Moment = None
    factor_2: Number = None
    at_3: Moment = None
    factor_3: Number = None
    method: Text = None
    sample_ml: Number = Field(None, description="[mL]")
    reading: Whole = None
    sample: Text = None
    line: Text = None
    driver: Text = None

    def factors(self) -> tuple[FactorFrom, ...]:
        """Return the factors that were typed; one without a time holds from the beginning of the window."""
        typed = (
            (self.at_1, self.factor_1),
            (self.at_2, self.factor_2),
            (self.at_3, self.factor_3),
        )
        begin = self.begin or 0
        return tuple(
            FactorFrom(begin if at is None else at, factor) for at, factor in typed if factor is not None
        )

    def supposed(self, found: tuple[FactorFrom, ...]) -> WhatIf | OtherSample | None:
        """Return what is supposed; None until enough of it is chosen."""
        if self.kind == "sample":
            return None if not self.reading or not self.sample else OtherSample(self.reading, self.sample)
        if self.begin is None or self.end is None:
            return None
        if self.kind == "factor" and self.titrant and (found or self.factors()):
            factors = found or self.factors()
            return WhatIf(self.begin, self.end, titrant=self.titrant, factors=factors, course=self.course)
        if self.kind == "aliquot" and self.method and self.sample_ml:
            return WhatIf(self.begin, self.end, method=self.method, sample_ml=self.sample_ml)
        return None


def _body(what: WhatIf | OtherSample | None) -> dict[str, Any]:
    """Return the body that applies what is supposed."""
    if isinstance(what, OtherSample):
        return {"samples": {str(what.reading): what.sample}}
    if what is None:
        return {}
    body: dict[str, Any] = {"begin": rfc3339(what.from_us), "end": rfc3339(what.to_us)}
    if what.titrant is None:
        return body | {"method": what.method, "sample_ml": what.sample_ml}
    factors = [{"at": rfc3339(one.at_us), "factor": one.factor} for one in what.factors]
    return body | {"titrant": what.titrant, "course": what.course, "factors": factors}


@reads(router, "/what-if")
async def sheet_page(
    choice: Annotated[SheetChoice, Query()], request: Request, parts: PartsOf, database: DatabaseOf
) -> HTMLResponse:
    """Show what would change if a factor, an aliquot or a sample had been another; nothing is written."""
    what, view = await database.read(_sheet, choice)
    return parts.pages.draw(request, "what_if.html", view=view, choice=choice, body=_body(what), poured=None)


def _sheet(connection: Connection, choice: SheetChoice) -> tuple[WhatIf | OtherSample | None, WhatIfView]:
    found: tuple[FactorFrom, ...] = ()
    try:
        if choice.kind == "factor" and choice.found and choice.titrant:
            found = factors_found(connection, choice.titrant)
    except NotThereError:
        found = ()
    what = choice.supposed(found)
    return what, read_sheet(connection, what, choice.titrant)


@reads(router, "/what-if/driver", scope=Scope.MANAGE)
async def driver_page(
    choice: Annotated[SheetChoice, Query()],
    request: Request,
    parts: PartsOf,
    database: DatabaseOf,
    services: ServicesOf,
) -> HTMLResponse:
    """Show what another driver would read in the captures of a line; nothing is written."""
    _, view = await database.read(_sheet, choice.model_copy(update={"kind": "driver"}))
    poured: PourReport | ProblemError | None = None
    if choice.line and choice.driver:
        scope = PourScope(choice.line, None, from_us=choice.begin, to_us=choice.end)
        try:
            poured = await services.pours.suppose(WantedDriver(choice.driver), scope)
        except ProblemError as error:
            poured = error
    body = {"line": choice.line, "driver": choice.driver}
    times = {"from": choice.begin, "to": choice.end}
    body |= {name: rfc3339(at) for name, at in times.items() if at is not None}
    shown = choice.model_copy(update={"kind": "driver"})
    return parts.pages.draw(request, "what_if.html", view=view, choice=shown, body=body, poured=poured)


@reads(router, "/what-if/{number}")
async def amendment_page(
    number: Identifier, request: Request, parts: PartsOf, database: DatabaseOf
) -> HTMLResponse:
    """Show an amendment with each of its results, and take it back."""
    view = await database.read(read_amendment, number)
    return parts.pages.draw(request, "amendment.html", view=view)
