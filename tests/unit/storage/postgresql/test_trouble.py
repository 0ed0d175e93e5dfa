"""A server that goes away, comes back, or was taken over: nothing is lost and nothing is written twice."""

from collections.abc import Iterator
from concurrent.futures import wait
from contextlib import closing
from typing import Any

import psycopg
import pytest
from sqlalchemy import Connection, event
from sqlalchemy.exc import OperationalError

from storage.errors import StoreBusyError, WriterClosedError
from storage.store import Store
from storage.trouble import in_words, is_environment, is_lock
from storage.verify import verify
from tests.fakes.store_contents import open_at_noon
from tests.fakes.store_writer import PATIENCE_S, HeldPause, fault, running
from tests.services.grounds import ServerGround
from tests.services.postgresql import PostgreSQL

pytestmark = pytest.mark.needs("postgresql")

CUT_OFF = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
)


@pytest.fixture(scope="module")
def frail() -> Iterator[PostgreSQL]:
    """A server that these tests may stop."""
    server = PostgreSQL()
    server.start()
    yield server
    server.remove()


@pytest.fixture
def ground(frail: PostgreSQL) -> Iterator[ServerGround]:
    """A store that was made and closed."""
    ground = ServerGround(frail, frail.new_database())
    open_at_noon(ground).close()
    yield ground
    ground.remove()


@pytest.fixture
def store(ground: ServerGround) -> Iterator[Store]:
    store = open_at_noon(ground)
    yield store
    store.close()


def cut_off(ground: ServerGround) -> None:
    """End every session on a database but our own."""
    with closing(ground.stranger()) as stranger:
        stranger.execute(CUT_OFF)


def texts_in(ground: ServerGround) -> list[str]:
    with closing(ground.stranger()) as stranger:
        return [text for (text,) in stranger.execute("SELECT text FROM fault ORDER BY number").fetchall()]


def test_what_comes_while_the_server_is_stopped_is_written_in_order_when_it_is_back(
    frail: PostgreSQL, ground: ServerGround, store: Store
) -> None:
    store.writer.submit(fault("before")).result(PATIENCE_S)
    frail.stop("fast")
    futures = [store.writer.submit(fault(f"meanwhile {count}")) for count in range(20)]
    assert not wait(futures, 0.2).done
    frail.start()
    assert not wait(futures, PATIENCE_S).not_done
    assert texts_in(ground) == ["before", *(f"meanwhile {count}" for count in range(20))]
    with store.reader() as connection:
        assert verify(connection, expected=store.writer.head).in_order


def test_what_was_acknowledged_before_a_crash_of_the_server_is_there_after_it(
    frail: PostgreSQL, ground: ServerGround, store: Store
) -> None:
    store.writer.submit(fault("kept")).result(PATIENCE_S)
    frail.stop("immediate")
    frail.start()
    assert store.writer.submit(fault("next")).result(PATIENCE_S)
    assert texts_in(ground) == ["kept", "next"]


def test_health_says_why_while_the_server_is_away(frail: PostgreSQL, store: Store) -> None:
    frail.stop("fast")
    future = store.writer.submit(fault("x"))
    while store.writer.health().ok:
        assert not wait([future], 0.01).done
    health = store.writer.health()
    frail.start()
    future.result(PATIENCE_S)
    assert health.why
    assert "\n" not in health.why
    assert store.writer.health().ok


def test_a_session_that_is_cut_off_is_begun_again(ground: ServerGround, store: Store) -> None:
    for text in "abc":
        cut_off(ground)
        store.writer.submit(fault(text)).result(PATIENCE_S)
    assert texts_in(ground) == ["a", "b", "c"]


def test_readers_find_the_server_again_by_themselves(ground: ServerGround, store: Store) -> None:
    with store.reader() as connection:
        connection.exec_driver_sql("SELECT 1")
    cut_off(ground)
    with store.reader() as connection:
        assert connection.exec_driver_sql("SELECT 1").scalar() == 1


def test_a_commit_that_took_hold_as_the_session_broke_is_not_written_twice(ground: ServerGround) -> None:
    engine = ground.engine()
    head = head_of_store(ground)
    pause = HeldPause()
    pause.go_on()

    @event.listens_for(engine, "commit", once=True)
    def commit_and_break(connection: Connection) -> None:
        driver: Any = connection.connection.driver_connection
        driver.commit()
        cut_off(ground)
        driver.execute("SELECT 1")

    writer = running(engine, head, pause)
    writer.submit(fault("once")).result(PATIENCE_S)
    writer.submit(fault("more")).result(PATIENCE_S)
    writer.close()
    engine.dispose()
    assert pause.asked_s
    assert texts_in(ground) == ["once", "more"]


def head_of_store(ground: ServerGround) -> Any:
    with closing(open_at_noon(ground)) as store:
        return store.writer.head


def test_a_store_that_went_on_without_us_is_not_written_over(ground: ServerGround) -> None:
    engine = ground.engine()
    pause = HeldPause()
    writer = running(engine, head_of_store(ground), pause)
    writer.submit(fault("ours")).result(PATIENCE_S)
    engine.dispose()  # as a network does that is gone for long enough
    with closing(open_at_noon(ground)) as other:
        late = writer.submit(fault("too late"))
        assert pause.reached.wait(PATIENCE_S)
        assert "held by another daemon" in writer.health().why
        other.writer.submit(fault("theirs")).result(PATIENCE_S)
    pause.go_on()
    while "another daemon has written" not in writer.health().why:
        assert not wait([late], 0.01).done
    assert not writer.close(timeout_s=0.1)
    assert isinstance(late.exception(0), WriterClosedError)
    engine.dispose()
    assert texts_in(ground) == ["ours", "theirs"]


@pytest.mark.parametrize(
    ("error", "ours"),
    [
        (psycopg.errors.UniqueViolation(), False),
        (psycopg.errors.ForeignKeyViolation(), False),
        (psycopg.DataError("PostgreSQL text fields cannot contain NUL (0x00) bytes"), False),
        (psycopg.errors.AdminShutdown(), True),
        (psycopg.errors.CannotConnectNow(), True),
        (psycopg.errors.DiskFull(), True),
        (psycopg.errors.ReadOnlySqlTransaction(), True),
        (psycopg.errors.LockNotAvailable(), True),
        (psycopg.errors.InsufficientPrivilege(), True),
        (psycopg.OperationalError("server closed the connection unexpectedly"), True),
        (psycopg.InterfaceError("the connection is closed"), True),
        (StoreBusyError("postgresql://bench/cellar", "x"), True),
    ],
)
def test_trouble_of_the_world_is_told_from_a_fault_of_the_work(error: Exception, ours: bool) -> None:
    assert is_environment(error) is ours


def test_only_a_lock_leaves_the_session_as_it_is() -> None:
    assert is_lock(psycopg.errors.LockNotAvailable())
    assert not is_lock(psycopg.errors.AdminShutdown())


def test_what_a_server_says_in_many_lines_is_told_in_one() -> None:
    said = OperationalError("COMMIT", {}, psycopg.OperationalError("connection failed:\n\tIs it running?\n"))
    assert in_words(said) == "connection failed: Is it running?"
