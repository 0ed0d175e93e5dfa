"""Alerts: the few causes of the due list that put numbers in use at stake, until somebody has seen them.

An alert lasts as long as its cause. Acknowledged once, the same cause is not told again; another one is.
"""

from collections.abc import Sequence
from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.due import DueItem, alerts_of
from bench.refused import Fault, NotThereError, RefusedError
from storage.bench_rows import AlertEndRow, AlertRow
from storage.queries.office import acknowledged_alerts
from storage.transaction import Transaction

SHOWN: Final = 5
"""Most alerts told at once; the others are counted. Our choice: a longer list is not read."""


def standing_alerts(connection: Connection, due: Sequence[DueItem]) -> list[DueItem]:
    """Return the alerts that nobody has acknowledged, ranked."""
    causes = alerts_of(due)
    seen = _seen(connection, causes)
    return [one for one in causes if one.key not in seen]


def acknowledge(tx: Transaction, actor: Actor, due: Sequence[DueItem], key: str) -> int:
    """Enter that a person has seen an alert, and return its number.

    Raises
    ------
    NotThereError
        If no such cause stands now.
    RefusedError
        If somebody acknowledged it already.
    """
    causes = alerts_of(due)
    place = next((place for place, one in enumerate(causes, start=1) if one.key == key), None)
    if place is None:
        raise NotThereError(
            "alert.unknown",
            f"there is no alert {key!r} now: its cause has passed, or another one has come",
            Fault("key", "take it from /api/v1/alerts"),
        )
    one = causes[place - 1]
    if key in _seen(tx.connection, [one]):
        raise RefusedError("alert.acknowledged", f"somebody acknowledged {key!r} already")
    number = tx.next_number
    evidence = to_text({"key": key, "words": one.kind.words, "evidence": one.evidence})
    tx.enter(
        "alert.acknowledged",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={
            "alert": [AlertRow(one.code, one.subject, place, max(one.since_us, 0), evidence)],
            "alert_end": [AlertEndRow(number, "acknowledged")],
        },
    )
    return number


def _seen(connection: Connection, causes: Sequence[DueItem]) -> set[str]:
    """Return the keys of causes that were acknowledged."""
    return {
        from_text(one.evidence)["key"]
        for one in acknowledged_alerts(connection, [(one.code, one.subject) for one in causes])
    }
