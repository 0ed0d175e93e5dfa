import threading
from collections.abc import Iterator
from concurrent.futures import wait
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, event, select
from structlog.testing import capture_logs

from storage.errors import RowError, SpoolFullError, WriterClosedError
from storage.schema import heartbeat
from storage.transaction import Transaction
from storage.verify import verify
from storage.writer import LAST_RETRY_S, Writer
from tests.fakes.store_contents import enter
from tests.fakes.store_writer import (
    PATIENCE_S,
    HeldPause,
    SomeDisk,
    fault,
    new_engine,
    running,
    texts,
    writer_on,
)
from tests.services.grounds import Ground


@dataclass
class Desk:
    """A writer and what a test needs round it."""

    ground: Ground
    engine: Engine
    pause: HeldPause
    writer: Writer

    def write(self, *texts_: str) -> list[int]:
        futures = [self.writer.submit(fault(text)) for text in texts_]
        return [future.result(PATIENCE_S) for future in futures]


@pytest.fixture
def desk(ground: Ground) -> Iterator[Desk]:
    engine, head = new_engine(ground)
    pause = HeldPause()
    desk = Desk(ground, engine, pause, running(engine, head, pause))
    yield desk
    pause.go_on()
    desk.writer.close()
    engine.dispose()


@pytest.fixture
def held(desk: Desk) -> Iterator["Held"]:
    """A writer whose thread is busy, so that what is submitted now lands in one group."""
    held = Held(desk)
    yield held
    held.let_go()


class Held:
    def __init__(self, desk: Desk) -> None:
        self._free = threading.Event()
        busy = threading.Event()

        def stay(_tx: Transaction) -> None:
            busy.set()
            self._free.wait(PATIENCE_S)

        desk.writer.submit(stay)
        assert busy.wait(PATIENCE_S)

    def let_go(self) -> None:
        self._free.set()


LOCKED = {"sqlite": "SQLITE_BUSY", "postgresql": "lock timeout"}


def explode(_tx: Transaction) -> None:
    raise LookupError("no such part")


def test_a_future_is_done_only_when_another_connection_can_see_the_row(desk: Desk) -> None:
    desk.write("one")
    with closing(desk.ground.stranger()) as stranger:
        assert stranger.execute("SELECT text FROM fault").fetchall() == [("one",)]


def test_entries_are_numbered_in_the_order_of_submission(desk: Desk) -> None:
    numbers = desk.write(*"abcde")
    assert numbers == list(range(numbers[0], numbers[0] + 5))
    assert desk.writer.head.number == numbers[-1]


def test_what_waits_is_committed_as_one_group(desk: Desk, held: Held) -> None:
    futures = [desk.writer.submit(fault(str(count))) for count in range(50)]
    held.let_go()
    wait(futures, PATIENCE_S)
    desk.write("last")
    assert desk.writer.health().commits == 3


def test_bad_work_fails_alone(desk: Desk, held: Held) -> None:
    before = [desk.writer.submit(fault(f"before {count}")) for count in range(5)]
    bad = desk.writer.submit(explode)
    after = [desk.writer.submit(fault(f"after {count}")) for count in range(5)]
    held.let_go()
    assert isinstance(bad.exception(PATIENCE_S), LookupError)
    wait([*before, *after], PATIENCE_S)
    expected = [f"{when} {count}" for when in ("before", "after") for count in range(5)]
    assert texts(desk.engine) == expected


def test_a_row_that_the_store_refuses_fails_alone(desk: Desk, held: Held) -> None:
    rows: dict[str, Any] = {"session_end": [(4711, 5, "clean")]}
    bad = desk.writer.submit(lambda tx: enter(tx, "session.ended", rows))
    good = desk.writer.submit(fault("good"))
    held.let_go()
    assert "foreign key" in str(bad.exception(PATIENCE_S)).lower()
    assert good.result(PATIENCE_S) == desk.writer.head.number


