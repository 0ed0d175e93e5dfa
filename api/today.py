"""What routes and page show of the day: due list, alerts and cards, as bodies."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from api.schemas.today import (
    AlertBody,
    AlertsBody,
    CardBody,
    DueBody,
    LeftOpenBody,
    PointBody,
    SeenAlertBody,
    SignatureBody,
    SignedPointBody,
)
from api.services import Services
from api.times import rfc3339
from api.vitals import read_vitals
from bench.alerts import SHOWN, standing_alerts
from bench.canonical_json import from_text
from bench.cards import left_open, points_of, signed_of
from bench.due import DueItem, is_now
from bench.due_list import Surroundings, due_list
from storage.queries.office import newest_acknowledged

OPEN_STATES = frozenset({"open", "opening", "stopped"})
"""A line that was stopped on purpose is no trouble, and one that is opening is none yet."""
SEEN_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Day:
    """What is asked of the store, with what the daemon knows beside it."""

    now_us: int
    store_kind: str
    lines_not_open: tuple[tuple[str, str, int], ...]
    store_why: str
    clock_quality: str

    def around(self, connection: Connection) -> Surroundings:
        """Return everything that the due list takes in beside the records."""
        vitals = read_vitals(connection)
        return Surroundings(
            self.lines_not_open,
            self.store_why,
            vitals.backup_is_due(self.now_us, self.store_kind),
            self.clock_quality != "not_in_step",
        )

    def due(self, connection: Connection) -> list[DueItem]:
        """Return the due list of the moment."""
        return due_list(connection, self.now_us, self.around(connection))


def day_of(services: Services) -> Day:
    """Return this moment, as the daemon knows it; called on the event loop."""
    report = services.health.report()
    return Day(
        services.clock_us(),
        services.settings.store_kind,
        tuple(
            (one.line, one.why or one.state, one.since_us)
            for one in services.lines.states()
            if one.state not in OPEN_STATES
        ),
        "" if report.store_ok else report.store_why,
        report.clock_quality,
    )


def due_bodies(items: Sequence[DueItem], now_us: int) -> list[DueBody]:
    """Return the bodies of a ranked due list."""
    return [
        DueBody(
            rank=rank,
            code=one.code,
            subject=one.subject,
            since=_since(one),
            is_due=is_now(one, now_us),
            words=one.kind.words,
            action=one.kind.action,
            evidence=one.evidence,
        )
        for rank, one in enumerate(items, start=1)
    ]


def _since(one: DueItem) -> str | None:
    return rfc3339(one.since_us) if one.since_us > 0 else None


def alerts_body(connection: Connection, due: Sequence[DueItem]) -> AlertsBody:
    """Return the alerts that nobody has seen, and those that were seen last."""
    standing = standing_alerts(connection, due)
    return AlertsBody(
        items=[
            AlertBody(
                key=one.key,
                rank=rank,
                code=one.code,
                subject=one.subject,
                since=_since(one),
                words=one.kind.words,
                action=one.kind.action,
                evidence=one.evidence,
            )
            for rank, one in enumerate(standing[:SHOWN], start=1)
        ],
        more=max(0, len(standing) - SHOWN),
        acknowledged=[
            SeenAlertBody(
                number=one.number,
                code=one.code,
                subject=one.subject,
                evidence=from_text(one.evidence)["evidence"],
                actor=one.actor,
                at=rfc3339(one.at_us),
                reason=one.reason,
            )
            for one in newest_acknowledged(connection, SEEN_SHOWN)
        ],
    )


def card_body(connection: Connection, kind: str, day: str, due: Sequence[DueItem], at: Day) -> CardBody:
    """Return a card as it is now, and as it was signed if it was."""
    signed = signed_of(connection, kind, day)
    return CardBody(
        kind=kind,
        day=day,
        points=[
            PointBody(
                code=one.code, words=one.words, by=one.by, is_true=one.is_true, evidence=list(one.evidence)
            )
            for one in points_of(kind, due, at.around(connection), at.now_us)
        ],
        left_open=[LeftOpenBody(**one._asdict()) for one in left_open(connection)],
        signed=None
        if signed is None
        else SignatureBody(
            number=signed.number,
            actor=signed.actor,
            at=rfc3339(signed.at_us),
            points=[SignedPointBody(**one) for one in from_text(signed.items)],
        ),
    )
