"""Everything of a store in open form, and back: equal row for row, and every damage named."""

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from storage.errors import ExportError
from storage.export import export
from storage.export_check import check_export
from storage.export_form import EVERY_TABLE, from_object, to_object
from storage.queries import frames_from
from storage.rows import SqlValue
from storage.schema import capture, chunk, ledger, metadata
from storage.store import Store
from tests.fakes.store_contents import Filled


@pytest.fixture
def folder(filled: Filled, tmp_path: Path) -> Path:
    """An export of a store with something in every table."""
    target = tmp_path / "out"
    export(filled.ground.address, target)
    return target


def lines(folder: Path, table: str) -> list[Any]:
    return [json.loads(line) for line in (folder / f"tables/{table}.jsonl").read_text("utf-8").splitlines()]


def test_every_row_of_every_table_is_in_it(folder: Path, full: Store) -> None:
    with full.reader() as connection:
        head = json.loads((folder / "manifest.json").read_text("utf-8"))["head"]["number"]
        for table in EVERY_TABLE:
            query = select(func.count()).select_from(table)
            if "number" in table.c and table.name != "position":
                query = query.where(table.c.number <= head)
            assert len(lines(folder, table.name)) == connection.execute(query).scalar_one(), table.name


def test_what_is_read_back_is_what_was_written(folder: Path, full: Store) -> None:
    checked = check_export(folder)
    with full.reader() as connection:
        link = connection.execute(
            select(ledger.c.link).where(ledger.c.number == checked.head.number)
        ).scalar_one()
        assert checked.head.link == link
        for table in EVERY_TABLE:
            if table is chunk or table.name in ("position", "heartbeat"):
                continue
            query = select(table).order_by(*table.primary_key.columns)
            if table is ledger or "number" in table.c:
                query = query.where(table.c.number <= checked.head.number)
            stored = [tuple(row) for row in connection.execute(query)]
            assert [from_object(table, one) for one in lines(folder, table.name)] == stored, table.name


def test_the_bytes_of_a_capture_are_those_that_the_line_delivered(folder: Path, full: Store) -> None:
    with full.reader() as connection:
        for number in connection.execute(select(capture.c.number)).scalars().all():
            pieces = connection.execute(
                select(chunk.c.data)
                .where(chunk.c.capture_number == number, chunk.c.direction == "heard")
                .order_by(chunk.c.number)
            ).scalars()
            heard = b"".join(pieces)
            file = folder / f"captures/{number}.heard"
            assert (file.read_bytes() if file.exists() else b"") == heard
            for frame in frames_from(connection, number, offset=0, limit=1000):
                assert len(heard[frame.offset : frame.offset + frame.length]) == frame.length


def test_the_sums_are_those_that_the_usual_program_checks(folder: Path) -> None:
    for line in (folder / "SHA256SUMS").read_text("utf-8").splitlines():
        digest, name = re.fullmatch(r"([0-9a-f]{64})  (\S+)", line).groups()  # type: ignore[union-attr]
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest


def test_the_manifest_says_what_each_column_is(folder: Path) -> None:
    manifest = json.loads((folder / "manifest.json").read_text("utf-8"))
    assert [one["name"] for one in manifest["tables"]] == [table.name for table in EVERY_TABLE]
    by_name = {one["name"]: {c["name"]: c["type"] for c in one["columns"]} for one in manifest["tables"]}
    assert by_name["reading"]["at_us"] == "microseconds since 1970 UTC"
    assert by_name["ledger"]["link"] == "bytes, hexadecimal"
    assert by_name["reading"]["value"] == "double"


def test_times_and_bytes_are_written_alike_on_a_file_and_on_a_server(folder: Path) -> None:
    for found in lines(folder, "ledger"):
        assert isinstance(found["at_us"], int)
        assert re.fullmatch(r"[0-9a-f]{64}", found["link"])