def test_a_row_of_the_wrong_type_is_told_to_its_own_caller(desk: Desk) -> None:
    rows: dict[str, Any] = {"fault": [(None, None, "line", 5)]}
    bad = desk.writer.submit(lambda tx: enter(tx, "fault.found", rows))
    assert isinstance(bad.exception(PATIENCE_S), RowError)


def test_half_done_work_leaves_nothing(desk: Desk) -> None:
    def half(tx: Transaction) -> None:
        fault("half")(tx)
        tx.set_position("intake", 9)
        tx.flush()
        explode(tx)

    assert desk.writer.submit(half).exception(PATIENCE_S)
    desk.write("whole")
    assert texts(desk.engine) == ["whole"]


def test_the_chain_holds_after_bad_work(desk: Desk, held: Held) -> None:
    futures = [desk.writer.submit(work) for work in (fault("a"), explode, fault("b"), explode, fault("c"))]
    held.let_go()
    wait(futures, PATIENCE_S)
    with desk.engine.connect() as connection:
        assert verify(connection, expected=desk.writer.head).in_order


def test_work_reads_what_it_has_entered(desk: Desk) -> None:
    def look(tx: Transaction) -> list[str]:
        fault("mine")(tx)
        return list(tx.connection.exec_driver_sql("SELECT text FROM fault").scalars())

    assert desk.writer.submit(look).result(PATIENCE_S) == ["mine"]


def test_work_knows_the_number_of_its_next_entry(desk: Desk) -> None:
    foreseen, given = desk.writer.submit(lambda tx: (tx.next_number, fault("x")(tx))).result(PATIENCE_S)
    assert foreseen == given


def test_a_position_moves_and_the_heartbeat_is_one_row(desk: Desk) -> None:
    def go_on(tx: Transaction) -> None:
        for at in (1, 2):
            tx.set_position("intake", at)
            tx.heartbeat(at)

    desk.writer.submit(go_on).result(PATIENCE_S)
    with desk.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT name, number FROM position").all() == [("intake", 2)]
        assert connection.execute(select(heartbeat.c.last_at_us)).all() == [(2,)]


def test_a_locked_store_makes_work_wait_and_then_drains_it_in_order(desk: Desk) -> None:
    with closing(desk.ground.locked()) as stranger:
        futures = [desk.writer.submit(fault(str(count))) for count in range(20)]
        assert desk.pause.reached.wait(PATIENCE_S)
        assert not any(future.done() for future in futures)
        stranger.rollback()
    desk.pause.go_on()
    wait(futures, PATIENCE_S)
    assert texts(desk.engine) == [str(count) for count in range(20)]


def test_health_says_since_when_and_why_the_store_cannot_be_written(desk: Desk) -> None:
    with closing(desk.ground.locked()):
        future = desk.writer.submit(fault("x"), size_bytes=1000)
        assert desk.pause.reached.wait(PATIENCE_S)
        health = desk.writer.health()
    assert (health.ok, health.failing_since_us, health.spool_items) == (False, 77, 1)
    assert LOCKED[desk.ground.kind] in health.why
    assert health.spool_bytes > 1000
    desk.pause.go_on()
    future.result(PATIENCE_S)
    assert desk.writer.health().ok


def test_the_pause_grows_up_to_a_limit(ground: Ground) -> None:
    engine, head = new_engine(ground)
    asked_s: list[float] = []
    stranger = ground.locked()

    def pause(pause_s: float) -> None:
        asked_s.append(pause_s)
        if len(asked_s) == 8:
            stranger.rollback()

    writer = running(engine, head, pause)
    writer.submit(fault("x")).result(PATIENCE_S)
    writer.close()
    stranger.close()
    engine.dispose()
    assert asked_s == sorted(asked_s)
    assert asked_s[-1] == LAST_RETRY_S


def test_a_full_spool_refuses_and_what_it_holds_is_still_written(ground: Ground) -> None:
    engine, head = new_engine(ground)
    pause = HeldPause()
    writer = running(engine, head, pause, limit_bytes=2000)
    with closing(ground.locked()) as stranger:
        kept = writer.submit(fault("kept"), size_bytes=1000)
        with pytest.raises(SpoolFullError, match="the limit is 2000 bytes"):
            writer.submit(fault("lost"), size_bytes=1000)
        stranger.rollback()
    pause.go_on()
    kept.result(PATIENCE_S)
    writer.close()
    assert texts(engine) == ["kept"]
    engine.dispose()


