"""One app for many tests: its routes are laid once, what it stands on is exchanged for each test."""

from fastapi import FastAPI

from api.app import create_app
from api.database import Database
from api.dependencies import Parts
from api.live import Bell
from api.pages import Pages
from api.services import Services

_laid: list[FastAPI] = []


def app_on(services: Services) -> FastAPI:
    """Return an app that serves these services, with the guards of the default settings; close it after use.

    Laying a hundred routes takes a third of a second, which is longer than most tests.
    """
    if not _laid:
        _laid.append(create_app(services))
        return _laid[0]
    bell = Bell()
    _laid[0].state.parts = Parts(
        services,
        Database(services.store),
        bell,
        Pages(services),
        services.commits.subscribe(bell.ring),
    )
    return _laid[0]
