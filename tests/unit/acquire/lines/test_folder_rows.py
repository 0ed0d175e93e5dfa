"""Files of rows, as programs write them: what is read, what is not read twice, and what is never lost."""

import os
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from tests.fakes.followed_folder import FollowedFolder
from tests.fakes.table_drivers import rows, table


@pytest.fixture
def folder(tmp_path: Path) -> FollowedFolder:
    return FollowedFolder(tmp_path / "drop", rows())


@pytest.fixture
def tables(tmp_path: Path) -> FollowedFolder:
    return FollowedFolder(tmp_path / "drop", table())


def numbers(*texts: str) -> list[Decimal]:
    return [Decimal(text) for text in texts]


def test_a_new_file_is_read_whole(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\r\nW-2;31.0\r\n")
    assert folder.values == numbers("28.5", "31.0")
    assert folder.kept.captures[0].data == b"W-1;28.5\r\nW-2;31.0\r\n"


def test_of_a_grown_file_only_the_new_bytes_are_kept(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    folder.append("a.csv", b"W-2;31.0\n")
    assert [capture.data for capture in folder.kept.captures] == [b"W-1;28.5\n", b"W-2;31.0\n"]
    assert folder.values == numbers("28.5", "31.0")


def test_a_file_that_stays_as_it_is_is_read_once(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    folder.look(5)
    assert folder.values == numbers("28.5")


def test_half_a_row_waits_in_the_file_until_it_is_whole(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-2;3")
    assert folder.values == numbers("28.5")
    folder.append("a.csv", b"1.0")
    assert folder.values == numbers("28.5")
    folder.append("a.csv", b"\n")
    assert folder.values == numbers("28.5", "31.0")
    assert folder.refusals == []


def test_half_a_row_that_becomes_another_one_is_read_as_that(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-2;3")
    folder.write("a.csv", b"W-1;28.5\nW-3;4.0\n")
    assert folder.values == numbers("28.5", "4.0")
    assert folder.refusals == []


def test_of_a_file_written_anew_with_more_rows_only_those_are_kept(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-2;31.0\n")
    folder.write("a.csv", b"W-0;20.0\nW-1;28.5\nW-2;31.0\nW-3;40.0\n")
    assert folder.values == numbers("28.5", "31.0", "20.0", "40.0")
    assert folder.kept.captures[1].data == b"W-0;20.0\nW-3;40.0\n"


def test_two_equal_rows_are_two_and_stay_two_when_the_file_is_written_anew(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-1;28.5\n")
    assert folder.values == numbers("28.5", "28.5")
    folder.write("a.csv", b"W-9;9.0\nW-1;28.5\nW-1;28.5\n")
    assert folder.values == numbers("28.5", "28.5", "9.0")
    folder.write("a.csv", b"W-8;8.0\nW-9;9.0\nW-1;28.5\nW-1;28.5\nW-1;28.5\n")
    assert folder.values == numbers("28.5", "28.5", "9.0", "8.0", "28.5")


def test_a_row_that_was_heard_before_and_is_appended_again_is_a_new_one(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\n")
    folder.append("a.csv", b"W-1;28.5\n")
    assert folder.values == numbers("28.5", "28.5")


def test_a_corrected_row_is_read_beside_the_one_that_it_replaces(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-2;31.0\n")
    folder.write("a.csv", b"W-1;28.6\nW-2;31.0\n")
    assert folder.values == numbers("28.5", "31.0", "28.6")


def test_rows_keep_the_order_of_the_file(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"".join(b"W-%d;%d.5\n" % (row, row) for row in range(9, 0, -1)))
    assert folder.values == [Decimal(f"{row}.5") for row in range(9, 0, -1)]


def test_a_shortened_file_brings_nothing_new(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"W-1;28.5\nW-2;31.0\n")
    folder.write("a.csv", b"W-1;28.5\n")
    folder.append("a.csv", b"W-3;40.0\n")
    assert folder.values == numbers("28.5", "31.0", "40.0")


def test_a_refused_row_is_refused_once_however_the_file_changes(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"Results of Monday\nW-1;28.5\n")
    folder.append("a.csv", b"W-2;31.0\n")
    folder.write("a.csv", b"W-0;1.0\nResults of Monday\nW-1;28.5\nW-2;31.0\n")
    assert folder.values == numbers("28.5", "31.0", "1.0")
    assert len(folder.refusals) == 1


def test_files_are_read_in_the_order_in_which_they_were_written(folder: FollowedFolder) -> None:
    for place, name in enumerate(("z.csv", "a.csv", "m.csv")):
        (folder.folder / name).write_bytes(b"%s;%d\n" % (name.encode(), place))
        os.utime(folder.folder / name, ns=(0, 1_760_000_000_000_000_000 + place))
    folder.look()
    assert [capture.name for capture in folder.kept.captures] == ["z.csv", "a.csv", "m.csv"]


def test_equal_files_are_two_measurements(folder: FollowedFolder) -> None:
    folder.write("1.txt", b"W-1;28.5\n")
    folder.write("2.txt", b"W-1;28.5\n")
    assert folder.values == numbers("28.5", "28.5")


def test_only_files_that_fit_are_read_and_none_that_is_still_being_made(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", rows(), patterns=("*.csv", "run-*.txt"))
    for name in (
        "A.CSV",
        "run-1.txt",
        "notes.txt",
        ".a.csv",
        "~$a.csv",
        "#a.csv",
        "a.csv.part",
        "run-2.txt~",
    ):
        (folder.folder / name).write_bytes(b"W-1;28.5\n")
    (folder.folder / "folder.csv").mkdir()
    folder.look()
    assert sorted(capture.name for capture in folder.kept.captures) == ["A.CSV", "run-1.txt"]


def test_a_big_file_is_kept_in_parts_and_every_row_once(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", rows(), part_bytes=5_000)
    data = b"".join(b"W-%05d;%d.5\n" % (row, row) for row in range(12_000))
    folder.write("big.csv", data)
    assert b"".join(capture.data for capture in folder.kept.captures) == data
    assert len(folder.kept.captures) >= 2
    assert folder.values == [Decimal(f"{row}.5") for row in range(12_000)]


def test_a_big_file_written_anew_in_parts_brings_only_what_is_new(tmp_path: Path) -> None:
    folder = FollowedFolder(tmp_path / "drop", rows(), part_bytes=5_000)
    old = [b"W-%05d;%d.5\n" % (row, row) for row in range(6_000)]
    folder.write("big.csv", b"".join(old))
    before = len(folder.values)
    new = [b"N-%05d;%d.25\n" % (row, row) for row in range(6_000)]
    folder.write("big.csv", b"".join(row for pair in zip(new, old, strict=True) for row in pair))
    assert folder.values[before:] == [Decimal(f"{row}.25") for row in range(6_000)]


def test_a_row_without_an_end_is_bounded(folder: FollowedFolder) -> None:
    folder.write("a.csv", b"x" * 1_000_000 + b"\nW-1;28.5\n")
    assert folder.values == numbers("28.5")
    assert sum(event.span.length for event in folder.refusals) == 1_000_001


@pytest.mark.parametrize(
    "change",
    [
        lambda folder: folder.append("a.csv", b"W-2;31.0\n"),
        lambda folder: folder.write("a.csv", b"Sample;SO2\nW-0;1.0\nW-1;28.5\nW-2;31.0\n"),
    ],
    ids=["appended", "written anew"],
)
def test_the_header_is_told_again_before_new_rows(
    tables: FollowedFolder, change: Callable[[FollowedFolder], None]
) -> None:
    tables.write("a.csv", b"Sample;SO2\nW-1;28.5\n")
    change(tables)
    assert tables.kept.captures[1].data.startswith(b"Sample;SO2\n")
    assert tables.values[0] == Decimal("28.5")
    assert tables.values[-1] == Decimal("31.0")
    assert tables.values.count(Decimal("28.5")) == 1
    assert tables.refusals == []


def test_after_a_second_header_rows_are_read_by_that_one(tables: FollowedFolder) -> None:
    tables.write("a.csv", b"Sample;SO2\nW-1;28.5\nSO2;Sample\n31.0;W-2\n")
    tables.append("a.csv", b"40.0;W-3\n")
    assert tables.values == numbers("28.5", "31.0", "40.0")
    assert tables.refusals == []


def test_a_changed_header_and_the_same_rows_bring_nothing_twice(tables: FollowedFolder) -> None:
    tables.write("a.csv", b"Sample;SO2\nW-1;28.5\n")
    tables.write("a.csv", b"Sample;SO2;Remark\nW-1;28.5;\nW-2;31.0;good\n")
    assert tables.values == numbers("28.5", "28.5", "31.0")  # the row itself has changed
    tables.write("a.csv", b"Nr;SO2;Sample\nW-1;28.5;\nW-2;31.0;good\n7;40.0;W-3\n")
    assert tables.values == numbers("28.5", "28.5", "31.0", "40.0")


def test_a_header_alone_is_not_kept_before_a_row_comes(tables: FollowedFolder) -> None:
    tables.write("a.csv", b"Sample;SO2\n")
    assert tables.kept.captures == []
    tables.append("a.csv", b"W-1;28.5\n")
    assert tables.values == numbers("28.5")


def test_blank_lines_and_a_byte_order_mark_change_nothing(tables: FollowedFolder) -> None:
    tables.write("a.csv", b"\xef\xbb\xbfSample;SO2\r\n\r\nW-1;28.5\r\n\r\n")
    tables.append("a.csv", b"W-2;31.0\r\n")
    assert tables.values == numbers("28.5", "31.0")
    assert tables.refusals == []


def test_a_wrong_encoding_is_refused_with_its_reason(tables: FollowedFolder) -> None:
    tables.write("a.csv", "Sample;SO2\nCuvée;28.5\n".encode("cp1252"))
    assert tables.values == []
    assert [(one.reason, one.detail) for one in tables.refusals] == [
        ("not_text", "byte 0xE9 at byte 4 of the frame is no text in utf-8")
    ]
