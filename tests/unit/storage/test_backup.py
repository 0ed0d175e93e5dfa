from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.backup import backup, checked_head, restore, verify_file
from storage.errors import BackupError, NotAStoreError, StoreBusyError
from storage.store import Store
from tests.fakes.filled_store import Filler
from tests.fakes.store_contents import Filled, fill_every_table, open_at_noon, tampering


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "copy.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    """A store in a file."""
    store = open_at_noon(path)
    yield store
    store.close()


def names(folder: Path) -> set[str]:
    return {file.name for file in folder.iterdir()}


def test_a_copy_of_a_running_store_holds_everything_up_to_its_head(
    store: Store, path: Path, target: Path
) -> None:
    fill_every_table(store)
    assert backup(path, target) == store.writer.head
    assert verify_file(target, expected=store.writer.head).in_order


def test_a_copy_ends_although_the_store_is_written_meanwhile(store: Store, path: Path, target: Path) -> None:
    filler = Filler(store)
    capture = filler.open("ph", "ph-meter-1")
    waiting = [store.writer.submit(lambda tx: tx.heartbeat(1)) for _ in range(200)]
    head = backup(path, target)
    filler.hear(capture, b"pH 3.41\r\n")
    assert all(future.result(10) is None for future in waiting)
    assert head.number < store.writer.head.number


def test_a_copy_needs_no_file_beside_it(store: Store, path: Path, target: Path, tmp_path: Path) -> None:
    fill_every_table(store)
    backup(path, target)
    alone = tmp_path / "alone"
    alone.mkdir()
    target.rename(alone / "copy.db")
    assert checked_head(alone / "copy.db") == store.writer.head
    assert names(alone) == {"copy.db"}


def test_refuses_to_write_over_a_file(on_file: Filled, target: Path) -> None:
    target.write_text("precious")
    with pytest.raises(BackupError, match="there already; name another file"):
        backup(on_file.path, target)
    assert target.read_text() == "precious"


def test_refuses_to_copy_what_is_not_there(path: Path, target: Path) -> None:
    with pytest.raises(BackupError, match="there is no store"):
        backup(path, target)
    assert not path.exists()


def test_a_copy_that_fails_leaves_nothing(path: Path, target: Path, tmp_path: Path) -> None:
    path.write_bytes(b"no database at all" * 500)
    with pytest.raises(NotAStoreError, match="is not a store of this program"):
        backup(path, target)
    assert names(tmp_path) == {path.name}


def test_a_copy_into_a_folder_that_is_not_there_says_so(on_file: Filled, tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="nowhere is not there; make it, or name another one"):
        backup(on_file.path, tmp_path / "nowhere" / "copy.db")


def test_a_copy_left_unfinished_by_a_crash_is_in_nobodys_way(on_file: Filled, target: Path) -> None:
    target.with_name("copy.db.unfinished").write_text("half")
    assert backup(on_file.path, target) == on_file.head


def test_a_restored_store_goes_on_where_the_copy_ended(on_file: Filled, path: Path) -> None:
    assert restore(on_file.path, path).head == on_file.head
    open_at_noon(path).close()
    verdict = verify_file(path, expected=on_file.head)
    assert (verdict.in_order, verdict.entries > on_file.head.number) == (True, True)


def test_refuses_to_restore_over_a_store_unless_it_is_told_to(on_file: Filled, path: Path) -> None:
    open_at_noon(path).close()
    before = path.read_bytes()
    with pytest.raises(BackupError, match="nothing was changed"):
        restore(on_file.path, path)
    assert path.read_bytes() == before


def test_a_replaced_store_is_kept_beside_the_new_one(on_file: Filled, path: Path) -> None:
    open_at_noon(path).close()
    before = path.read_bytes()
    restore(on_file.path, path, replace=True)
    assert path.with_name("cellar.db.replaced").read_bytes() == before
    assert verify_file(path, expected=on_file.head).in_order


def test_a_store_that_was_put_aside_earlier_is_not_written_over(on_file: Filled, path: Path) -> None:
    for _ in range(3):
        restore(on_file.path, path, replace=True)
    assert {"cellar.db.replaced", "cellar.db.replaced-2"} <= names(path.parent)


def test_the_log_of_a_replaced_store_is_not_poured_into_the_new_one(on_file: Filled, path: Path) -> None:
    path.with_name("cellar.db-wal").write_bytes(b"stale")
    path.write_bytes(b"old")
    restore(on_file.path, path, replace=True)
    assert not path.with_name("cellar.db-wal").exists()
    assert path.with_name("cellar.db.replaced-wal").read_bytes() == b"stale"


def test_refuses_to_restore_a_copy_that_was_tampered_with(on_file: Filled, path: Path, target: Path) -> None:
    with tampering(on_file.copy_to(target)) as file:
        file.execute("UPDATE reading SET value_text = '9' WHERE outcome = 'value'")
    with pytest.raises(BackupError, match="is not good: reading"):
        restore(target, path)
    assert not path.exists()


def test_refuses_to_restore_while_a_daemon_holds_the_store(on_file: Filled, store: Store, path: Path) -> None:
    with pytest.raises(StoreBusyError):
        restore(on_file.path, path, replace=True)


@pytest.mark.parametrize("content", [b"", b"no database" * 400])
def test_refuses_to_restore_what_is_no_store(path: Path, target: Path, content: bytes) -> None:
    target.write_bytes(content)
    with pytest.raises(NotAStoreError):
        restore(target, path)


def test_refuses_a_copy_with_damaged_pages(on_file: Filled, path: Path, target: Path) -> None:
    data = bytearray(on_file.path.read_bytes())
    data[4096 * 3 : 4096 * 9] = b"\x5a" * (4096 * 6)
    target.write_bytes(data)
    with pytest.raises((BackupError, NotAStoreError)):
        restore(target, path)
    assert not path.exists()


def test_a_copy_holds_what_is_still_only_in_the_log(store: Store, path: Path, target: Path) -> None:
    fill_every_table(store)
    assert path.with_name("cellar.db-wal").stat().st_size > 0
    assert backup(path, target).number == store.writer.head.number


def test_an_empty_file_is_no_store_to_copy(tmp_path: Path) -> None:
    empty = tmp_path / "empty.db"
    empty.touch()
    with pytest.raises(NotAStoreError, match="it is empty"):
        backup(empty, tmp_path / "copy.db")


def test_a_folder_cannot_become_a_store(tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="is a folder; name the file"):
        restore(tmp_path / "copy.db", tmp_path, replace=True)
