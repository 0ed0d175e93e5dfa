"""A line of a far bench over a real broker and a real store: once, in order, with its own times."""

import asyncio
import base64
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from acquire.backoff import Backoff
from acquire.clock import SystemClock
from acquire.config import FarSource, LineSettings, MqttSource
from acquire.far.line import FarLine, FarParts
from acquire.far.memory import FarFetchError, Fetch
from acquire.line_state import Condition, LineState
from acquire.supervisor import Supervisor
from api.times import rfc3339
from storage.queries import captures_before, chunks_after, gaps_before
from storage.queries.far import far_place
from storage.store import Store
from tests.fakes.broker_client import publish
from tests.fakes.line_driver import FakeAskers, FakeLineDrivers
from tests.services.mosquitto import Mosquitto
from tests.unit.tundish.conftest import AT_US
from tundish.far_memory import StoredFar
from tundish.store_sink import StoreSink

pytestmark = pytest.mark.needs("mosquitto")

TOPIC = "winery/north/v1/capture/ph"
LIMIT_S = 60.0  # [s]
FAR_US = 1_700_000_000_000_000  # when it happens by the far clock [µs since 1970 UTC]


@dataclass
class FarBench:
    """What happened there, and the messages that tell of it."""

    broker: Mosquitto
    store: str = "far-1"
    kind: str = "real"
    events: list[dict[str, Any]] = field(default_factory=list)
    sizes: dict[str, int] = field(default_factory=dict)
    capture: int = 0

    def _enter(self, what: str, **keys: Any) -> dict[str, Any]:
        revision = 10 + 3 * len(self.events)
        event = {"revision": revision, "what": what, "at": rfc3339(FAR_US + revision * 1000), **keys}
        self.events.append(event)
        return event

    def opens(self, instrument: str = "ph-1") -> None:
        self.sizes = {"heard": 0, "sent": 0}
        event = self._enter("opened", instrument=instrument, device="/dev/ttyUSB0", settings="9600 8N1")
        self.capture = event["capture"] = event["revision"]

    def hears(self, data: bytes, way: str = "heard") -> None:
        text = base64.b64encode(data).decode()
        self._enter(way, capture=self.capture, offset=self.sizes[way], data=text)
        self.sizes[way] += len(data)

    def is_silent(self) -> None:
        self._enter("silent", capture=self.capture)

    def closes(self, ending: str = "stopped") -> None:
        self._enter("closed", capture=self.capture, ending=ending, why="the line was stopped")

    def message(self, begin: int, end: int, **keys: Any) -> bytes:
        """Return a message of some of the events."""
        said = {
            "schema": "tundish.captures/1",
            "site": "north",
            "store": self.store,
            "store_kind": self.kind,
            "line": "ph",
            "sent_at": rfc3339(SystemClock().utc_us()),
            "previous": self.events[begin - 1]["revision"] if begin else 0,
            "events": self.events[begin:end],
        }
        return json.dumps({**said, **keys}).encode()

    async def tells(self, begin: int = 0, end: int | None = None, **keys: Any) -> None:
        """Publish some of what happened, an event a message."""
        last = len(self.events) if end is None else end
        await publish(self.broker, TOPIC, [self.message(at, at + 1, **keys) for at in range(begin, last)])

    def fetch(self, after: int) -> bytes:
        """Answer as the far daemon does."""
        begin = sum(event["revision"] <= after for event in self.events)
        return self.message(begin, begin + 2, site="")


@dataclass
class Collector:
    """A supervisor with one far line over a store."""

    store: Store
    broker: Mosquitto
    fetch: Fetch | None = None
    driver: FakeLineDrivers = field(default_factory=FakeLineDrivers)

    def __post_init__(self) -> None:
        self._changed = asyncio.Event()
        clock = SystemClock()
        session = self.store.begin_session("0.1.0", "in step", AT_US)
        sink = StoreSink(self.store.writer, session, {})
        parts = FarParts(StoredFar(self.store), self.store.info.kind, self.fetch)
        self.store.writer.subscribe(self._wake_from_thread(asyncio.get_running_loop()))
        self.supervisor = Supervisor(
            sink,
            clock,
            make_far=lambda source, driver, record: FarLine(
                source, driver, sink, record, clock=clock, backoff=Backoff(), parts=parts
            ),
            on_change=lambda _state: self._changed.set(),
        )
        mqtt = MqttSource(self.broker.host, TOPIC, "collector", self.broker.port)
        source = FarSource(mqtt, "north", "ph", "ph-1", "http://far.example")
        self.supervisor.add_line(LineSettings("north-ph", "north-ph-1", source), self.driver)

    def _wake_from_thread(self, loop: asyncio.AbstractEventLoop) -> Callable[[int], None]:
        def wake(_head: int) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._changed.set)

        return wake

    @property
    def state(self) -> LineState:
        (state,) = self.supervisor.states()
        return state

    async def until(self, holds: Callable[[], object]) -> None:
        async with asyncio.timeout(LIMIT_S):
            while not holds():
                self._changed.clear()
                await self._changed.wait()

    async def until_state(self, condition: Condition, why: str = "") -> None:
        await self.until(lambda: self.state.state is condition and why in self.state.why)

    def took(self, revision: int) -> bool:
        with self.store.reader() as connection:
            place = far_place(connection, "north-ph")
        return place is not None and place[1] >= revision

    def captures(self) -> list[tuple[str, bytes, str | None]]:
        """Return device, heard bytes and ending of each capture, oldest first."""
        with self.store.reader() as connection:
            found = captures_before(connection, before=None, limit=100)[::-1]
            return [
                (
                    one.device,
                    b"".join(c.data for c in chunks_after(connection, one.number, after=0, limit=1000)),
                    one.ending,
                )
                for one in found
            ]


