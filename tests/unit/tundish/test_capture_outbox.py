"""Captures on their way to a broker: every event once at least, in order, and nothing past a refusal."""

import asyncio
import contextlib
from collections.abc import Sequence

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.clock import SystemClock
from acquire.errors import PortForbiddenError, PortLostError
from acquire.far.message import FarEvent, read_message
from storage.queries.line_stream import line_events
from storage.queries.publishing import CAPTURES_PLACE
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tundish.capture_outbox import MOST_BYTES, MOST_EVENTS, CaptureOutbox
from tundish.publish import Message, Publishing
from tundish.publish_messages import Sender


class Broker(Publishing):
    """Takes messages, or dies after so many of them, or refuses a topic."""

    def __init__(self, dies_after: int | None = None, refuses: str = "") -> None:
        self.taken: list[Message] = []
        self._left = dies_after
        self._refuses = refuses

    async def publish_all(self, messages: Sequence[Message]) -> list[str | None]:
        answers: list[str | None] = []
        for message in messages:
            if self._left is not None:
                if not self._left:
                    raise PortLostError("broker", "the broker was lost")
                self._left -= 1
            refused = bool(self._refuses) and self._refuses in message[0]
            if not refused:
                self.taken.append(message)
            answers.append("not authorized" if refused else None)
        return answers


def outbox_of(store: Store) -> CaptureOutbox:
    return CaptureOutbox(store, Sender("winery", "north", store.info.store_id, "real"), SystemClock())


async def publish_everything(outbox: CaptureOutbox, broker: Broker) -> None:
    await outbox.open()
    while await outbox.publish_next(broker):
        pass


def in_order(taken: Sequence[Message]) -> dict[str, list[FarEvent]]:
    """Return what a collector takes of messages, by line, holding each against the one before."""
    lines: dict[str, list[FarEvent]] = {}
    for topic, payload in taken:
        said = read_message(payload)
        assert topic == f"winery/north/v1/capture/{said.line}"
        events = lines.setdefault(said.line, [])
        last = events[-1].revision if events else said.previous
        assert said.previous <= last, "an event is missing"
        events += [event for event in said.events if event.revision > last]
    return lines


def happened(store: Store, after: int) -> dict[str, list[int]]:
    lines: dict[str, list[int]] = {}
    with store.reader() as connection:
        for event in line_events(connection, after, 100_000):
            lines.setdefault(event.line, []).append(event.number)
    return lines


@pytest.fixture
def filler(store: Store) -> Filler:
    filler = Filler(store)
    ph, burette = filler.open("ph", "ph-meter-1"), filler.open("burette", "burette-1")
    for place in range(40):
        filler.hear(ph, b"pH 3.41\r\n", [Answer("ph", f"3.{place:03}", "pH")])
        if place % 7 == 0:
            filler.hear(burette, b"\x00" * 5000)
    filler.close(burette, "lost", "the port was gone")
    filler.gap("burette", "burette-1", 7)
    return filler


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15)
@given(deaths=st.lists(st.integers(0, 6), max_size=5))
def test_whenever_broker_or_daemon_die_every_event_comes_in_order(
    store: Store, filler: Filler, deaths: list[int]
) -> None:
    taken: list[Message] = []
    store.writer.submit(lambda tx: tx.set_position(CAPTURES_PLACE, filler.session)).result(10)

    async def live() -> None:
        for death in deaths:
            broker = Broker(dies_after=death)
            with contextlib.suppress(PortLostError):
                await publish_everything(outbox_of(store), broker)
            taken.extend(broker.taken)
        last = Broker()
        await publish_everything(outbox_of(store), last)
        taken.extend(last.taken)

    asyncio.run(live())
    if taken:
        told = {line: [event.revision for event in events] for line, events in in_order(taken).items()}
        assert told == happened(store, filler.session)


async def test_publishing_begins_with_the_run_of_the_daemon(store: Store, filler: Filler) -> None:
    broker = Broker()
    await publish_everything(outbox_of(store), broker)
    lines = in_order(broker.taken)
    assert {line: events[0].what for line, events in lines.items()} == {"ph": "opened", "burette": "opened"}


async def test_a_message_holds_a_bounded_part(store: Store, filler: Filler) -> None:
    broker = Broker()
    await publish_everything(outbox_of(store), broker)
    for _, payload in broker.taken:
        events = read_message(payload).events
        assert len(events) <= MOST_EVENTS
        assert sum(len(event.data or b"") for event in events) <= MOST_BYTES


async def test_a_refusal_holds_up_what_comes_after_it_until_the_broker_takes_it(
    store: Store, filler: Filler
) -> None:
    outbox, strict = outbox_of(store), Broker(refuses="burette")
    with pytest.raises(
        PortForbiddenError, match=r"refuses winery/north/v1/capture/burette \(not authorized\)"
    ):
        await publish_everything(outbox, strict)
    kind = Broker()
    await publish_everything(outbox, kind)
    told = {line: [event.revision for event in events] for line, events in in_order(kind.taken).items()}
    assert told == happened(store, filler.session)