def test_a_commit_that_took_hold_and_yet_raised_is_not_written_twice(desk: Desk) -> None:
    @event.listens_for(desk.engine, "commit", once=True)
    def commit_and_raise(connection: Connection) -> None:
        driver: Any = connection.connection.driver_connection
        driver.commit()
        raise SomeDisk(10)

    desk.pause.go_on()
    assert desk.write("one", "two")
    assert texts(desk.engine) == ["one", "two"]


def test_a_commit_that_did_not_take_hold_is_tried_again(desk: Desk) -> None:
    @event.listens_for(desk.engine, "commit", once=True)
    def only_raise(connection: Connection) -> None:
        raise SomeDisk(10)

    desk.pause.go_on()
    assert desk.write("one", "two")
    assert texts(desk.engine) == ["one", "two"]


def test_a_full_disk_throws_the_ballast_overboard(ground: Ground) -> None:
    engine, head = new_engine(ground)
    thrown: list[str] = []
    writer = writer_on(engine, head, pause=lambda _: None, on_full=lambda: thrown.append("x"))

    @event.listens_for(engine, "commit", once=True)
    def no_room(connection: Connection) -> None:
        raise SomeDisk(13)

    writer.start()
    writer.submit(fault("x")).result(PATIENCE_S)
    writer.close()
    engine.dispose()
    assert thrown == ["x"]


def test_losing_and_finding_the_store_is_logged_once_each(desk: Desk) -> None:
    with capture_logs() as logs, closing(desk.ground.locked()) as stranger:
        future = desk.writer.submit(fault("x"))
        assert desk.pause.reached.wait(PATIENCE_S)
        stranger.rollback()
        desk.pause.go_on()
        future.result(PATIENCE_S)
    assert [entry["event"] for entry in logs] == ["store.unwritable", "store.recovered"]


def test_whoever_stops_waiting_does_not_stop_the_writing(desk: Desk, held: Held) -> None:
    given_up = desk.writer.submit(fault("kept all the same"))
    assert not given_up.cancel()
    held.let_go()
    assert given_up.result(PATIENCE_S)
    assert texts(desk.engine) == ["kept all the same"]


def test_listeners_hear_the_new_head_until_they_leave(desk: Desk) -> None:
    heard: list[int] = []
    leave = desk.writer.subscribe(heard.append)
    (first,) = desk.write("one")
    desk.write("two")
    leave()
    desk.write("three")
    assert heard[0] == first
    assert desk.writer.head.number not in heard


def test_a_listener_that_raises_does_not_stop_the_writing(desk: Desk) -> None:
    desk.writer.subscribe(explode)  # type: ignore[arg-type] # it raises whatever it is given
    with capture_logs() as logs:
        desk.write("one")
        desk.write("two")
    assert "writer.listener_failed" in {entry["event"] for entry in logs}


def test_closing_writes_what_waits_and_takes_nothing_more(desk: Desk, held: Held) -> None:
    future = desk.writer.submit(fault("last"))
    held.let_go()
    assert desk.writer.close()
    assert future.result(0)
    with pytest.raises(WriterClosedError):
        desk.writer.submit(fault("too late"))


def test_closing_while_the_store_stays_locked_says_what_was_lost(ground: Ground) -> None:
    engine, head = new_engine(ground)
    writer = writer_on(engine, head)
    with closing(ground.locked()):
        writer.start()
        future = writer.submit(fault("lost"))
        assert not writer.close(timeout_s=0.1)
    assert {"sqlite": "locked", "postgresql": "lock timeout"}[ground.kind] in str(future.exception(0))
    engine.dispose()


def test_health_counts_rows_and_commits(desk: Desk) -> None:
    desk.write("one")
    desk.write("two")
    health = desk.writer.health()
    assert (health.commits, health.rows) == (2, 4)
