"""One log entry for each answer to a reader, where the configuration asks for it: who looked at what."""

import time
from typing import Final
from urllib.parse import parse_qsl, urlencode

import structlog
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.callers import CALLER, peer_of
from api.credentials import KEY_PARAMETER

READS: Final = frozenset({"GET", "HEAD"})

_log = structlog.get_logger(__name__)


class Audit:
    """Log each read once its answer is done; what is written stands in the ledger."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, counting its answer."""
        if scope["type"] != "http" or scope["method"] not in READS or not _is_on(scope):
            await self._app(scope, receive, send)
            return
        status, size, begun_s = 0, 0, time.monotonic()

        async def counted(message: Message) -> None:
            nonlocal status, size
            status = message.get("status", status)
            size += len(message.get("body", b""))
            await send(message)

        try:
            await self._app(scope, receive, counted)
        finally:
            _log.info(
                "read.answered",
                key=_key_name(scope),
                peer=peer_of(scope),
                method=scope["method"],
                path=scope["path"],
                query=_without_key(scope),
                status=status,
                size_bytes=size,
                took_s=round(time.monotonic() - begun_s, 3),
            )


def _is_on(scope: Scope) -> bool:
    return bool(scope["app"].state.parts.services.settings.audit_reads)


def _key_name(scope: Scope) -> str | None:
    """Return the name of the key that was let in; None if none came or it was refused."""
    caller = scope.get("state", {}).get(CALLER)
    return getattr(caller, "key_name", None)


def _without_key(scope: Scope) -> str:
    pairs = parse_qsl(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)
    return urlencode([(name, value) for name, value in pairs if name != KEY_PARAMETER])
