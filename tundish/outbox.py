"""Readings and results on their way out: each once or more often, in the order of the ledger.

The ledger is the outbox: an entry is written with the row that it brings, in one transaction, and a place in
the store says up to which one the broker has acknowledged. Whatever dies, and whenever, the next connection
goes on from there; what was acknowledged and not yet noted is sent again, with the same id.
"""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from acquire.clock import Clock
from acquire.errors import PortLostError
from storage.errors import SpoolFullError, WriterClosedError
from storage.ledger import ActorKind
from storage.queries import head
from storage.queries.publishing import (
    Place,
    RefusedRecord,
    count_refused,
    due_after,
    made_good,
    note_place,
    published_up_to,
    refused,
    set_aside,
)
from storage.store import DAEMON, Store
from storage.transaction import Transaction
from tundish.publish import Publishing
from tundish.publish_messages import Outgoing, Sender, compose

BATCH: Final = 500  # messages composed and noted together
NOTE_AGAIN_S: Final = 1.0  # [s] how often a store that takes no more is asked again


class LedgerOutbox:
    """Publishes each version of every reading and result; sets aside what a broker refuses."""

    def __init__(self, store: Store, sender: Sender, clock: Clock, *, from_beginning: bool = False) -> None:
        self._store = store
        self._sender = sender
        self._clock = clock
        self._from_beginning = from_beginning
        self._place = Place(0, 0)

    async def open(self) -> None:
        """Find out how far publishing came; where it never began, begin at the head of the store."""
        begins_at = await asyncio.to_thread(self._find_place)
        if begins_at is not None:
            await note(self._store, self._clock, lambda tx: note_place(tx, begins_at))
            self._place = begins_at

    def _find_place(self) -> Place | None:
        with self._store.reader() as connection:
            self._place = published_up_to(connection)
            if self._place.number or self._from_beginning:
                return None
            return Place(head(connection), 0)

    async def publish_next(self, broker: Publishing) -> bool:
        """Publish what is next and note it; False if there was nothing. Raises `TransportError`."""
        batch, place = await asyncio.to_thread(self._next_batch)
        if not batch:
            return False
        answers = await broker.publish_all([(one.topic, one.payload) for one in batch])
        at_us = self._clock.utc_us()
        aside = [
            RefusedRecord(one.sequence, one.due, one.topic, why, at_us, 1)
            for one, why in zip(batch, answers, strict=True)
            if why is not None
        ]
        await note(self._store, self._clock, partial(_note, place=place, aside=aside, at_us=at_us))
        self._place = place
        return True

    def _next_batch(self) -> tuple[Sequence[Outgoing], Place]:
        with self._store.reader() as connection:
            due = due_after(connection, self._place.number, BATCH)
            batch = compose(connection, self._sender, enumerate(due, self._place.sequence + 1))
        return batch, Place(due[-1].number, self._place.sequence + len(due)) if due else self._place

    async def publish_refused(self, broker: Publishing) -> None:
        """Try again what was refused, oldest first, up to the first that is refused again."""
        after = 0
        while found := await asyncio.to_thread(self._refused_after, after):
            record, message = found
            why = await broker.publish(message.topic, message.payload)
            again = None if why is None else replace(record, why=why, attempts=record.attempts + 1)
            at_us = self._clock.utc_us()
            await note(
                self._store, self._clock, partial(_note_again, record=record, again=again, at_us=at_us)
            )
            if again is not None:
                return
            after = record.sequence

    def _refused_after(self, after: int) -> tuple[RefusedRecord, Outgoing] | None:
        with self._store.reader() as connection:
            for record in refused(connection, 1, after):
                (message,) = compose(connection, self._sender, [(record.sequence, record.due)])
                return record, message
        return None


async def note(store: Store, clock: Clock, work: Callable[[Transaction], None]) -> None:
    """Have the store remember, however long it takes: while it cannot, nothing more is published.

    Raises
    ------
    PortLostError
        If the store was closed: nothing more can be noted.
    """
    while True:
        try:
            await asyncio.wrap_future(store.writer.submit(work))
        except SpoolFullError:
            await clock.sleep(NOTE_AGAIN_S)
        except WriterClosedError as error:
            raise PortLostError(str(store.place), f"publishing stopped with the store: {error}") from error
        else:
            return


def _note(tx: Transaction, place: Place, aside: Sequence[RefusedRecord], at_us: int) -> None:
    if aside and not count_refused(tx.connection):
        _enter(tx, "publish.refused", at_us, f"{aside[0].topic}: {aside[0].why}")
    for record in aside:
        set_aside(tx, record)
    note_place(tx, place)


def _note_again(tx: Transaction, record: RefusedRecord, again: RefusedRecord | None, at_us: int) -> None:
    if again is not None:
        set_aside(tx, again)
        return
    made_good(tx, record.sequence)
    if not count_refused(tx.connection):
        _enter(tx, "publish.made_good", at_us, None)


def _enter(tx: Transaction, action: str, at_us: int, reason: str | None) -> None:
    tx.enter(action, at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows={}, reason=reason)
