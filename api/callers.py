"""Who asks, and whether they may: every request gets a caller before it reaches a route.

What comes in at the loopback listener without a key may do everything, unless the configuration says
otherwise: it sits at this machine. What comes in from the network needs a key. A key that comes is always
looked at, wherever it comes from; a wrong one never counts as none.
"""

from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

import structlog
from fastapi import Request
from starlette.types import ASGIApp, Receive, Send
from starlette.types import Scope as Connection

from api.credentials import HOW, KEY_PARAMETER, CredentialsError, GivenKey, given_key
from api.database import Database
from api.keys import Scope, key_hash
from api.problems import ProblemError, problem_response
from api.services import ApiSettings
from api.slowdown import Slowdown
from storage.queries.keys import key_by_hash

NETWORK: Final = "tundish.network"
"""Marks what came in at the network listener."""
CALLER: Final = "caller"
CHALLENGE: Final = 'Basic realm="tundish", charset="UTF-8", Bearer realm="tundish"'
RETRY_AFTER_S: Final = 10
"""[s]"""

_log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks."""

    scope: Scope
    key_name: str | None = None
    """None if no key came."""


class RefusedCallerError(Exception):
    """The request is not let in."""

    def __init__(self, status: HTTPStatus, detail: str, *, is_guess: bool = False) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.is_guess = is_guess
        """Whether a key came that is none of ours."""


def network_side(app: ASGIApp) -> ASGIApp:
    """Return the app as the network listener serves it."""

    async def marked(scope: Connection, receive: Receive, send: Send) -> None:
        await app({**scope, NETWORK: True}, receive, send)

    return marked


async def identify(scope: Connection, settings: ApiSettings, database: Database) -> Caller:
    """Return who asks.

    Raises
    ------
    RefusedCallerError
        If a key is wanting, wrong, revoked, or stands where it may not.
    """
    try:
        given = given_key(scope)
    except CredentialsError as error:
        raise RefusedCallerError(HTTPStatus.UNAUTHORIZED, str(error)) from error
    if given is not None:
        return await _holder(given, database)
    is_open = settings.network_open if scope.get(NETWORK) else settings.loopback_open
    if is_open:
        return Caller(Scope.MANAGE)
    raise RefusedCallerError(HTTPStatus.UNAUTHORIZED, f"a key is wanted here; {HOW}")


async def _holder(given: GivenKey, database: Database) -> Caller:
    held = await database.read(key_by_hash, key_hash(given.text))
    if held is None:
        detail = f"the key that came is none of this store; {HOW}"
        raise RefusedCallerError(HTTPStatus.UNAUTHORIZED, detail, is_guess=True)
    if held.ended_at_us is not None:
        detail = f"the key {held.name!r} (number {held.number}) was revoked; ask for a new one"
        raise RefusedCallerError(HTTPStatus.UNAUTHORIZED, detail, is_guess=True)
    if given.in_address and Scope(held.scope) is not Scope.READ:
        raise RefusedCallerError(
            HTTPStatus.FORBIDDEN,
            f"the key {held.name!r} may do more than read, so it may not stand in an address, which is kept "
            f"in histories and logs; {HOW}. It has stood in one now: revoke it and make another",
        )
    return Caller(Scope(held.scope), held.name)


class KeyGuard:
    """Let nobody in whose key is wanting or wrong, and note who it is that was let in."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Connection, receive: Receive, send: Send) -> None:
        """Pass the request on with its caller, or answer why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        parts = scope["app"].state.parts
        settings: ApiSettings = parts.services.settings
        failures: Slowdown = parts.failures
        peer = peer_of(scope)
        try:
            caller = await identify(scope, settings, parts.database)
        except RefusedCallerError as refused:
            answer = await self._refusal(refused, scope, peer, failures, settings.failure_pause_s)
            await answer(scope, receive, send)
            return
        if caller.key_name is not None:
            failures.right(peer)
        scope.setdefault("state", {})[CALLER] = caller
        await self._app(scope, receive, send)

    async def _refusal(
        self, refused: RefusedCallerError, scope: Connection, peer: str, failures: Slowdown, pause_s: float
    ) -> ASGIApp:
        status, detail, headers = refused.status, refused.detail, {}
        if refused.is_guess:
            _log.warning("key.refused", peer=peer, method=scope["method"], path=scope["path"], why=detail)
            if not await failures.wrong(peer, pause_s):
                status = HTTPStatus.TOO_MANY_REQUESTS
                detail = "too many wrong keys came at once; ask again later, with a right one"
                headers["Retry-After"] = str(RETRY_AFTER_S)
        if status is HTTPStatus.UNAUTHORIZED:
            headers["WWW-Authenticate"] = CHALLENGE
        return problem_response(status, detail, scope["path"], headers=headers)


def peer_of(scope: Connection) -> str:
    """Return the address from which a request came."""
    client = scope.get("client")
    return str(client[0]) if client else "unknown"


def caller_of(request: Request) -> Caller:
    """Return who asks, as `KeyGuard` noted it."""
    found = getattr(request.state, CALLER, None)
    assert isinstance(found, Caller)  # noqa: S101 - no request reaches a route without
    return found


def refuse_below(request: Request, wanted: Scope) -> None:
    """Refuse a caller whose key may do less than is wanted."""
    caller = caller_of(request)
    if not caller.scope.allows(wanted):
        raise ProblemError(
            HTTPStatus.FORBIDDEN,
            f"the key {caller.key_name!r} may {caller.scope.value}, and this wants a key that may "
            f"{wanted.value}",
        )


class Wants:
    """What a route wants of its caller, as a dependency of that route."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope

    def __call__(self, request: Request) -> None:
        """Refuse who may do less."""
        refuse_below(request, self.scope)


SECURITY_SCHEMES: Final[dict[str, dict[str, Any]]] = {
    "bearer": {"type": "http", "scheme": "bearer", "description": "A key, in the header Authorization."},
    "basic": {"type": "http", "scheme": "basic", "description": "Any user name, and a key as password."},
    "address": {
        "type": "apiKey",
        "in": "query",
        "name": KEY_PARAMETER,
        "description": "A key that may only read, in the address.",
    },
}
"""For the OpenAPI document."""


def described(scope: Scope) -> dict[str, Any]:
    """Return what the OpenAPI document says of a route's keys; at this machine none is needed."""
    ways: list[dict[str, list[str]]] = [{}, {"bearer": []}, {"basic": []}]
    return {"security": [*ways, {"address": []}] if scope is Scope.READ else ways, "x-scope": scope.value}
