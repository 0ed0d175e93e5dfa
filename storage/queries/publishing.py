"""What is to be published: the ledger itself says it in its order, so nothing is written and forgotten."""

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, delete, func, insert, literal, select, union, update

from storage.queries.readings import position
from storage.queries.tied_results import BY_PEOPLE, MADE_FROM_READING
from storage.schema import (
    amendment_item,
    amendment_state,
    chunk,
    ledger,
    reading,
    refused_publish,
    release,
    result,
    result_input,
    standing,
    tie,
)
from storage.transaction import Transaction

PLACE: Final = "published"
"""Name of the position up to which a broker took everything, or refused it."""
SEQUENCE: Final = "published.sequence"
"""Name of the position that counts the messages up to there."""


COUNTED: Final = 100_000
"""Messages that are counted one by one; beyond that, more is just more."""
SHOWN: Final = 10
"""Refused messages that are shown."""

CAPTURES_PLACE: Final = "published.captures"
"""Name of the position up to which a broker took every event of a line."""


class Due(NamedTuple):
    """One message that an entry of the ledger brings."""

    number: int
    """Of the entry."""
    kind: str
    """reading or result."""
    subject: int
    """Revision of the reading, or id of the result."""


@dataclass(frozen=True, slots=True)
class RefusedRecord:
    """A message that a broker refused and that is kept for it."""

    sequence: int
    due: Due
    topic: str
    why: str
    refused_at_us: int
    attempts: int


@dataclass(frozen=True, slots=True)
class OutboxRecord:
    """What waits to be published."""

    waiting: int
    """Messages, counted up to `COUNTED`."""
    oldest_us: int | None
    """When the first of them was entered; None if there is none. [µs since 1970 UTC]"""
    refused: int
    """Messages that a broker refused."""
    first_refused: tuple[RefusedRecord, ...]
    """The oldest of those, up to `SHOWN`."""
    pieces: int | None = None
    """Pieces of captures that wait, counted up to `COUNTED`; None if captures are not published."""
    oldest_piece_us: int | None = None
    """When the first of them came; None if there is none. [µs since 1970 UTC]"""


@dataclass(frozen=True, slots=True)
class Place:
    """How far publishing has come."""

    number: int
    """Everything up to this entry was taken or set aside."""
    sequence: int
    """How many messages that were."""


def _all_due(after: int, up_to: int | None = None) -> Any:
    """Select every message of the entries after one, in any order and each once."""

    def of(table: Any, kind: str, subject: Any) -> Any:
        query = select(table.c.number, literal(kind).label("kind"), subject.label("subject"))
        query = query.where(table.c.number > after)
        return query if up_to is None else query.where(table.c.number <= up_to)

    amended = of(amendment_state, "result", amendment_item.c.result_id).join(
        amendment_item, amendment_item.c.amendment_id == amendment_state.c.amendment_id
    )
    tied = (
        of(tie, "result", result_input.c.result_id)
        .join(result_input, result_input.c.source_id == tie.c.reading_id)
        .where(MADE_FROM_READING, tie.c.how.in_(BY_PEOPLE), tie.c.number > result_input.c.result_id)
    )
    return union(
        of(reading, "reading", reading.c.number),
        of(result, "result", result.c.number),
        of(standing, "result", standing.c.result_id),
        of(release, "result", release.c.result_id),
        amended,
        tied,
    ).subquery()


def due_after(connection: Connection, after: int, limit: int) -> list[Due]:
    """Return the next messages in the order of the ledger, all of an entry together.

    Returns at most `limit` messages, or those of one entry if it alone brings more.
    """
    found = _due(connection, _all_due(after, _horizon(connection, after, limit)), limit + 1)
    if len(found) <= limit:
        return found
    last = found[-1].number
    whole = [one for one in found if one.number < last]
    return whole or _due(connection, _all_due(last - 1, last), None)


