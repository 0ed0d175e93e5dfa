"""Errors as problem documents (RFC 9457): one body for every route and every cause."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict
from pydantic.json_schema import models_json_schema
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import Match

PROBLEM_MEDIA_TYPE: Final = "application/problem+json"
_METHODS: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")


class ParameterFault(BaseModel):
    """What is wrong with one parameter of a request."""

    parameter: str
    """Its name as it stands in the address or the header."""
    location: str
    """Where it stood: query, path, header, body, or a file of the configuration."""
    detail: str
    """What came and what would be right."""


class Problem(BaseModel):
    """The body of every error."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "type": "about:blank",
                    "title": "Not Found",
                    "status": 404,
                    "detail": "there is no reading 17; the newest is 12",
                    "instance": "/api/v1/readings/17",
                    "errors": [],
                    "rule": None,
                }
            ]
        }
    )

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    instance: str
    errors: list[ParameterFault] = []
    rule: str | None = None
    """Code of the rule of the bench that refused, if it was one."""


class ProblemError(Exception):
    """A request that cannot be answered; the handler turns it into a problem document."""

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        errors: Sequence[ParameterFault] = (),
        rule: str | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = list(errors)
        self.rule = rule
        self.headers = dict(headers or {})


def not_found(detail: str) -> ProblemError:
    """Return the error for something that is not there."""
    return ProblemError(HTTPStatus.NOT_FOUND, detail)


def bad_parameter(name: str, detail: str, status: HTTPStatus = HTTPStatus.BAD_REQUEST) -> ProblemError:
    """Return the error for one query parameter; `detail` says what came and what would be right."""
    fault = ParameterFault(parameter=name, location="query", detail=detail)
    return ProblemError(status, f"the parameter {name} cannot be used: {detail}", [fault])


def problem_response(
    status: HTTPStatus,
    detail: str,
    instance: str,
    *,
    errors: Sequence[ParameterFault] = (),
    headers: Mapping[str, str] | None = None,
    rule: str | None = None,
) -> Response:
    """Return the one error body that every route answers with."""
    body = Problem(
        title=status.phrase,
        status=status.value,
        detail=detail,
        instance=instance,
        errors=list(errors),
        rule=rule,
    )
    kept = {"Cache-Control": "no-store", **(headers or {})}
    return JSONResponse(body.model_dump(), status.value, kept, media_type=PROBLEM_MEDIA_TYPE)


def documented(*statuses: HTTPStatus) -> dict[int | str, dict[str, Any]]:
    """Return what a route says of its errors in the OpenAPI document.

    The body is named and not handed over: of each one that it is handed, the framework makes a model of its
    own for every route, and those took 9 MiB. `PROBLEM_SCHEMAS` says once what is named.
    """
    return {
        status.value: {
            "description": status.phrase,
            "content": {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status in statuses
    }


PROBLEM_SCHEMAS: Final[dict[str, Any]] = models_json_schema(
    [(Problem, "serialization")], ref_template="#/components/schemas/{model}"
)[1]["$defs"]
"""For the OpenAPI document."""
DOCUMENTED: Final = documented(
    HTTPStatus.BAD_REQUEST,
    HTTPStatus.UNAUTHORIZED,
    HTTPStatus.FORBIDDEN,
    HTTPStatus.NOT_FOUND,
    HTTPStatus.UNPROCESSABLE_ENTITY,
    HTTPStatus.TOO_MANY_REQUESTS,
    HTTPStatus.SERVICE_UNAVAILABLE,
)
"""What every route says of its errors."""


def add_problem_handlers(app: FastAPI) -> None:
    """Make the app answer its own, the framework's and the router's errors as problem documents."""
    app.add_exception_handler(ProblemError, _on_problem)
    app.add_exception_handler(RequestValidationError, _on_invalid)
    app.add_exception_handler(HTTPException, _on_http)


async def _on_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)  # noqa: S101 - the framework calls us for this class alone
    return problem_response(
        error.status,
        error.detail,
        request.url.path,
        errors=error.errors,
        rule=error.rule,
        headers=error.headers,
    )


async def _on_invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - the framework calls us for this class alone
    faults = [_parameter_fault(entry) for entry in error.errors()]
    names = ", ".join(fault.parameter for fault in faults)
    return problem_response(
        HTTPStatus.UNPROCESSABLE_ENTITY, f"cannot be used as given: {names}", request.url.path, errors=faults
    )


def _parameter_fault(entry: Mapping[str, Any]) -> ParameterFault:
    location, *path = (str(part) for part in entry["loc"])
    message = str(entry["msg"]).removeprefix("Value error, ")
    if isinstance(came := entry.get("input"), str) and repr(came) not in message:
        message = f"{message}; what came is {came[:80]!r}"
    return ParameterFault(parameter=".".join(path) or location, location=location, detail=message)


async def _on_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - the framework calls us for this class alone
    status = HTTPStatus(error.status_code)
    headers = dict(error.headers or {})
    detail = str(error.detail)
    if status is HTTPStatus.NOT_FOUND:
        detail = f"there is nothing at {request.url.path}; the routes are listed at /api/v1/docs"
    if status is HTTPStatus.METHOD_NOT_ALLOWED:
        headers = {"Allow": ", ".join(_allowed_methods(request))}
        detail = f"{request.method} is not possible here; possible: {headers['Allow']}"
    return problem_response(status, detail, request.url.path, headers=headers)


def _allowed_methods(request: Request) -> tuple[str, ...]:
    """Return the methods that the request's path answers, over all routes that share it."""
    routes = request.app.router.routes
    return tuple(
        method
        for method in _METHODS
        if any(route.matches({**request.scope, "method": method})[0] is Match.FULL for route in routes)
    )
