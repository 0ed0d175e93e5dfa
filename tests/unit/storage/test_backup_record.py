"""A copy is entered in the store that it was made of."""

from pathlib import Path

import pytest

from storage.backup import backup, verify_file
from storage.backup_record import enter_backup
from storage.connect import writing_engine
from storage.errors import BackupError, StoreBusyError
from storage.queries import last_backup, ledger_after
from storage.rows import BackupRow
from tests.fakes.filled_store import NOON_US
from tests.fakes.store_contents import open_at_noon


def copied(store: Path, target: Path) -> BackupRow:
    head = backup(store, target)
    return BackupRow(str(target), NOON_US, head.number, head.link, target.stat().st_size)


@pytest.fixture
def row(path: Path, tmp_path: Path) -> BackupRow:
    """What is known of a copy of a store that nobody holds."""
    open_at_noon(path).close()
    return copied(path, tmp_path / "copy.db")


def test_a_copy_is_entered_with_its_head_and_its_actor(path: Path, row: BackupRow) -> None:
    number = enter_backup(path, row, actor="AB", at_us=NOON_US)
    assert verify_file(path).in_order
    store = open_at_noon(path)
    with store.reader() as connection:
        known = last_backup(connection)
        (entry,) = ledger_after(connection, after=number - 1, limit=1)
    store.close()
    assert known is not None
    assert (known.number, known.file, known.made_at_us, known.actor) == (number, row.file, NOON_US, "AB")
    assert (known.head_number, known.size_bytes) == (row.head_number, row.size_bytes)
    assert (entry.action, entry.actor_kind) == ("backup.made", "person")


def test_the_newest_copy_is_the_one_that_was_entered_last(path: Path, row: BackupRow) -> None:
    enter_backup(path, row, actor="AB", at_us=NOON_US)
    enter_backup(path, row._replace(file="later.db"), actor="AB", at_us=NOON_US)
    store = open_at_noon(path)
    with store.reader() as connection:
        known = last_backup(connection)
    store.close()
    assert known is not None
    assert known.file == "later.db"


def test_a_store_that_a_daemon_holds_is_left_to_it(path: Path, row: BackupRow) -> None:
    store = open_at_noon(path)
    with pytest.raises(StoreBusyError):
        enter_backup(path, row, actor="AB", at_us=NOON_US)
    store.close()


def test_a_store_of_an_older_program_is_not_written(path: Path, row: BackupRow) -> None:
    engine = writing_engine(path)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
    engine.dispose()
    with pytest.raises(BackupError, match="schema of an older program; start the daemon on it once"):
        enter_backup(path, row, actor="AB", at_us=NOON_US)
