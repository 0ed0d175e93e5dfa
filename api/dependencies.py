"""What a route may ask for, found on the app that serves it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Header, Request

from api.acts import Act
from api.database import Database
from api.live import Bell
from api.pages import Pages
from api.services import Services
from api.sheets.exports import Exports
from api.slowdown import Slowdown


@dataclass(frozen=True, slots=True)
class Parts:
    """What one app is made of."""

    services: Services
    database: Database
    bell: Bell
    pages: Pages
    unsubscribe: Callable[[], None]
    """Ends the ringing of the bell by the store."""
    exports: Exports = field(default_factory=Exports)
    """Lets sheets take turns."""
    failures: Slowdown = field(default_factory=Slowdown)
    """Holds answers to wrong keys back."""


def parts(request: Request) -> Parts:
    """Return the parts of the app that serves a request."""
    found = request.app.state.parts
    assert isinstance(found, Parts)  # noqa: S101 - create_app put it there
    return found


def _services(found: Annotated[Parts, Depends(parts)]) -> Services:
    return found.services


def _database(found: Annotated[Parts, Depends(parts)]) -> Database:
    return found.database


ACTOR = r"^[A-Za-z0-9][A-Za-z0-9._@-]{0,31}$"
"""Initials of a person, the name of an account or of a program."""


def _actor(
    tundish_actor: Annotated[
        str,
        Header(
            pattern=ACTOR,
            description="Who asks: initials, or the name of an account or program. It stands in the ledger.",
            examples=["AB"],
        ),
    ],
) -> str:
    """Return who asks for a change.

    What they may do, `api.callers` has decided; here they say who they are. A browser sends this header for
    no page but our own.
    """
    return tundish_actor


def act_of(actor: str, reason: str | None) -> Act:
    """Return an act with its actor and its reason, an empty one being none."""
    return Act(actor, (reason or "").strip() or None)


ManagerOf = Annotated[str, Depends(_actor)]
"""Who asks to manage the daemon: its lines, its configuration, its copies."""
PartsOf = Annotated[Parts, Depends(parts)]
ServicesOf = Annotated[Services, Depends(_services)]
DatabaseOf = Annotated[Database, Depends(_database)]
