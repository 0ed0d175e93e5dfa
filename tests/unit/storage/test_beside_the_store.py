"""The files beside a store: its lock and its ballast."""

import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.ballast import Ballast
from storage.errors import StoreBusyError, StoreUnreachableError
from storage.lock import StoreLock
from storage.store import Store
from tests.fakes.store_contents import open_at_noon

SIZE_BYTES = 3 * 2**20 + 5


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    """A store in a file."""
    store = open_at_noon(path)
    yield store
    store.close()


def test_only_one_can_hold_the_lock(path: Path) -> None:
    lock = StoreLock(path)
    with pytest.raises(StoreBusyError, match="held by another daemon"):
        StoreLock(path)
    lock.release()


def test_the_lock_names_its_holder(path: Path) -> None:
    lock = StoreLock(path)
    with pytest.raises(StoreBusyError) as caught:
        StoreLock(path)
    lock.release()
    assert caught.value.holder.startswith("process ")


def test_a_released_lock_can_be_taken_again(path: Path) -> None:
    for _ in range(3):
        StoreLock(path).release()


def test_a_lock_file_left_by_a_dead_daemon_is_in_nobodys_way(path: Path) -> None:
    path.with_name("cellar.db.lock").write_text("process 1")
    StoreLock(path).release()


def test_a_lock_that_cannot_be_made_says_where_and_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(StoreUnreachableError, match="Make the folder"):
        StoreLock(tmp_path / "nowhere" / "cellar.db")


def test_ballast_takes_real_room_and_gives_it_back(path: Path) -> None:
    ballast = Ballast(path, SIZE_BYTES)
    assert ballast.load()
    (file,) = path.parent.glob("*.ballast")
    assert file.stat().st_size == SIZE_BYTES
    assert any(file.read_bytes())
    ballast.drop()
    assert not ballast.is_aboard


def test_loading_ballast_twice_changes_nothing(path: Path) -> None:
    ballast = Ballast(path, SIZE_BYTES)
    assert (ballast.load(), ballast.load()) == (True, True)


def test_dropping_ballast_that_is_not_there_is_no_error(path: Path) -> None:
    Ballast(path).drop()


def test_ballast_that_cannot_be_written_is_done_without(tmp_path: Path) -> None:
    assert not Ballast(tmp_path / "nowhere" / "cellar.db", SIZE_BYTES).load()


def test_ballast_is_not_taken_from_a_disk_that_is_nearly_full(path: Path) -> None:
    room_bytes = shutil.disk_usage(path.parent).free
    assert not Ballast(path, room_bytes // 2).load()
    assert names_beside(path) == []


def names_beside(path: Path) -> list[str]:
    return [file.name for file in path.parent.iterdir()]


def test_ballast_thrown_overboard_is_taken_again_with_the_next_commit(store: Store, path: Path) -> None:
    ballast = Ballast(path)
    ballast.drop()
    heard = threading.Event()
    store.writer.subscribe(lambda _head: heard.set())
    store.writer.submit(lambda tx: tx.heartbeat(1)).result(10)
    assert heard.wait(10)
    assert ballast.is_aboard
