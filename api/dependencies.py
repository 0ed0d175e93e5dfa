"""What a route may ask for, found on the app that serves it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from api.database import Database
from api.live import Bell
from api.pages import Pages
from api.services import Services


@dataclass(frozen=True, slots=True)
class Parts:
    """What one app is made of."""

    services: Services
    database: Database
    bell: Bell
    pages: Pages
    unsubscribe: Callable[[], None]
    """Ends the ringing of the bell by the store."""


def parts(request: Request) -> Parts:
    """Return the parts of the app that serves a request."""
    found = request.app.state.parts
    assert isinstance(found, Parts)  # noqa: S101 - create_app put it there
    return found


def _services(found: Annotated[Parts, Depends(parts)]) -> Services:
    return found.services


def _database(found: Annotated[Parts, Depends(parts)]) -> Database:
    return found.database


PartsOf = Annotated[Parts, Depends(parts)]
ServicesOf = Annotated[Services, Depends(_services)]
DatabaseOf = Annotated[Database, Depends(_database)]
