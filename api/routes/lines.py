"""How each line is doing."""

from fastapi import APIRouter

from api.dependencies import ServicesOf
from api.problems import not_found
from api.routing import reads
from api.schemas.lines import LineBody, LinesBody, line_body

router = APIRouter(tags=["lines"])


@reads(router, "/lines", response_model=LinesBody, summary="Every configured line")
async def list_lines(services: ServicesOf) -> LinesBody:
    """Return how every line is doing, in the order of the configuration."""
    return LinesBody(items=[line_body(state) for state in services.lines.states()])


@reads(router, "/lines/{line}", response_model=LineBody, summary="One line")
async def get_line(line: str, services: ServicesOf) -> LineBody:
    """Return how one line is doing, why, and what to do."""
    states = services.lines.states()
    for state in states:
        if state.line == line:
            return line_body(state)
    names = ", ".join(state.line for state in states) or "none"
    raise not_found(f"there is no line {line!r}; configured lines: {names}")
