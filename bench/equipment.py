"""The equipment register: services and changes of parts, read from the versions of an instrument's record."""

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.kinds.laboratory import Instrument
from bench.records import find, find_usable, read, revise
from bench.refused import Fault, MalformedError
from storage.queries.records import record_history
from storage.transaction import Transaction


class PartChange(NamedTuple):
    """A part that was put in, taken out or changed."""

    part: str
    before: str | None
    after: str | None


class Service(NamedTuple):
    """What was done to an instrument at one time."""

    version: int
    at_us: int
    """From when it held. [µs]"""
    what: str
    parts: tuple[PartChange, ...]
    next_due: datetime | None
    actor: str
    reason: str | None


def serve(
    tx: Transaction,
    actor: Actor,
    code: str,
    *,
    what: str,
    parts: Mapping[str, str],
    at_us: int,
    next_due: datetime | None = None,
) -> int:
    """Enter a service or a change of parts as the next version of an instrument; return its number. [µs]

    A part with an empty name was taken out. Raises `MalformedError` if nothing was done, or in the future.
    """
    if at_us > actor.at_us:
        raise MalformedError("act.future", "nothing was served in the future", Fault("at", "later than now"))
    if not what.strip() and not parts:
        detail = "say what was done, or which part was changed"
        raise MalformedError("equipment.nothing_done", detail, Fault("what", detail))
    known = find_usable(tx.connection, Instrument, code)
    body = known.body.model_dump(mode="json")
    fitted = {**body["parts"], **parts}
    body["parts"] = {name: part for name, part in fitted.items() if part}
    body["last_service"] = what.strip()
    body["service_due"] = None if next_due is None else next_due.isoformat()
    return revise(
        tx,
        actor,
        "instrument",
        code,
        body,
        valid_from_us=at_us,
        expected_version=known.version.version,
    )


def services_of(connection: Connection, code: str) -> list[Service]:
    """Return what was done to an instrument, oldest first: each version that differs in service or parts."""
    found: list[Service] = []
    before = Instrument(name="")
    for change in record_history(connection, find(connection, Instrument, code).record_id):
        now = read(change.version, Instrument).body
        parts = tuple(_changes(before.parts, now.parts))
        if parts or (now.last_service and now.last_service != before.last_service):
            found.append(
                Service(
                    change.version.version,
                    change.version.valid_from_us,
                    now.last_service,
                    parts,
                    now.service_due,
                    change.actor,
                    change.reason,
                )
            )
        before = now
    return found


def _changes(before: Mapping[str, str], after: Mapping[str, str]) -> list[PartChange]:
    names = sorted({*before, *after})
    return [
        PartChange(name, before.get(name), after.get(name))
        for name in names
        if before.get(name) != after.get(name)
    ]