def _horizon(connection: Connection, after: int, limit: int) -> int | None:
    """Return an entry up to which there are messages enough; None if that is the head of the ledger.

    Without it, a long backlog would be sorted anew for each window of it.
    """
    ends = [
        connection.execute(
            select(table.c.number)
            .where(table.c.number > after)
            .order_by(table.c.number)
            .offset(limit)
            .limit(1)
        ).scalar()
        for table in (reading, result, standing, release, amendment_state)
    ]
    return min((end for end in ends if end is not None), default=None)


def _due(connection: Connection, found: Any, limit: int | None) -> list[Due]:
    query = select(found.c.number, found.c.kind, found.c.subject)
    query = query.order_by(found.c.number, found.c.kind, found.c.subject)
    return [Due(*row) for row in connection.execute(query if limit is None else query.limit(limit))]


def count_due(connection: Connection, after: int, limit: int) -> int:
    """Return how many messages wait behind an entry, counting no further than `limit`."""
    found = _all_due(after, _horizon(connection, after, limit))
    return min(limit, connection.execute(select(func.count()).select_from(found)).scalar_one())


def entered_at_us(connection: Connection, number: int) -> int | None:
    """Return when an entry was made; None if there is none. [µs since 1970 UTC]"""
    return connection.execute(select(ledger.c.at_us).where(ledger.c.number == number)).scalar()


def published_up_to(connection: Connection) -> Place:
    """Return how far publishing has come."""
    return Place(position(connection, PLACE), position(connection, SEQUENCE))


def outbox(connection: Connection) -> OutboxRecord:
    """Return what waits to be published."""
    place = published_up_to(connection)
    first = due_after(connection, place.number, 1)
    captures_up_to = position(connection, CAPTURES_PLACE)
    return OutboxRecord(
        waiting=count_due(connection, place.number, COUNTED),
        oldest_us=entered_at_us(connection, first[0].number) if first else None,
        refused=count_refused(connection),
        first_refused=tuple(refused(connection, SHOWN)),
        pieces=_count_pieces(connection, captures_up_to) if captures_up_to else None,
        oldest_piece_us=_first_piece_us(connection, captures_up_to) if captures_up_to else None,
    )


def _count_pieces(connection: Connection, after: int) -> int:
    waiting = select(chunk.c.number).where(chunk.c.number > after).limit(COUNTED).subquery()
    return connection.execute(select(func.count()).select_from(waiting)).scalar_one()


def _first_piece_us(connection: Connection, after: int) -> int | None:
    query = select(chunk.c.at_us).where(chunk.c.number > after).order_by(chunk.c.number).limit(1)
    return connection.execute(query).scalar()


def refused(connection: Connection, limit: int, after: int = 0) -> list[RefusedRecord]:
    """Return messages that were refused, oldest first."""
    query = select(refused_publish).where(refused_publish.c.sequence > after)
    return [
        RefusedRecord(
            row.sequence,
            Due(row.number, row.kind, row.subject),
            row.topic,
            row.why,
            row.refused_at_us,
            row.attempts,
        )
        for row in connection.execute(query.order_by(refused_publish.c.sequence).limit(limit))
    ]


def count_refused(connection: Connection) -> int:
    """Return how many messages wait for a broker's leave."""
    return connection.execute(select(func.count()).select_from(refused_publish)).scalar_one()


def note_place(tx: Transaction, place: Place) -> None:
    """Remember how far publishing has come."""
    tx.set_position(PLACE, place.number)
    tx.set_position(SEQUENCE, place.sequence)


def set_aside(tx: Transaction, record: RefusedRecord) -> None:
    """Keep a message that was refused, or that it was refused once more."""
    values = {
        "sequence": record.sequence,
        **record.due._asdict(),
        "topic": record.topic,
        "why": record.why,
        "refused_at_us": record.refused_at_us,
        "attempts": record.attempts,
    }
    same = refused_publish.c.sequence == record.sequence
    if not tx.connection.execute(update(refused_publish).where(same).values(values)).rowcount:
        tx.connection.execute(insert(refused_publish).values(values))


def made_good(tx: Transaction, sequence: int) -> None:
    """Forget a refusal: the broker took the message."""
    tx.connection.execute(delete(refused_publish).where(refused_publish.c.sequence == sequence))
