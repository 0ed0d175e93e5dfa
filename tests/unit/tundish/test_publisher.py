"""Publishing over a real broker: what the store holds gets there, whatever happens to either."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest

from acquire.clock import SystemClock
from acquire.config import MqttSource, TlsSettings
from bench.amendments import put_in_force
from bench.results import reject
from storage.queries import ledger_after
from storage.queries.publishing import published_up_to, refused
from storage.queries.results import history_of_result
from storage.store import Store
from tests.fakes.bench_records import BY, fill_records
from tests.fakes.broker_client import publish
from tests.fakes.broker_listener import Heard, listening
from tests.fakes.filled_store import Answer, Filler
from tests.services.authority import Authority
from tests.services.grounds import NewStore
from tests.services.mosquitto import Mosquitto
from tundish.outbox import LedgerOutbox
from tundish.publish_messages import Sender, json_schema
from tundish.publisher import Publisher, PublishState

pytestmark = pytest.mark.needs("mosquitto")

STATUS = "winery/north/v1/status"
LIMIT_S = 90.0  # [s]


class Watched:
    """A publisher whose states can be waited for."""

    def __init__(self, publisher: Publisher, changed: asyncio.Event) -> None:
        self.publisher = publisher
        self._changed = changed

    @property
    def state(self) -> PublishState:
        return self.publisher.state

    async def until(self, state: str, why: str = "") -> str:
        """Wait for a state whose reason holds some words, and return the reason."""
        async with asyncio.timeout(LIMIT_S):
            while self.state.state != state or why not in self.state.why:
                self._changed.clear()
                await self._changed.wait()
        return self.state.why


def publisher_of(
    store: Store,
    broker: Mosquitto,
    *,
    site: str = "north",
    from_beginning: bool = False,
    ca_file: Path | None = None,
) -> Watched:
    sender = Sender("winery", site, store.info.store_id, store.info.kind)
    source = MqttSource(broker.host, f"{sender.base}/status", f"tundish-{site}", broker.port)
    if broker.passwords:
        source = replace(source, user="bench", password=broker.passwords["bench"])
    if ca_file is not None:
        source = replace(source, tls=TlsSettings(ca_file))
    clock = SystemClock()
    outbox = LedgerOutbox(store, sender, clock, from_beginning=from_beginning)
    changed = asyncio.Event()
    publisher = Publisher(
        store.writer, source, sender, [outbox], clock=clock, on_change=lambda _state: changed.set()
    )
    return Watched(publisher, changed)


@asynccontextmanager
async def running(watched: Watched) -> AsyncIterator[Watched]:
    task = asyncio.create_task(watched.publisher.run())
    try:
        yield watched
        watched.publisher.stop()
        async with asyncio.timeout(LIMIT_S):
            await task
    finally:
        await die(task)


async def die(task: "asyncio.Task[None]") -> None:
    """End a publisher as a kill of its process would: at once, wherever it is."""
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


class Meter:
    """A pH meter that has one line open."""

    def __init__(self, store: Store) -> None:
        self.filler = Filler(store)
        self._capture = self.filler.open("ph", "ph-meter-1")

    def says(self, count: int) -> list[int]:
        """Enter so many readings and return their revisions."""
        return [
            self.filler.hear(self._capture, b"pH 3.41\r\n", [Answer("ph", f"3.{place:03}", "pH")])[0]
            for place in range(count)
        ]


def readings(count: int) -> Callable[[Heard], bool]:
    return lambda heard: len({said["id"] for said in heard.of("reading")}) >= count


def sequences(heard: Heard) -> list[int]:
    """Return the numbers of the messages in the order of their first coming."""
    return list(dict.fromkeys(said["sequence"] for _, said in heard.messages if "sequence" in said))


def actions(store: Store) -> list[str]:
    with store.reader() as connection:
        return [one.action for one in ledger_after(connection, after=0, limit=10_000)]


async def test_each_reading_is_published_as_it_was_sent(store: Store, mosquitto: Mosquitto) -> None:
    meter = Meter(store)
    async with listening(mosquitto) as heard, running(publisher_of(store, mosquitto)) as publisher:
        await publisher.until("online")
        (revision,) = await asyncio.to_thread(meter.says, 1)
        await heard.until(readings(1))
    (topic, said), *_ = [one for one in heard.messages if "reading" in one[0]]
    assert topic == "winery/north/v1/reading/ph-meter-1"
    assert (said["schema"], said["site"], said["sequence"]) == ("tundish.reading/1", "north", 1)
    assert said["revision"] == said["reading"]["revision"] == revision
    assert said["id"] == f"{store.info.store_id}:{revision}:reading:{revision}"
    assert (said["reading"]["value_text"], said["reading"]["unit"]) == ("3.000", "pH")


def work_at_the_bench(store: Store) -> int:
    """Make a result that is judged, amended and rejected; return its id."""
    made = fill_records(store)
    store.writer.submit(lambda tx: put_in_force(tx, BY, made["amendment"])).result(10)
    store.writer.submit(lambda tx: reject(tx, replace(BY, reason="a bad tray"), made["result"])).result(10)
    return made["result"]


def of(heard: Heard, result: int) -> list[dict[str, Any]]:
    """Return what was said of one result, in its order."""
    return [said for said in heard.of("result") if said["result"]["id"] == result]


async def test_a_result_is_published_as_it_stood_after_each_change(
    store: Store, mosquitto: Mosquitto
) -> None:
    result = await asyncio.to_thread(work_at_the_bench, store)
    async with (
        listening(mosquitto) as heard,
        running(publisher_of(store, mosquitto, from_beginning=True)),
    ):
        await heard.until(lambda heard: any(one["result"]["mark"] == "rejected" for one in of(heard, result)))
    results = of(heard, result)
    assert [said["result"]["revision"] for said in results] == [said["revision"] for said in results]
    assert (results[0]["result"]["value"], results[0]["result"]["amendment"]) == (28.4, None)
    assert (results[-1]["result"]["value"], results[-1]["result"]["mark"]) == (28.5, "rejected")
    with store.reader() as connection:
        changes = history_of_result(connection, result)
    assert {one.number for one in changes} <= {said["revision"] for said in results}
    assert sequences(heard) == list(range(1, len(sequences(heard)) + 1))


async def test_all_that_is_published_fits_the_documented_schema(store: Store, mosquitto: Mosquitto) -> None:
    await asyncio.to_thread(Meter(store).says, 2)
    await asyncio.to_thread(work_at_the_bench, store)
    async with (
        listening(mosquitto) as heard,
        running(publisher_of(store, mosquitto, from_beginning=True)),
    ):
        await heard.until(lambda heard: bool(heard.of("result")) and heard.of("result")[-1]["result"]["mark"])
    valid = jsonschema_rs.validator_for(json_schema())
    assert {topic.split("/")[3] for topic, _ in heard.messages} == {"reading", "result", "status"}
    for _, said in heard.messages:
        valid.validate(said)


async def test_publishing_begins_with_what_comes_after_its_first_start(
    store: Store, mosquitto: Mosquitto
) -> None:
    meter = Meter(store)
    await asyncio.to_thread(meter.says, 3)
    async with listening(mosquitto) as heard, running(publisher_of(store, mosquitto)) as publisher:
        await publisher.until("online")
        (new,) = await asyncio.to_thread(meter.says, 1)
        await heard.until(readings(1))
    assert [said["revision"] for said in heard.of("reading")] == [new]


async def test_what_was_stored_while_no_broker_was_there_is_published_later(
    store: Store, mosquitto: Mosquitto
) -> None:
    meter = Meter(store)
    async with listening(mosquitto) as heard, running(publisher_of(store, mosquitto)) as publisher:
        await publisher.until("online")
        mosquitto.stop()
        await publisher.until("waiting")
        revisions = await asyncio.to_thread(meter.says, 50)
        mosquitto.start()
        await heard.until(readings(50))
    assert list(dict.fromkeys(said["revision"] for said in heard.of("reading"))) == revisions


@pytest.mark.parametrize("how", ["stop", "kill", "freeze"])
async def test_a_broker_that_goes_amid_a_flood_loses_nothing(
    store: Store, mosquitto: Mosquitto, how: str
) -> None:
    meter, revisions = Meter(store), list[int]()
    async with listening(mosquitto) as heard, running(publisher_of(store, mosquitto)) as publisher:
        await publisher.until("online")
        for turn in range(1, 3):
            flood = asyncio.create_task(asyncio.to_thread(meter.says, 100))
            await heard.until(readings(100 * turn - 70))
            getattr(mosquitto, how)()
            revisions += await flood
            revisions += await asyncio.to_thread(meter.says, 20)
            mosquitto.thaw() if how == "freeze" else mosquitto.start()
        await heard.until(readings(240))
    assert list(dict.fromkeys(said["revision"] for said in heard.of("reading"))) == revisions
    assert sequences(heard) == list(range(1, 241))


async def test_a_daemon_that_dies_at_any_moment_loses_nothing_and_repeats_with_the_same_id(
    store: Store, mosquitto: Mosquitto
) -> None:
    meter = Meter(store)
    async with listening(mosquitto) as heard:
        async with running(publisher_of(store, mosquitto)) as publisher:
            await publisher.until("online")
        flood = asyncio.create_task(asyncio.to_thread(meter.says, 300))
        for count in (1, 60, 200):
            task = asyncio.create_task(publisher_of(store, mosquitto).publisher.run())
            await heard.until(readings(count))
            await die(task)
        revisions = await flood
        async with running(publisher_of(store, mosquitto)):
            await heard.until(readings(300))
    came = heard.of("reading")
    assert list(dict.fromkeys(said["revision"] for said in came)) == revisions
    by_id: dict[str, dict[str, Any]] = {}
    for said in came:
        assert by_id.setdefault(said["id"], said) == said


RULES = "user bench\ntopic readwrite winery/north/v1/status\ntopic write winery/north/v1/reading/ph-meter-1\n"
LISTENER = "user listener\ntopic read #\n"


async def test_what_a_broker_refuses_is_kept_and_shown_and_made_good(store: Store, tmp_path: Path) -> None:
    broker = Mosquitto(
        tmp_path / "broker", passwords={"bench": "must", "listener": "lees"}, rules=RULES + LISTENER
    )
    broker.start()
    meter = Meter(store)
    try:
        async with listening(broker, "listener", "lees") as heard:
            async with running(publisher_of(store, broker)) as publisher:
                await publisher.until("online")
                burette = await asyncio.to_thread(meter.filler.open, "bur", "burette-1")
                dose = [Answer("free_so2", "28.40", "mg/L")]
                await asyncio.to_thread(meter.filler.hear, burette, b"28.40\r\n", dose)
                await asyncio.to_thread(meter.says, 2)
                await heard.until(readings(2))
            with store.reader() as connection:
                (record,) = refused(connection, 10)
            assert record.topic == "winery/north/v1/reading/burette-1"
            assert (record.why, record.sequence) == ("not authorized", 1)
            assert actions(store).count("publish.refused") == 1
            broker.change_rules(RULES + "topic write winery/north/v1/reading/burette-1\n" + LISTENER)
            async with running(publisher_of(store, broker)):
                await heard.until(readings(3))
        with store.reader() as connection:
            assert refused(connection, 10) == []
            assert published_up_to(connection).sequence == 3
        assert sequences(heard) == [2, 3, 1]
        assert actions(store).count("publish.made_good") == 1
    finally:
        broker.kill()


async def test_a_message_larger_than_the_broker_takes_is_set_aside_and_the_rest_goes_on(
    store: Store, tmp_path: Path
) -> None:
    broker = Mosquitto(tmp_path / "broker", more="max_packet_size 2000")
    broker.start()
    meter = Meter(store)
    try:
        async with listening(broker) as heard, running(publisher_of(store, broker)) as publisher:
            await publisher.until("online")
            capture = await asyncio.to_thread(meter.filler.open, "bur", "burette-1")
            long = [Answer("free_so2", "1.0", "mg/L", sample="W" * 3000)]
            await asyncio.to_thread(meter.filler.hear, capture, b"long\r\n", long)
            await asyncio.to_thread(meter.says, 1)
            await heard.until(readings(1))
        with store.reader() as connection:
            (record,) = refused(connection, 10)
        assert record.why.endswith("the broker takes packets of at most 2000")
    finally:
        broker.kill()


async def test_the_status_says_when_a_site_comes_and_goes(store: Store, mosquitto: Mosquitto) -> None:
    async with listening(mosquitto) as heard:
        async with running(publisher_of(store, mosquitto)) as publisher:
            await publisher.until("online")
        await heard.until(
            lambda heard: bool(heard.messages) and heard.messages[-1][1].get("state") == "offline"
        )
    assert [said["state"] for said in heard.of("status")] == ["asking", "online", "offline"]
    async with listening(mosquitto) as late:
        await late.until(lambda heard: bool(heard.of("status")))
    assert late.of("status")[-1]["state"] == "offline", "it is retained"


async def test_a_false_word_under_the_status_of_a_site_is_put_right(
    store: Store, mosquitto: Mosquitto
) -> None:
    async with listening(mosquitto) as heard, running(publisher_of(store, mosquitto)) as publisher:
        await publisher.until("online")
        await publish(mosquitto, STATUS, [b'{"state": "offline"}'], retain=True)
        await heard.until(lambda heard: len(heard.of("status")) >= 4)
    states = [said["state"] for said in heard.of("status")]
    assert states == ["asking", "online", "offline", "online", "offline"]


async def test_two_daemons_of_one_name_are_told_so_and_the_first_goes_on(
    new_store: NewStore, mosquitto: Mosquitto
) -> None:
    first, second = new_store("real"), new_store("real")
    meter, other = Meter(first), Meter(second)
    async with listening(mosquitto) as heard, running(publisher_of(first, mosquitto)) as holder:
        await holder.until("online")
        async with running(publisher_of(second, mosquitto)) as late:
            why = await late.until("waiting")
            assert why.startswith(f"another daemon publishes as site 'north' (store {first.info.store_id}")
            await asyncio.to_thread(other.says, 3)
            revisions = await asyncio.to_thread(meter.says, 3)
            await heard.until(readings(3))
            assert holder.state.state == "online"
    came = heard.of("reading")
    assert {said["store"] for said in came} == {first.info.store_id}
    assert [said["revision"] for said in came] == revisions


async def test_of_two_that_come_at_once_one_gets_the_name(new_store: NewStore, mosquitto: Mosquitto) -> None:
    first, second = (publisher_of(new_store("real"), mosquitto) for _ in range(2))
    async with listening(mosquitto) as heard:
        async with running(first), running(second):
            async with asyncio.timeout(LIMIT_S):
                ends = [
                    asyncio.create_task(one.until("waiting", "another daemon publishes"))
                    for one in (first, second)
                ]
                await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
                loser, winner = (first, second) if ends[0].done() else (second, first)
                await winner.until("online")
                await loser.until("waiting", "another daemon publishes")
            for end in ends:
                end.cancel()
        await heard.until(lambda heard: [one["state"] for one in heard.of("status")][-1:] == ["offline"])
    assert first.state.state == second.state.state == "stopped"


async def test_a_site_that_may_not_read_its_own_status_does_not_publish(store: Store, tmp_path: Path) -> None:
    broker = Mosquitto(
        tmp_path / "broker", passwords={"bench": "must"}, rules="user bench\ntopic write winery/#\n"
    )
    broker.start()
    try:
        async with running(publisher_of(store, broker)) as publisher:
            await publisher.until("waiting", "the access rules must let us read it")
    finally:
        broker.kill()


async def test_a_wrong_password_and_no_broker_are_one_clear_line(store: Store, tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path / "broker", passwords={"bench": "must"})
    broker.start()
    publisher = publisher_of(store, replace(broker, passwords={"bench": "pomace"}))
    try:
        async with running(publisher):
            assert "pomace" not in await publisher.until("waiting", "correct user and password")
            broker.kill()
            await publisher.until("waiting", "no broker answers")
    finally:
        broker.kill()


@pytest.mark.needs("openssl")
async def test_a_broker_that_nobody_vouches_for_gets_nothing_and_what_waits_comes_once_one_does(
    store: Store, tmp_path: Path
) -> None:
    ours, strange = Authority(tmp_path / "ours", "cellar"), Authority(tmp_path / "strange", "market")
    both = tmp_path / "both.pem"
    both.write_text(ours.file.read_text() + strange.file.read_text())
    broker = Mosquitto(tmp_path / "broker", tls=strange.certificate())
    meter = Meter(store)
    broker.start()
    try:
        async with (
            listening(broker, ca_file=both) as heard,
            running(publisher_of(store, broker, ca_file=ours.file)) as publisher,
        ):
            why = await publisher.until("waiting", "is not trusted")
            assert why.startswith("the certificate of the broker at mqtts://127.0.0.1")
            revisions = await asyncio.to_thread(meter.says, 3)
            assert heard.messages == []
            broker.stop()
            broker.tls = ours.certificate()
            broker.start()
            await heard.until(readings(3))
    finally:
        broker.kill()
    assert sorted({said["revision"] for said in heard.of("reading")}) == revisions


async def test_what_was_heard_while_the_password_was_wrong_is_published_once_it_is_right(
    store: Store, tmp_path: Path
) -> None:
    broker = Mosquitto(tmp_path / "broker", passwords={"bench": "pomace", "ear": "lees"})
    meter = Meter(store)
    broker.start()
    publisher = publisher_of(store, replace(broker, passwords={"bench": "must"}))
    try:
        async with listening(broker, "ear", "lees") as heard, running(publisher):
            assert "must" not in await publisher.until("waiting", "correct user and password")
            revisions = await asyncio.to_thread(meter.says, 3)
            broker.stop()
            broker.passwords = {"bench": "must", "ear": "lees"}
            broker.start()
            await heard.until(readings(3))
    finally:
        broker.kill()
    assert sorted({said["revision"] for said in heard.of("reading")}) == revisions


def test_the_schema_that_is_documented_is_the_one_that_holds() -> None:
    file = Path(__file__).parents[3] / "docs" / "publishing.schema.json"
    said = json.loads(file.read_text(encoding="utf-8"))
    assert said == json_schema(), "renew it: python -m tundish.publish_messages > docs/publishing.schema.json"
