"""Captures on their way to whoever collects them: every byte of every line, as it was heard.

As with readings, the ledger is the outbox. Here order is everything, so what a broker refuses is not set
aside: it holds up the rest until the broker takes it, and the state of publishing says why.
"""

import asyncio
from collections.abc import Iterator, Sequence
from typing import Final

from acquire.clock import Clock
from acquire.errors import PortForbiddenError
from api.schemas.line_stream import captures_message
from storage.queries import position
from storage.queries.line_stream import LineEvent, last_of_line, line_events, newest_session
from storage.queries.publishing import CAPTURES_PLACE
from storage.store import Store
from tundish.outbox import note
from tundish.publish import Message, Publishing
from tundish.publish_messages import Sender

WINDOW: Final = 2000  # events read and noted together
MOST_EVENTS: Final = 500  # of one message: the collector commits once for each
MOST_BYTES: Final = 32 << 10  # [bytes] of one message, before base64; one longer piece goes alone


class CaptureOutbox:
    """Publishes what happens on the lines."""

    def __init__(self, store: Store, sender: Sender, clock: Clock) -> None:
        self._store = store
        self._sender = sender
        self._clock = clock
        self._place = 0
        self._last: dict[str, int] = {}  # by line, the last event that the broker took

    async def open(self) -> None:
        """Find out how far it has come; where it never began, begin with this run of the daemon."""
        self._last.clear()
        self._place, is_known = await asyncio.to_thread(self._find_place)
        if not is_known:
            await note(self._store, self._clock, lambda tx: tx.set_position(CAPTURES_PLACE, self._place))

    def _find_place(self) -> tuple[int, bool]:
        with self._store.reader() as connection:
            known = position(connection, CAPTURES_PLACE)
            return known or newest_session(connection), known > 0

    async def publish_next(self, broker: Publishing) -> bool:
        """Publish what is next and note it; False if there was nothing. Raises `TransportError`."""
        messages, last, place = await asyncio.to_thread(self._next_messages)
        if not messages:
            return False
        answers = await broker.publish_all(messages)
        for (topic, _), why in zip(messages, answers, strict=True):
            if why is not None:
                text = f"the broker refuses {topic} ({why}); correct its access rules: captures wait for it"
                raise PortForbiddenError(topic, text)
        await note(self._store, self._clock, lambda tx: tx.set_position(CAPTURES_PLACE, place))
        self._last |= last
        self._place = place
        return True

    async def publish_refused(self, broker: Publishing) -> None:
        """Do nothing: nothing is set aside."""

    def _next_messages(self) -> tuple[list[Message], dict[str, int], int]:
        with self._store.reader() as connection:
            events = line_events(connection, self._place, WINDOW)
            last = {
                line: self._last.get(line) or last_of_line(connection, line, self._place)
                for line in {event.line for event in events}
            }
        messages: list[Message] = []
        for line, previous in last.items():
            before = previous
            for some in _portions([event for event in events if event.line == line]):
                messages.append((f"{self._sender.base}/capture/{line}", self._text(line, some, before)))
                before = some[-1].number
            last[line] = before
        return messages, last, events[-1].number if events else self._place

    def _text(self, line: str, events: Sequence[LineEvent], previous: int) -> bytes:
        said = captures_message(
            line,
            events,
            previous=previous,
            site=self._sender.site,
            store=(self._sender.store, self._sender.store_kind),
            sent_at_us=self._clock.utc_us(),
        )
        return said.model_dump_json(by_alias=True, exclude_none=True).encode()


def _portions(events: Sequence[LineEvent]) -> Iterator[list[LineEvent]]:
    """Yield the events in runs that make one message each."""
    some: list[LineEvent] = []
    size = 0
    for event in events:
        more = len(event.data or b"")
        if some and (len(some) == MOST_EVENTS or size + more > MOST_BYTES):
            yield some
            some, size = [], 0
        some.append(event)
        size += more
    if some:
        yield some
