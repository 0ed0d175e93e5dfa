"""Alerts that people have seen, and cards as they were signed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, select, tuple_

from storage.schema import alert, alert_end, card, ledger


@dataclass(frozen=True, slots=True)
class SeenAlert:
    """An alert that was acknowledged, by whom and when."""

    number: int
    code: str
    subject: str
    evidence: str
    """Canonical JSON."""
    actor: str
    at_us: int
    reason: str | None


@dataclass(frozen=True, slots=True)
class SignedCard:
    """A card with who signed it and when."""

    number: int
    kind: str
    day: str
    items: str
    """Canonical JSON."""
    actor: str
    at_us: int


def acknowledged_alerts(connection: Connection, subjects: Sequence[tuple[str, str]]) -> list[SeenAlert]:
    """Return what was acknowledged of certain codes and subjects."""
    if not subjects:
        return []
    query = _seen().where(tuple_(alert.c.code, alert.c.subject).in_(subjects))
    return [SeenAlert(*row) for row in connection.execute(query)]


def newest_acknowledged(connection: Connection, limit: int) -> list[SeenAlert]:
    """Return what was acknowledged last, newest first."""
    query = _seen().order_by(alert.c.number.desc()).limit(limit)
    return [SeenAlert(*row) for row in connection.execute(query)]


def _seen() -> Select[Any]:
    query: Select[Any] = (
        select(
            alert.c.number,
            alert.c.code,
            alert.c.subject,
            alert.c.evidence,
            ledger.c.actor,
            ledger.c.at_us,
            ledger.c.reason,
        )
        .join(alert_end, alert_end.c.alert_id == alert.c.number)
        .join(ledger, ledger.c.number == alert_end.c.number)
        .where(alert_end.c.how == "acknowledged")
    )
    return query


def card_of_day(connection: Connection, kind: str, day: str) -> SignedCard | None:
    """Return the card of a day."""
    row = connection.execute(_cards(kind).where(card.c.day == day)).first()
    return None if row is None else SignedCard(*row)


def newest_card(connection: Connection, kind: str) -> SignedCard | None:
    """Return the card that was signed last."""
    row = connection.execute(_cards(kind).order_by(card.c.number.desc()).limit(1)).one_or_none()
    return None if row is None else SignedCard(*row)


def _cards(kind: str) -> Select[Any]:
    query: Select[Any] = (
        select(card.c.number, card.c.kind, card.c.day, card.c["items"], ledger.c.actor, ledger.c.at_us)
        .join(ledger, ledger.c.number == card.c.number)
        .where(card.c.kind == kind)
    )
    return query