def test_a_folder_that_is_there_is_not_written_into(filled: Filled, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(ExportError, match="is there already"):
        export(filled.ground.address, tmp_path / "out")


def test_what_is_no_store_is_not_exported(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="there is no store"):
        export(tmp_path / "nowhere.db", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_store_that_is_being_written_is_exported_up_to_one_entry(full: Store, tmp_path: Path) -> None:
    done = export(full.place, tmp_path / "out")
    assert check_export(tmp_path / "out").head == done.head


def flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def sum_anew(folder: Path) -> None:
    """Write the checksums anew, as somebody would who changes a row and hides it."""
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    sums = [
        f"{hashlib.sha256((folder / n).read_bytes()).hexdigest()}  {n}\n" for n in names if n != "SHA256SUMS"
    ]
    (folder / "SHA256SUMS").write_text("".join(sums), "utf-8")


@pytest.mark.parametrize(
    "name", ["tables/reading.jsonl", "captures/{capture}.heard", "manifest.json", "README.txt"]
)
def test_a_changed_file_is_named(folder: Path, name: str) -> None:
    first = next(folder.glob("captures/*.heard")).name.split(".")[0]
    path = folder / name.format(capture=first)
    flip(path)
    with pytest.raises(ExportError, match=re.escape(path.name)):
        check_export(folder)


def test_a_missing_and_an_added_file_are_named(folder: Path) -> None:
    (folder / "extra.txt").write_text("x")
    with pytest.raises(ExportError, match=r"extra\.txt is no file of the export"):
        check_export(folder)
    (folder / "extra.txt").unlink()
    (folder / "tables/gap.jsonl").unlink()
    with pytest.raises(ExportError, match=r"tables/gap\.jsonl is missing"):
        check_export(folder)


def change_value(folder: Path) -> str:
    path = folder / "tables/reading.jsonl"
    path.write_text(path.read_text("utf-8").replace('"28.40"', '"29.40"', 1), "utf-8")
    return "reading.*digest does not fit"


def drop_row(folder: Path) -> str:
    path = folder / "tables/gap.jsonl"
    path.write_text("", "utf-8")
    return "no table.*digest does not fit"


def cut_tail(folder: Path) -> str:
    path = folder / "tables/ledger.jsonl"
    path.write_text("".join(path.read_text("utf-8").splitlines(keepends=True)[:-1]), "utf-8")
    return "no entry brought|chain ends at"


def change_reason(folder: Path) -> str:
    path = folder / "tables/ledger.jsonl"
    path.write_text(path.read_text("utf-8").replace('"actor":"tundish"', '"actor":"somebody"', 1), "utf-8")
    return "was changed: its link does not fit"


def change_byte_of_capture(folder: Path) -> str:
    flip(next(folder.glob("captures/*.heard")))
    return "chunk.*digest does not fit"


def lengthen_capture(folder: Path) -> str:
    path = next(folder.glob("captures/*.heard"))
    path.write_bytes(path.read_bytes() + b"x")
    return "holds bytes that no chunk has"


def shorten_capture(folder: Path) -> str:
    path = next(folder.glob("captures/*.heard"))
    path.write_bytes(path.read_bytes()[:-1])
    return "ends before its chunks do"


def spoil_line(folder: Path) -> str:
    path = folder / "tables/gap.jsonl"
    path.write_text('{"number": 1', "utf-8")
    return "line 1 is no row of gap"


DAMAGES = (
    change_value,
    drop_row,
    cut_tail,
    change_reason,
    change_byte_of_capture,
    lengthen_capture,
    shorten_capture,
    spoil_line,
)


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_change_that_is_hidden_behind_new_sums_is_found_by_the_chain(
    folder: Path, damage: Callable[[Path], str]
) -> None:
    said = damage(folder)
    sum_anew(folder)
    with pytest.raises(ExportError, match=said):
        check_export(folder)


def test_a_name_that_leads_out_of_the_folder_is_refused(folder: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("x")
    with (folder / "SHA256SUMS").open("a") as sums:
        sums.write(f"{hashlib.sha256(b'x').hexdigest()}  ../secret\n")
    with pytest.raises(ExportError):
        check_export(folder)


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="cannot be read"):
        check_export(tmp_path / "nowhere")


def test_what_a_failed_export_began_does_not_stay(filled: Filled, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x")
    with pytest.raises(ExportError, match="cannot be written"):
        export(filled.ground.address, blocked / "out")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file"]


@pytest.fixture
def copy_of(folder: Path, tmp_path: Path) -> Path:
    target = tmp_path / "copy"
    shutil.copytree(folder, target)
    return target


def test_a_copied_folder_is_as_good_as_the_first(copy_of: Path) -> None:
    assert check_export(copy_of).files > len(EVERY_TABLE)


def test_a_row_goes_through_json_and_back() -> None:
    table = metadata.tables["reading"]
    told: dict[str, SqlValue] = {"value": -0.1 + 0.2, "value_text": 'α\n"1"', "number": 2**62}
    row = tuple(told.get(column.name) for column in table.columns)
    assert from_object(table, json.loads(json.dumps(to_object(table, row)))) == row