@asynccontextmanager
async def collecting(collector: Collector) -> AsyncIterator[Collector]:
    try:
        await collector.until_state(Condition.OPEN)
        yield collector
    finally:
        await collector.supervisor.stop_all()


@pytest.fixture
def far(mosquitto: Mosquitto) -> FarBench:
    bench = FarBench(mosquitto)
    bench.opens()
    bench.hears(b"pH 3.41\npH ")
    bench.hears(b"3.42\n")
    return bench


async def test_what_happened_there_is_kept_here_with_its_own_times(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    far.closes("found_open")
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells()
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    assert here.captures() == [("north/ph /dev/ttyUSB0", b"pH 3.41\npH 3.42\n", "found_open")]
    with store.reader() as connection:
        (one,) = captures_before(connection, before=None, limit=10)
        chunks = chunks_after(connection, one.number, after=0, limit=10)
    assert [chunk.at_us for chunk in chunks] == [FAR_US + 13_000, FAR_US + 16_000]
    assert (one.instrument, one.settings, one.opened_at_us) == ("north-ph-1", "9600 8N1", FAR_US + 10_000)
    assert here.state.frames_read == 2
    assert here.state.last_contact_at is not None
    assert here.state.last_contact_at.utc_us > FAR_US, "by the clock here"


async def test_what_comes_twice_is_taken_once(store: Store, mosquitto: Mosquitto, far: FarBench) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        for _ in range(3):
            await far.tells()
        far.hears(b"pH 3.43\n")
        await far.tells(1)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH 3.42\npH 3.43\n"]


async def test_a_conversation_is_kept_in_both_directions_and_nothing_is_sent_here(
    store: Store, mosquitto: Mosquitto
) -> None:
    far = FarBench(mosquitto)
    far.opens()
    far.hears(b"?", "sent")
    far.hears(b"pH 3.41\n")
    far.hears(b"?", "sent")
    far.closes()
    driver = FakeLineDrivers(b"?", b"!")
    async with collecting(Collector(store, mosquitto, driver=driver)) as here:
        await far.tells()
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    with store.reader() as connection:
        (one,) = captures_before(connection, before=None, limit=10)
        chunks = chunks_after(connection, one.number, after=0, limit=10, direction=None)
    assert [(chunk.direction, chunk.data) for chunk in chunks] == [
        ("sent", b"?"),
        ("heard", b"pH 3.41\n"),
        ("sent", b"?"),
    ]


async def test_silence_ends_a_frame_here_when_it_did_so_there(store: Store, mosquitto: Mosquitto) -> None:
    far = FarBench(mosquitto)
    far.opens()
    far.hears(b"half")
    far.is_silent()
    async with collecting(Collector(store, mosquitto, driver=FakeLineDrivers(silence_ns=1_000_000))) as here:
        await far.tells(0, 2)
        await here.until(lambda: here.took(far.events[1]["revision"]))
        assert here.state.frames_refused == 0
        await far.tells(2)
        await here.until(lambda: here.state.frames_refused == 1)


async def test_a_frame_that_was_cut_by_a_restart_here_is_read_all_the_same(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(0, 2)
        await here.until(lambda: here.took(far.events[1]["revision"]))
    async with collecting(Collector(store, mosquitto)) as again:
        await far.tells(2)
        await again.until(lambda: again.took(far.events[2]["revision"]))
    assert [data for _, data, _ in again.captures()] == [b"pH 3.41\npH ", b"pH 3.42\n"]
    assert (here.state.frames_read, again.state.frames_read) == (1, 1)
    assert again.state.frames_refused == here.state.frames_refused == 0


async def test_what_the_broker_lost_is_fetched_from_the_far_bench(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    for number in range(10):
        far.hears(b"pH 3.5%d\n" % number)
    async with collecting(Collector(store, mosquitto, far.fetch)) as here:
        await far.tells(0, 2)
        await far.tells(12)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    ((_, data, _),) = here.captures()
    assert data == b"pH 3.41\npH 3.42\n" + b"".join(b"pH 3.5%d\n" % number for number in range(10))


async def test_who_comes_amid_a_capture_fetches_its_beginning(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    async with collecting(Collector(store, mosquitto, far.fetch)) as here:
        await far.tells(2)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH 3.42\n"]


async def test_a_far_bench_that_cannot_be_asked_is_waited_for_and_nothing_is_lost(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    away = True

    def fetch(after: int) -> bytes:
        if away:
            raise FarFetchError("http://far.example cannot be asked: timed out")
        return far.fetch(after)

    async with collecting(Collector(store, mosquitto, fetch)) as here:
        await far.tells(2)
        await here.until_state(Condition.WAITING, "cannot be asked: timed out")
        away = False
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    assert b"".join(data for _, data, _ in here.captures()) == b"pH 3.41\npH 3.42\n"


async def test_without_an_address_what_the_broker_lost_is_a_gap(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    far.hears(b"pH 3.43\n")
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(0, 2)
        await far.tells(3)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH ", b"pH 3.43\n"]
    with store.reader() as connection:
        (gap,) = gaps_before(connection, before=None, limit=10)
    assert "the line names no url to fetch them" in gap.why


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({"schema": "tundish.captures/9"}, "bring both to one version"),
        ({"store_kind": "demo"}, "they do not mix"),
    ],
)
async def test_what_cannot_be_taken_now_waits_at_the_broker(
    store: Store, mosquitto: Mosquitto, far: FarBench, keys: dict[str, Any], why: str
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(**keys)
        await here.until_state(Condition.WAITING, why)
    assert here.captures() == []


async def test_another_instrument_on_the_far_line_is_not_taken_for_ours(
    store: Store, mosquitto: Mosquitto
) -> None:
    far = FarBench(mosquitto)
    far.opens("burette-1")
    far.hears(b"28.4\n")
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells()
        await here.until_state(Condition.WAITING, "listens to 'burette-1'")
    assert here.captures() == []


@pytest.mark.parametrize("keys", [{"site": "south"}, {"line": "so2"}])
async def test_a_message_under_a_wrong_topic_is_not_taken_and_the_line_goes_on(
    store: Store, mosquitto: Mosquitto, far: FarBench, keys: dict[str, Any]
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(**keys)
        await here.until_state(Condition.UNRECOGNISED, "it was not taken")
        await publish(mosquitto, TOPIC, [b"\x00\xff no JSON"])
        await here.until_state(Condition.UNRECOGNISED, "it is not JSON")
        await far.tells()
        await here.until(lambda: here.took(far.events[-1]["revision"]))
        assert here.state.state is Condition.OPEN
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH 3.42\n"]


@pytest.mark.parametrize(
    ("off_s", "why"), [(31_536_000, "ahead of ours"), (-31_536_000, "that clock is behind")]
)
async def test_a_far_clock_that_is_off_is_told_and_what_it_dated_is_kept_so(
    store: Store, mosquitto: Mosquitto, far: FarBench, off_s: int, why: str
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(sent_at=rfc3339(SystemClock().utc_us() + off_s * 1_000_000))
        await here.until_state(Condition.OPEN, why)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
        far.hears(b"pH 3.43\n")
        await far.tells(3)
        await here.until(lambda: here.took(far.events[-1]["revision"]) and not here.state.why)


async def test_an_instrument_that_its_driver_does_not_know_stays_unrecognised(
    store: Store, mosquitto: Mosquitto
) -> None:
    far = FarBench(mosquitto)
    far.opens()
    for _ in range(3):
        far.hears(b"burette\n")
    async with collecting(Collector(store, mosquitto, driver=FakeAskers(b"ph meter"))) as here:
        await far.tells(0, 3)
        await here.until_state(Condition.UNRECOGNISED, "it says burette")
        await far.tells(3)
        await here.until(lambda: here.took(far.events[-1]["revision"]))
        assert here.state.state is Condition.UNRECOGNISED


async def test_another_store_at_the_far_bench_begins_anew(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells()
        await here.until(lambda: here.took(far.events[-1]["revision"]))
        other = FarBench(mosquitto, store="far-2")
        other.opens()
        other.hears(b"pH 7.00\n")
        await other.tells()
        await here.until(lambda: len(here.captures()) == 2 and here.took(other.events[-1]["revision"]))
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH 3.42\n", b"pH 7.00\n"]


async def test_the_broker_may_go_and_come_without_another_capture(
    store: Store, mosquitto: Mosquitto, far: FarBench
) -> None:
    async with collecting(Collector(store, mosquitto)) as here:
        await far.tells(0, 2)
        await here.until(lambda: here.took(far.events[1]["revision"]))
        mosquitto.stop()
        await here.until_state(Condition.WAITING, "was lost")
        mosquitto.start()
        await here.until_state(Condition.OPEN)
        await far.tells(2)
        await here.until(lambda: here.took(far.events[2]["revision"]))
    assert [data for _, data, _ in here.captures()] == [b"pH 3.41\npH 3.42\n"]
