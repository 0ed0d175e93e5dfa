"""Stored captures through a driver: what would change; applied here, or by the daemon that holds it."""

import json
import time
from pathlib import Path
from typing import Any

import click

from api.pours import PourReport
from api.schemas.pours import PourReportBody, PourWanted, report_body
from storage import schema_version
from storage.errors import StorageError, StoreBusyError
from storage.place import Place, place_of
from storage.store import open_store
from tundish.address_file import address_beside
from tundish.commands.daemon_client import ask
from tundish.config import load_config
from tundish.driver_choice import chosen
from tundish.errors import DaemonUnreachableError
from tundish.pours import actor_of, applied, supposed
from tundish.store_address import store_address

POUR_S = 24 * 3600.0
"""Longest that the daemon may take over a pour: years of captures are poured in hours. [s]"""

OLDER = "{place} is of an older schema; start the daemon of this version once, which brings it up to date"


def pour_store(
    config_file: Path, body: dict[str, Any], actor: str | None, reason: str | None, *, as_json: bool
) -> None:
    """Say what a driver would change in a store, or with an actor: change it and say what that was."""
    config = load_config(config_file)
    folder = config_file.resolve().parent
    address = store_address(config.store, folder)
    place = place_of(address)
    if not place.is_there():
        raise StorageError(f"there is no store at {place}; check which one {config_file} names")
    wanted = PourWanted.model_validate(_with_text(body))
    if actor is None:
        report = report_body(_supposed(place, wanted))
    else:
        report = _applied(place, config.store.kind, wanted, actor, reason or "")
    click.echo(report.model_dump_json() if as_json else in_words(report, is_applied=actor is not None))


def _with_text(body: dict[str, Any]) -> dict[str, Any]:
    """Put the text of a driver file in the place of its path: who pours may be another program."""
    driver = body["driver"]
    if driver is None or not driver.endswith(".toml"):
        return body
    from acquire.registry import DriverRegistry

    return body | {"driver": None, "definition": DriverRegistry().factory(driver).identity.definition}


def _supposed(place: Place, wanted: PourWanted) -> PourReport:
    """Read beside whoever holds the store; nothing is written."""
    engine = place.reading_engine()
    try:
        with engine.begin() as connection:
            if schema_version.check(connection, str(place)) != schema_version.newest():
                raise StorageError(OLDER.format(place=place))
        factory = chosen(wanted.wanted_driver(), engine.begin)
        return supposed(engine.begin, factory, wanted.scope(), takes_refused=wanted.take_refused)
    finally:
        engine.dispose()


def _applied(place: Place, kind: str, wanted: PourWanted, actor: str, reason: str) -> PourReportBody:
    try:
        store = open_store(place, kind=kind, clock_us=_now_us)
    except StoreBusyError:
        return _told(place, wanted, actor, reason)
    try:
        factory = chosen(wanted.wanted_driver(), store.reader)
        by = actor_of(actor, reason, _now_us())
        refused, scope = wanted.take_refused, wanted.scope()
        return report_body(applied(store.reader, store.writer, factory, scope, by, takes_refused=refused))
    finally:
        store.close()


def _told(place: Place, wanted: PourWanted, actor: str, reason: str) -> PourReportBody:
    address = address_beside(Path(str(place)))
    if address is None:
        raise DaemonUnreachableError(f"the program that holds {place} does not say where it serves")
    body = wanted.model_dump(mode="json", by_alias=True, exclude_none=True) | {"reason": reason}
    answer = ask(f"{address}/api/v1/pours", actor, body, POUR_S)
    return PourReportBody.model_validate_json(json.dumps(answer))


def _now_us() -> int:
    return time.time_ns() // 1000


def in_words(report: PourReportBody, *, is_applied: bool) -> str:
    """Return a report as lines for a person."""
    lines = [f"{report.driver} {report.driver_version} over {report.looked_at} captures"]
    for one in report.captures:
        counts = f"{one.changed} changed, {one.added} added, {one.withdrawn} withdrawn"
        frames = ", cut into other frames" if one.reshaped else ""
        wait = "; WAITS until its line is stopped" if one.must_wait else ""
        lines.append(f"  capture {one.capture_id} of {one.line}: {counts}{frames}{wait}")
    for change in report.changes[:20]:
        before = _side(change.before) if change.before else "nothing"
        after = _side(change.after) if change.after else "nothing"
        lines.append(f"    capture {change.capture_id}, byte {change.frame_offset}: {before} -> {after}")
    if not report.captures:
        lines.append("nothing differs; nothing was entered")
    elif is_applied:
        lines.append(f"entered as pour {report.ledger_number}; the old versions stay readable")
    else:
        lines.append("nothing was entered; --apply enters it")
    return "\n".join(lines)


def _side(one: Any) -> str:
    sample = f" of {one.sample}" if one.sample else ""
    if one.outcome == "value":
        return f"{one.quantity} {one.value_text} {one.unit}{sample}"
    return f"{one.quantity} {one.outcome} ({one.value_text}){sample}"
