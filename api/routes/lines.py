"""How each line is doing."""

from fastapi import APIRouter

from api.dependencies import ServicesOf
from api.problems import not_found
from api.routing import reads
from api.schemas.doctor import DoctorBody, doctor_body
from api.schemas.lines import LineBody, LinesBody, line_body
from api.services import LineState, Services

router = APIRouter(tags=["lines"])


@reads(router, "/lines", response_model=LinesBody, summary="Every configured line")
async def list_lines(services: ServicesOf) -> LinesBody:
    """Return how every line is doing, in the order of the configuration."""
    return LinesBody(items=[line_body(state) for state in services.lines.states()])


@reads(router, "/lines/{line}", response_model=LineBody, summary="One line")
async def get_line(line: str, services: ServicesOf) -> LineBody:
    """Return how one line is doing, why, and what to do."""
    return line_body(_state_of(line, services))


@reads(router, "/lines/{line}/doctor", response_model=DoctorBody, summary="What seems wrong with a line")
async def examine_line(line: str, services: ServicesOf) -> DoctorBody:
    """Return what was seen of a line since the daemon started, with hints at what seems wrong with it."""
    state = _state_of(line, services)
    return doctor_body(state.line, await services.doctor.report(state.line))


def _state_of(line: str, services: Services) -> LineState:
    states = services.lines.states()
    for state in states:
        if state.line == line:
            return state
    names = ", ".join(state.line for state in states) or "none"
    raise not_found(f"there is no line {line!r}; configured lines: {names}")
