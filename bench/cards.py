"""The opening card and the closing card: what must be true before the first sample, and what a day leaves.

A card is signed with every point true, done, or given a reason; what has a reason is carried over.
"""

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.due import DueItem
from bench.due_list import Surroundings
from bench.refused import Fault, MalformedError, RefusedError
from storage.bench_rows import CardRow
from storage.queries.office import SignedCard, card_of_day, newest_card
from storage.transaction import Transaction


class CardPoint(NamedTuple):
    """One point of a card as it is defined."""

    words: str
    """What must be true."""
    broken_by: tuple[str, ...] = ()
    """Codes of the due list that make it untrue; none where a person must look."""


OPENING: Final = MappingProxyType(
    {
        "lines": CardPoint("Every instrument is heard.", ("line.not_open",)),
        "store": CardPoint("The store is written and copied.", ("store.not_written", "backup.due")),
        "clock": CardPoint("The clock of this computer is in step.", ("clock",)),
        "holds": CardPoint("No hold is open.", ("hold.open",)),
        "bottles": CardPoint("What is in use is in date.", ("titrant.expired", "reagent.expired")),
        "titrants": CardPoint(
            "Titrants are standardised.", ("standardisation.due", "standardisation.failed")
        ),
        "probes": CardPoint("Probes are rinsed, filled and free of bubbles and crusts."),
        "burettes": CardPoint("Burettes are flushed and free of air."),
        "calibrations": CardPoint("Electrodes are calibrated.", ("calibration.due", "calibration.failed")),
        "verifications": CardPoint("Calibrations are verified.", ("verification.due", "verification.failed")),
        "checks": CardPoint("The checks have passed.", ("check.due",)),
    }
)
"""What must be true before the first sample, in the order of the morning."""

CLOSING: Final = MappingProxyType(
    {
        "trays": CardPoint("The trays are empty.", ("sample.waiting",)),
        "ties": CardPoint("Every reading belongs to a sample, or to none on purpose.", ("reading.untied",)),
        "retests": CardPoint("Every number is fit for use, replaced or rejected.", ("result.retest",)),
        "reviews": CardPoint("Nothing waits for a second person.", ("result.review",)),
        "holds": CardPoint("No hold is open.", ("hold.open",)),
        "additions": CardPoint("Planned additions are made or cancelled.", ("addition.open",)),
        "copy": CardPoint("The store is written and copied.", ("store.not_written", "backup.due")),
        "probes": CardPoint("Probes stand in storage solution."),
        "guards": CardPoint("Caps and guard tubes are on, that of the hydroxide too."),
        "burettes": CardPoint("Burettes are left as their reagent asks, flushed or wet."),
        "reagents": CardPoint("What wants dark and cold stands dark and cold."),
    }
)
"""What is left at the end of the day."""

CARDS: Final[Mapping[str, Mapping[str, CardPoint]]] = MappingProxyType(
    {"opening": OPENING, "closing": CLOSING}
)


class Point(NamedTuple):
    """One point of a card as it is now."""

    code: str
    words: str
    by: str
    """rule or person: who can tell."""
    is_true: bool | None
    """None where only a person can tell."""
    evidence: tuple[str, ...]
    """What makes it untrue."""


class LeftOpen(NamedTuple):
    """A point that the newest closing card left open, and why."""

    day: str
    code: str
    words: str
    reason: str
    actor: str


def points_of(kind: str, due: Sequence[DueItem], around: Surroundings, now_us: int) -> list[Point]:
    """Return a card as it is at a moment: each point true, untrue with its evidence, or for a person. [µs]"""
    broken: dict[str, list[str]] = {} if around.is_clock_in_step else {"clock": ["no time service keeps it"]}
    for one in due:
        if one.since_us <= now_us:
            broken.setdefault(one.code, []).append(one.evidence)
    points = []
    for code, point in CARDS[kind].items():
        evidence = tuple(words for cause in point.broken_by for words in broken.get(cause, ()))
        by = "rule" if point.broken_by else "person"
        points.append(Point(code, point.words, by, not evidence if by == "rule" else None, evidence))
    return points


def left_open(connection: Connection) -> list[LeftOpen]:
    """Return the points that the newest closing card gave a reason for."""
    card = newest_card(connection, "closing")
    if card is None:
        return []
    return [
        LeftOpen(card.day, one["code"], CLOSING[one["code"]].words, one["reason"], card.actor)
        for one in from_text(card.items)
        if one["reason"] and one["code"] in CLOSING
    ]


def sign(
    tx: Transaction,
    actor: Actor,
    kind: str,
    day: str,
    points: Sequence[Point],
    *,
    done: Collection[str],
    reasons: Mapping[str, str],
) -> int:
    """Enter a signed card and return its number.

    Parameters
    ----------
    day : str
        The local date, such as ``2025-10-14``.
    done : collection of str
        The points that a person has looked at and found true.
    reasons : mapping of str to str
        Why a point is left open.

    Raises
    ------
    MalformedError
        If a point is neither true nor done nor given a reason; it names each.
    RefusedError
        If the card of that day is signed already.
    """
    known = {one.code for one in points}
    if unknown := sorted({*done, *reasons} - known):
        faults = [Fault(one, f"known are {', '.join(CARDS[kind])}") for one in unknown]
        raise MalformedError("card.point_unknown", f"the {kind} card has no {', '.join(unknown)}", *faults)
    given = {code: reason.strip() for code, reason in reasons.items() if reason.strip()}
    missing = [one for one in points if not _is_settled(one, done, given)]
    if missing:
        said = "; ".join(f"{one.code}: {_missing(one)}" for one in missing)
        faults = [Fault(one.code, _missing(one)) for one in missing]
        raise MalformedError("card.incomplete", f"the {kind} card is not complete: {said}", *faults)
    if card_of_day(tx.connection, kind, day) is not None:
        raise RefusedError("card.signed", f"the {kind} card of {day} is signed already")
    items = [
        {
            "code": one.code,
            "is_true": one.is_true if one.by == "rule" else one.code in done,
            "reason": given.get(one.code),
            "evidence": list(one.evidence),
        }
        for one in points
    ]
    return tx.enter(
        f"card.{kind}",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"card": [CardRow(kind, day, to_text(items))]},
    )


def _is_settled(one: Point, done: Collection[str], reasons: Mapping[str, str]) -> bool:
    if one.code in reasons:
        return True
    return bool(one.is_true) if one.by == "rule" else one.code in done


def _missing(one: Point) -> str:
    if one.by == "person":
        return f"look at it ({one.words}) and say that it is done, or give a reason"
    return f"{'; '.join(one.evidence)}: settle it, or give a reason"


def signed_of(connection: Connection, kind: str, day: str) -> SignedCard | None:
    """Return the card of a day as it was signed."""
    return card_of_day(connection, kind, day)
