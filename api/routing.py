"""How routes are laid: each read answers GET and HEAD, and takes no parameter that it does not know."""

from collections import Counter
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from http import HTTPStatus
from typing import Any, Final, TypeVar

from fastapi import APIRouter, Depends, Request
from fastapi.dependencies.utils import get_flat_params
from fastapi.params import ParamTypes
from fastapi.routing import APIRoute

from api.callers import Wants, described
from api.credentials import KEY_PARAMETER
from api.keys import Scope
from api.problems import ParameterFault, ProblemError, documented

REFUSALS_OF_WRITES: Final = documented(
    HTTPStatus.CONFLICT,
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    HTTPStatus.SERVICE_UNAVAILABLE,
)

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])


def reads(
    router: APIRouter,
    path: str,
    *,
    scope: Scope = Scope.READ,
    head: Callable[..., Any] | None = None,
    **options: Any,
) -> Callable[[Endpoint], Endpoint]:
    """Lay a route for GET and HEAD; only GET is in the OpenAPI document.

    `scope` is what a key must be for. `head` answers HEAD where the endpoint itself must not run for it, such
    as a stream without an end.
    """

    def lay(endpoint: Endpoint) -> Endpoint:
        asked = _asked_of_callers(scope, options)
        router.add_api_route(path, endpoint, methods=["GET"], **options, **asked)
        quiet = {**({} if head is not None else options), **asked, "include_in_schema": False}
        router.add_api_route(path, head or endpoint, methods=["HEAD"], **quiet)
        return endpoint

    return lay


def writes(
    router: APIRouter, method: str, path: str, *, scope: Scope = Scope.BENCH, **options: Any
) -> Callable[[Endpoint], Endpoint]:
    """Lay a route that changes something, with what it may refuse in the OpenAPI document.

    `scope` is what a key must be for.
    """

    def lay(endpoint: Endpoint) -> Endpoint:
        responses = {**REFUSALS_OF_WRITES, **options.pop("responses", {})}
        asked = _asked_of_callers(scope, options)
        router.add_api_route(path, endpoint, methods=[method], responses=responses, **options, **asked)
        return endpoint

    return lay


def _asked_of_callers(scope: Scope, options: dict[str, Any]) -> dict[str, Any]:
    """Take what a route asks of everybody out of its options and return it with what it asks of callers."""
    return {
        "dependencies": [Depends(Wants(scope)), *options.pop("dependencies", [])],
        "openapi_extra": {**described(scope), **options.pop("openapi_extra", {})},
    }


def refuse_unknown_parameters(request: Request) -> None:
    """Refuse a request with a query parameter that its route does not take, or that comes more than once.

    A misspelt filter, or the first of two, would be ignored: wrong rows that look right.
    """
    known = _query_parameters(request.scope["route"])
    times = Counter(name for name, _ in request.query_params.multi_items() if name != KEY_PARAMETER)
    unknown = {name: _right_name(name, known) for name in times if name not in known}
    _refuse("unknown parameter", unknown)
    twice = {name: f"it came {count} times; give it once" for name, count in times.items() if count > 1}
    _refuse("repeated parameter", twice)


def _refuse(what: str, details: Mapping[str, str]) -> None:
    if details:
        faults = [
            ParameterFault(parameter=name, location="query", detail=detail)
            for name, detail in details.items()
        ]
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, f"{what}: {', '.join(details)}", faults)


def _query_parameters(route: object) -> list[str]:
    if not isinstance(route, APIRoute):
        return []
    fields = get_flat_params(route.dependant)
    # The fields of a model of parameters do not say where they stand; all our models are of the query.
    return [f.alias for f in fields if getattr(f.field_info, "in_", ParamTypes.query) is ParamTypes.query]


def _right_name(name: str, known: list[str]) -> str:
    close = get_close_matches(name, known, n=1)
    hint = f"did you mean {close[0]}? " if close else ""
    return f"{hint}this route takes {', '.join(known)}" if known else "this route takes no parameters"
