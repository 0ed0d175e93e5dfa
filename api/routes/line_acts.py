"""Lines added, changed, stopped and started while the daemon runs."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Response

from api.dependencies import ManagerOf, ServicesOf, act_of
from api.keys import Scope
from api.routing import reads, writes
from api.schemas.acts import (
    ActBody,
    LineActAnswer,
    LineActBody,
    LineSettingsBody,
    ReloadAnswer,
    line_settings_body,
    reload_answer,
)
from api.schemas.lines import line_body
from api.services import Services

router = APIRouter(tags=["lines"])

NOTHING_SAID = ActBody(reason=None)
ReasonOf = Annotated[
    str | None, Query(max_length=1000, description="Why, in words; it stands in the ledger.")
]


@reads(
    router,
    "/lines/{line}/settings",
    scope=Scope.MANAGE,
    response_model=LineSettingsBody,
    summary="What is configured of a line",
)
async def get_line_settings(line: str, services: ServicesOf) -> LineSettingsBody:
    """Return the line as a table of the configuration, ready to be changed and put back."""
    return line_settings_body(services.line_control.settings(line))


@writes(
    router,
    "POST",
    "/lines",
    scope=Scope.MANAGE,
    response_model=LineActAnswer,
    status_code=HTTPStatus.CREATED,
    summary="Add a line",
)
async def add_line(
    body: LineActBody, actor: ManagerOf, services: ServicesOf, response: Response
) -> LineActAnswer:
    """Add a line and open it, as if it stood in the configuration.

    It is checked as `tundish check` does, kept in a file beside the configuration, and entered in the ledger.
    """
    number = await services.line_control.add(body.line, act_of(actor, body.reason))
    name = str(body.line["name"])
    response.headers["Location"] = f"/api/v1/lines/{name}"
    return _answer(services, name, number)


@writes(
    router, "PUT", "/lines/{line}", scope=Scope.MANAGE, response_model=LineActAnswer, summary="Change a line"
)
async def change_line(line: str, body: LineActBody, actor: ManagerOf, services: ServicesOf) -> LineActAnswer:
    """Put another table in the place of a line's and open it anew; what it had heard is kept.

    The table counts as a whole: what it leaves out is as if it were left out of the configuration.
    """
    number = await services.line_control.change(line, body.line, act_of(actor, body.reason))
    return _answer(services, line, number)


@writes(
    router,
    "POST",
    "/lines/{line}/stop",
    scope=Scope.MANAGE,
    response_model=LineActAnswer,
    summary="Stop a line",
)
async def stop_line(
    line: str, actor: ManagerOf, services: ServicesOf, body: ActBody = NOTHING_SAID
) -> LineActAnswer:
    """Stop a line until it is started, also across a restart of the daemon; its port is free for others."""
    number = await services.line_control.stop(line, act_of(actor, body.reason))
    return _answer(services, line, number)


@writes(
    router,
    "POST",
    "/lines/{line}/start",
    scope=Scope.MANAGE,
    response_model=LineActAnswer,
    summary="Start a line",
)
async def start_line(
    line: str, actor: ManagerOf, services: ServicesOf, body: ActBody = NOTHING_SAID
) -> LineActAnswer:
    """Start a line that was stopped, has ended or has failed; one that runs is left alone."""
    number = await services.line_control.start(line, act_of(actor, body.reason))
    return _answer(services, line, number)


@writes(
    router,
    "DELETE",
    "/lines/{line}",
    scope=Scope.MANAGE,
    response_model=LineActAnswer,
    summary="Remove a line",
)
async def remove_line(
    line: str, actor: ManagerOf, services: ServicesOf, reason: ReasonOf = None
) -> LineActAnswer:
    """Stop a line that was added over the API and forget it; what it has heard stays.

    A line of the configuration file itself is refused: take it out there.
    """
    number = await services.line_control.remove(line, act_of(actor, reason))
    return LineActAnswer(ledger_number=number, line=None)


@writes(
    router,
    "POST",
    "/reload",
    scope=Scope.MANAGE,
    response_model=ReloadAnswer,
    summary="Read the configuration again",
)
async def reload_configuration(
    actor: ManagerOf, services: ServicesOf, body: ActBody = NOTHING_SAID
) -> ReloadAnswer:
    """Bring the lines in step with the configuration, as SIGHUP does; with a fault in it, nothing changes."""
    return reload_answer(await services.line_control.reload(act_of(actor, body.reason)))


def _answer(services: Services, name: str, number: int | None) -> LineActAnswer:
    state = next((state for state in services.lines.states() if state.line == name), None)
    return LineActAnswer(ledger_number=number, line=None if state is None else line_body(state))
