"""The pages of additions: which there are, what a plan would do, and one from the balance to the retest."""

from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from api.addition_view import read_addition, read_additions, read_plan
from api.dependencies import DatabaseOf, PartsOf, ServicesOf
from api.parameters import LARGEST, Identifier
from api.routing import reads
from bench.addition_plan import Asked

router = APIRouter()
PAGE_ROWS = 40


class Shown(StrEnum):
    """Which additions a person wants to see."""

    OPEN = "open"
    """Planned or weighed, and not yet done."""
    ALL = "all"


WORDS = {Shown.OPEN: "to be made", Shown.ALL: "every addition"}


def _given(value: Any) -> Any:
    """Take an empty field of a form for one that was left out."""
    return None if value == "" else value


Text = Annotated[Annotated[str, Field(max_length=64)] | None, BeforeValidator(_given)]
Number = Annotated[Annotated[float, Field(ge=0, le=1e9, allow_inf_nan=False)] | None, BeforeValidator(_given)]


class PlanChoice(BaseModel):
    """What somebody wants to add, as a form sends it."""

    model_config = ConfigDict(frozen=True)

    lot: Text = None
    substance: Text = None
    dose_mg_l: Number = Field(None, description="[mg/L]")
    target_free_mg_l: Number = Field(None, description="[mg/L]")
    volume_l: Number = Field(None, description="[L]")
    step_g: Number = Field(None, description="[g]")
    water_ml: Number = Field(None, description="[mL]")

    def body(self) -> dict[str, Any]:
        """Return the same as the body that plans it."""
        return self.model_dump(exclude_none=True)

    def asked(self) -> Asked | None:
        """Return what is asked; None until lot, substance and amount are chosen."""
        if not self.lot or not self.substance or (self.dose_mg_l, self.target_free_mg_l) == (None, None):
            return None
        return Asked(**self.body())


@reads(router, "/additions")
async def additions_page(
    *,
    request: Request,
    parts: PartsOf,
    database: DatabaseOf,
    services: ServicesOf,
    show: Shown = Shown.ALL,
    lot: Annotated[str | None, Query(max_length=64)] = None,
    before: Annotated[int, Query(ge=1, le=LARGEST)] = LARGEST,
) -> HTMLResponse:
    """Show additions, newest first, with how far each is and when its wine is to be measured again."""
    only_open = show is Shown.OPEN
    found = await database.read(
        lambda connection: read_additions(
            connection, lot, before, services.clock_us(), only_open=only_open, limit=PAGE_ROWS
        )
    )
    kinds = [(one.value, WORDS[one]) for one in Shown]
    return parts.pages.draw(request, "additions.html", found=found, show=show.value, kinds=kinds, lot=lot)


@reads(router, "/additions/plan")
async def plan_page(
    choice: Annotated[PlanChoice, Query()],
    request: Request,
    parts: PartsOf,
    database: DatabaseOf,
    services: ServicesOf,
) -> HTMLResponse:
    """Work out what an addition would do, from the latest results; it is planned by one more act."""
    view = await database.read(read_plan, choice.asked(), choice.lot, services.clock_us())
    return parts.pages.draw(request, "addition_plan.html", view=view, choice=choice, body=choice.body())


@reads(router, "/additions/{number}")
async def addition_page(
    number: Identifier, request: Request, parts: PartsOf, database: DatabaseOf, services: ServicesOf
) -> HTMLResponse:
    """Show one addition: weigh it, say that it is done, and what was found after it."""
    view = await database.read(read_addition, number, services.clock_us())
    return parts.pages.draw(request, "addition.html", view=view)
