"""Pours for the API and the command line: a driver over stored captures, supposed or applied."""

import asyncio
import threading
import time
from collections.abc import Callable
from http import HTTPStatus
from typing import Final

from acquire.driver import DriverFactory
from acquire.errors import DriverError
from acquire.reasons import UNRECOGNISED
from api.acts import Act
from api.pours import PourReport, WantedDriver
from api.problems import ParameterFault, ProblemError
from bench.actor import Actor
from bench.poured import Change
from bench.pouring import Pour
from bench.repour import MakeDecoder, Poured, Reader, captures, suppose
from storage.ledger import ActorKind
from storage.queries import PouredCapture, PourScope
from storage.queries.pours import was_stopped
from storage.store import Store
from storage.writer import Writer
from tundish.driver_choice import chosen
from tundish.errors import NotTheSameDriverError
from tundish.store_sink import driver_row
from tundish.stored_decoder import StoredDecoder
from tundish.version import software_version

EXAMPLES: Final = 100
"""Changes that a report shows."""
SUPPOSE_S: Final = 20.0
"""How long the daemon supposes before it tells what it has found so far. [s]"""
BREATH_S: Final = 0.005
"""Pause after each piece, in which the daemon hears and serves. [s]"""


class Tally:
    """Gathers what a report says."""

    def __init__(self) -> None:
        self._looked_at = 0
        self._found: list[Poured] = []
        self._examples: list[tuple[int, Change]] = []

    def show(self, capture_number: int) -> Callable[[Change], None]:
        """Return what takes the changes of a capture."""

        def shown(change: Change) -> None:
            if len(self._examples) < EXAMPLES:
                self._examples.append((capture_number, change))

        return shown

    def add(self, poured: Poured) -> None:
        """Take a capture that was walked through."""
        self._looked_at += 1
        if not poured.is_same:
            self._found.append(poured)

    def report(
        self, factory: DriverFactory, number: int | None = None, *, is_complete: bool = True
    ) -> PourReport:
        """Return what was gathered."""
        identity = factory.identity
        found, examples = tuple(self._found), tuple(self._examples)
        return PourReport(
            number, identity.name, identity.version, self._looked_at, found, examples, is_complete
        )


def decoders(
    reader: Reader, factory: DriverFactory, of: PouredCapture, *, takes_refused: bool
) -> MakeDecoder:
    """Return what decodes a capture as hearing would: behind a gate, if that had closed."""
    with reader() as connection:
        gated = not takes_refused and was_stopped(connection, of.number, UNRECOGNISED)
    return lambda: StoredDecoder(factory, gated=gated)


def supposed(
    reader: Reader,
    factory: DriverFactory,
    scope: PourScope,
    *,
    takes_refused: bool = False,
    limit_s: float | None = None,
) -> PourReport:
    """Return what a driver would change in the captures of a scope; nothing is written. [s]"""
    tally, begun_s = Tally(), time.monotonic()
    for one in captures(reader, scope):
        if limit_s is not None and time.monotonic() - begun_s > limit_s:
            return tally.report(factory, is_complete=False)
        make_decoder = decoders(reader, factory, one, takes_refused=takes_refused)
        tally.add(suppose(reader, one, make_decoder, shown=tally.show(one.number)))
    return tally.report(factory)


def applied(
    reader: Reader,
    writer: Writer,
    factory: DriverFactory,
    scope: PourScope,
    actor: Actor,
    *,
    takes_refused: bool = False,
) -> PourReport:
    """Enter what a driver finds otherwise in the captures of a scope, and return what that was."""
    pour = Pour(
        reader, writer, driver_row(factory.identity), actor, scope, pause=lambda: time.sleep(BREATH_S)
    )
    tally = Tally()
    for one in captures(reader, scope):
        make_decoder = decoders(reader, factory, one, takes_refused=takes_refused)
        tally.add(pour.apply(one, make_decoder, shown=tally.show(one.number)))
    return tally.report(factory, pour.number)


class DaemonPours:
    """Pours in a thread beside the hearing, one at a time."""

    def __init__(self, store: Store, clock_us: Callable[[], int]) -> None:
        self._store = store
        self._clock_us = clock_us
        self._one_at_a_time = threading.Lock()

    async def suppose(self, driver: WantedDriver, scope: PourScope) -> PourReport:
        """Return what a driver would change; nothing is written."""
        return await asyncio.to_thread(self._suppose, driver, scope)

    async def apply(self, driver: WantedDriver, scope: PourScope, act: Act) -> PourReport:
        """Enter what a driver finds otherwise; it goes on to its end though nobody waits any more."""
        return await asyncio.to_thread(self._apply, driver, scope, act)

    def _suppose(self, driver: WantedDriver, scope: PourScope) -> PourReport:
        factory = self._chosen(driver)
        return supposed(
            self._store.reader, factory, scope, takes_refused=driver.takes_refused, limit_s=SUPPOSE_S
        )

    def _apply(self, driver: WantedDriver, scope: PourScope, act: Act) -> PourReport:
        factory = self._chosen(driver)
        by = actor_of(act.actor, act.reason, self._clock_us())
        if not self._one_at_a_time.acquire(blocking=False):
            raise ProblemError(HTTPStatus.CONFLICT, "another pour is under way; ask again when it is done")
        try:
            reader, writer = self._store.reader, self._store.writer
            return applied(reader, writer, factory, scope, by, takes_refused=driver.takes_refused)
        finally:
            self._one_at_a_time.release()

    def _chosen(self, driver: WantedDriver) -> DriverFactory:
        try:
            return chosen(driver, self._store.reader)
        except (DriverError, NotTheSameDriverError) as error:
            fault = ParameterFault(parameter="driver", location="body", detail=str(error))
            detail = f"the driver cannot be used: {error}"
            raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, detail, [fault]) from error


def actor_of(name: str, reason: str | None, at_us: int) -> Actor:
    """Return who pours. [µs since 1970 UTC]"""
    return Actor(name, ActorKind.PERSON, at_us, reason, f"tundish {software_version()}")
