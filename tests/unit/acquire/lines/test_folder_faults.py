"""What happens to files and folders on a bench: locks, shares that go, clocks that go back, restarts."""

import os
import threading
from collections import Counter
from contextlib import AbstractContextManager
from decimal import Decimal
from pathlib import Path
from typing import BinaryIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from structlog.testing import capture_logs

from acquire.lines.folder_file import open_to_read
from acquire.lines.folder_follow import LOOK_AGAIN_NS, Follower
from acquire.lines.folder_notes import NothingKnown
from acquire.lines.folder_scan import Signature
from acquire.lines.transport import Batch
from tests.fakes.followed_folder import FollowedFolder
from tests.fakes.table_drivers import rows, table


@pytest.fixture
def folder(tmp_path: Path) -> FollowedFolder:
    return FollowedFolder(tmp_path / "drop", rows())


def numbers(*texts: str) -> list[Decimal]:
    return [Decimal(text) for text in texts]


def test_after_a_restart_nothing_is_read_twice(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-1;28.5\n")
    folder.start()
    folder.look(3)
    folder.append("a.csv", b"W-2;31.0\n")
    assert folder.values == numbers("28.5", "28.5", "31.0")


def test_what_changed_while_the_daemon_was_away_is_read_when_it_is_back(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    (folder.folder / "a.csv").write_bytes(b"W-0;1.0\nW-1;28.5\nW-2;31.0\n")
    folder.start()
    folder.look()
    assert folder.values == numbers("28.5", "1.0", "31.0")


def test_a_header_is_told_again_after_a_restart_too(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", table())
    folder.write("a.csv", b"Sample;SO2\nW-1;28.5\n")
    folder.start()
    folder.append("a.csv", b"W-2;31.0\n")
    folder.start()
    folder.append("a.csv", b"W-3;40.0\n")
    assert folder.values == numbers("28.5", "31.0", "40.0")
    assert folder.refusals == []


def test_a_crash_in_the_middle_of_a_file_loses_and_doubles_no_row(folder: FollowedFolder) -> None:
    data = b"".join(b"W-%05d;%d.5\n" % (row, row) for row in range(4_000))
    kept = 0

    def crash_at_the_second(batch: Batch) -> None:
        nonlocal kept
        kept += 1
        if kept == 2:
            raise RuntimeError("the power went")
        folder.kept.give(batch)

    folder.give = crash_at_the_second
    with pytest.raises(RuntimeError, match="the power went"):
        folder.write("a.csv", data)
    folder.give = folder.kept.give
    folder.start()
    folder.look()
    assert Counter(folder.values) == Counter(Decimal(f"{row}.5") for row in range(4_000))


def test_a_part_that_the_store_did_not_take_comes_again(folder: FollowedFolder) -> None:
    def refuse(batch: Batch) -> None:
        raise RuntimeError("the store is full")

    folder.give = refuse
    with pytest.raises(RuntimeError):
        folder.write("a.csv", b"W-1;28.5\n")
    folder.give = folder.kept.give
    folder.start()
    folder.look()
    assert folder.values == numbers("28.5")


def test_a_file_that_another_program_holds_is_read_when_it_lets_go(folder: FollowedFolder) -> None:
    def held(path: Path) -> AbstractContextManager[BinaryIO]:
        raise PermissionError(13, "The process cannot access the file because it is used by another process")

    folder.open_file = held
    with capture_logs() as entries:
        folder.write("a.csv", b"W-1;28.5\n")
        folder.look(4)
    assert folder.values == []
    assert [(entry["event"], entry["file"]) for entry in entries] == [("folder.file_waits", "a.csv")]
    assert "used by another process" in entries[0]["why"]
    folder.open_file = open_to_read
    folder.look()
    assert folder.values == numbers("28.5")


def test_a_file_that_a_spreadsheet_holds_open_and_saves_anew_is_read_once_more_in_its_new_rows(
    folder: FollowedFolder,
) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    with (folder.folder / "a.csv").open("r+b") as held, (folder.folder / ".~lock.a.csv#").open("wb"):
        folder.look(2)
        held.seek(0)
        held.write(b"W-1;28.5\nW-2;31.0\n")
        held.flush()
        folder.look()
    (folder.folder / ".~lock.a.csv#").unlink()
    folder.look(2)
    assert folder.values == numbers("28.5", "31.0")


def test_a_file_is_never_written_to_moved_or_kept_open(folder: FollowedFolder, tmp_path: Path) -> None:
    modes: list[str] = []
    opened: list[BinaryIO] = []

    def noting(path: Path) -> BinaryIO:
        file = open_to_read(path)
        modes.append(file.mode)
        opened.append(file)
        return file

    folder.open_file = noting
    (folder.folder / "a.csv").write_bytes(b"W-1;28.5\nW-2;3")
    os.utime(folder.folder / "a.csv", ns=(1, 1_760_000_000_123_456_789))
    before = (folder.folder / "a.csv").stat()
    folder.look(3)
    after = (folder.folder / "a.csv").stat()
    assert [after.st_mtime_ns, after.st_ino, after.st_size] == [
        before.st_mtime_ns,
        before.st_ino,
        before.st_size,
    ]
    assert (folder.folder / "a.csv").read_bytes() == b"W-1;28.5\nW-2;3"
    assert os.listdir(folder.folder) == ["a.csv"]  # noqa: PTH208
    assert set(modes) == {"rb"}
    assert all(file.closed for file in opened)


def test_a_share_that_vanishes_and_comes_back_brings_nothing_twice(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    away = folder.folder.with_name("away")
    folder.folder.rename(away)
    with pytest.raises(FileNotFoundError):
        folder.look()
    away.rename(folder.folder)
    folder.look(2)
    folder.append("a.csv", b"W-2;31.0\n")
    assert folder.values == numbers("28.5", "31.0")


def test_a_share_that_is_empty_for_a_while_brings_nothing_twice(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    (folder.folder / "a.csv").rename(folder.folder.with_name("a.csv"))
    folder.look(2)
    folder.folder.with_name("a.csv").rename(folder.folder / "a.csv")
    folder.look(2)
    assert folder.values == numbers("28.5")


def test_a_clock_that_goes_back_hides_no_row(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    status = (folder.folder / "a.csv").stat()
    with (folder.folder / "a.csv").open("ab") as file:
        file.write(b"W-2;31.0\n")
    os.utime(folder.folder / "a.csv", ns=(status.st_atime_ns, status.st_mtime_ns - 3_600_000_000_000))
    folder.look()
    assert folder.values == numbers("28.5", "31.0")


def test_a_rewrite_of_the_same_size_and_time_is_seen(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    status = (folder.folder / "a.csv").stat()
    (folder.folder / "a.csv").write_bytes(b"W-1;29.5\n")
    os.utime(folder.folder / "a.csv", ns=(status.st_atime_ns, status.st_mtime_ns))
    assert (folder.folder / "a.csv").stat().st_mtime_ns == status.st_mtime_ns
    folder.look()
    assert folder.values == numbers("28.5", "29.5")


def test_a_renamed_file_is_not_read_again_and_read_on_under_its_new_name(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    (folder.folder / "a.csv").rename(folder.folder / "b.csv")
    folder.look()
    folder.append("b.csv", b"W-2;31.0\n")
    folder.start()
    folder.write("b.csv", b"W-0;1.0\nW-1;28.5\nW-2;31.0\n")
    assert folder.values == numbers("28.5", "31.0", "1.0")
    assert "formerly a.csv" in folder.kept.captures[1].settings
    assert folder.kept.captures[1].data == b""


def test_a_file_renamed_while_the_daemon_was_away_is_not_read_again(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    (folder.folder / "a.csv").rename(folder.folder / "b.csv")
    folder.start()
    folder.look()
    assert folder.values == numbers("28.5")


def test_a_file_renamed_there_and_back_is_not_read_again(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    for old, new in (("a.csv", "b.csv"), ("b.csv", "a.csv")):
        (folder.folder / old).rename(folder.folder / new)
        folder.look()
    folder.append("a.csv", b"W-2;31.0\n")
    assert folder.values == numbers("28.5", "31.0")


def test_a_log_that_is_rotated_is_read_on_and_the_new_one_from_its_start(folder: FollowedFolder) -> None:
    folder.write("log.csv", b"W-1;28.5\n")
    (folder.folder / "log.csv").rename(folder.folder / "log.1.csv")
    (folder.folder / "log.csv").write_bytes(b"W-1;28.5\n")
    folder.look(2)
    folder.append("log.csv", b"W-2;31.0\n")
    folder.start()
    folder.look(2)
    folder.write("log.csv", b"W-0;1.0\nW-1;28.5\nW-2;31.0\n")
    assert folder.values == numbers("28.5", "28.5", "31.0", "1.0")


def test_a_new_file_is_left_alone_until_it_is_quiet(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", rows(), quiet_ns=3_600_000_000_000)
    folder.write("a.csv", b"W-1;28.5\n")
    folder.append("a.csv", b"W-2;31.0\n")
    assert folder.values == []


def test_quiet_counts_from_the_last_change() -> None:
    follower = Follower(NothingKnown(), quiet_ns=10)
    first, second = Signature(5, 1, 1, 1), Signature(9, 2, 1, 2)
    follower.due({"a": first}, 100)
    assert not follower.is_quiet("a", 109)
    follower.due({"a": second}, 109)
    assert not follower.is_quiet("a", 118)
    follower.due({"a": second}, 118)
    assert follower.is_quiet("a", 119)


def test_a_file_is_looked_into_again_some_seconds_after_it_was_read() -> None:
    follower = Follower(NothingKnown(), quiet_ns=0)
    listing = {name: Signature(5, 1, 1, 1) for name in "abcdef"}
    for name, signature in listing.items():
        follower.settle(name, signature, 0)
    assert set(follower.due(listing, LOOK_AGAIN_NS)) == set(listing)
    for name, signature in listing.items():
        follower.settle(name, signature, LOOK_AGAIN_NS)
    assert len(follower.due(listing, 2 * LOOK_AGAIN_NS)) <= 1


def test_every_file_is_looked_into_again_in_the_course_of_time() -> None:
    follower = Follower(NothingKnown(), quiet_ns=0)
    listing = {name: Signature(5, 1, 1, 1) for name in "abcdef"}
    for name, signature in listing.items():
        follower.settle(name, signature, 0)
        follower.settle(name, signature, 0)
    looked_at = [name for _ in listing for name in follower.due(listing, 1)]
    assert sorted(looked_at) == sorted(listing)


ACTS = ("append", "half", "finish", "prepend", "same", "restart", "rename")


class Story:
    """A file with a header and rows, of which about every value comes twice, and what happens to it."""

    head = b"Sample;SO2\n"

    def __init__(self, folder: FollowedFolder) -> None:
        self._folder = folder
        self._name = "a.csv"
        self._half = b""
        self._number = 0
        self.rows: list[bytes] = []
        self._replace()

    def tell(self, act: str, count: int) -> None:
        match act:
            case "append" if not self._half:
                self.rows += self._new(count)
                with self._path.open("r+b") as file:
                    file.write(self._content)
            case "half" if not self._half:
                self._half = b"W;77"
                self._replace()
            case "finish" if self._half:
                self.rows.append(self._half + b".25\n")
                self._half = b""
                self._replace()
            case "prepend":
                self.rows = self._new(count) + self.rows
                self._replace()
            case "same":
                self._replace()
            case "restart":
                self._folder.start()
            case "rename":
                old, self._name = self._path, "b.csv" if self._name == "a.csv" else "a.csv"
                old.rename(self._path)
        self._folder.look()

    @property
    def _path(self) -> Path:
        return self._folder.folder / self._name

    @property
    def _content(self) -> bytes:
        return self.head + b"".join(self.rows) + self._half

    def _replace(self) -> None:
        fresh = self._folder.folder / "~fresh"
        fresh.write_bytes(self._content)
        fresh.replace(self._path)

    def _new(self, count: int) -> list[bytes]:
        self._number += count
        return [b"W;%d.5\n" % ((self._number - row) // 2) for row in range(count)]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 3)), max_size=20))
def test_whatever_happens_to_a_file_each_row_is_read_once(
    tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[str, int]]
) -> None:
    folder = FollowedFolder(tmp_path_factory.mktemp("story") / "drop", table())
    story = Story(folder)
    for act, count in acts:
        story.tell(act, count)
    wanted = Counter(Decimal(row.split(b";")[1].decode()) for row in story.rows)
    assert Counter(folder.values) == wanted
    assert folder.refusals == []


def test_a_stop_between_parts_reads_the_rest_after_the_next_start(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", rows(), part_bytes=5_000)
    stopping = threading.Event()
    folder.watch._stopping = stopping
    give = folder.kept.give

    def stop_after_the_first(batch: Batch) -> None:
        give(batch)
        stopping.set()

    folder.give = stop_after_the_first
    data = b"".join(b"W-%05d;%d.5\n" % (row, row) for row in range(20_000))
    folder.write("big.csv", data)
    assert len(folder.kept.captures) == 1
    folder.give = give
    folder.start()
    folder.look()
    assert b"".join(capture.data for capture in folder.kept.captures) == data
