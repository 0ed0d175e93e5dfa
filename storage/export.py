"""Write everything that a store holds into a folder, in open form, while a daemon may be writing it.

What is written is the store up to one ledger number; what comes meanwhile lies beyond it. The folder appears
under its name only once it is whole.
"""

import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table, func, select
from sqlalchemy.exc import DatabaseError

from storage import schema_version
from storage.backup import head_of
from storage.csv_text import DIALECTS, ResultSheetFilter, readings_csv, results_csv
from storage.errors import ExportError, StoreUnreachableError
from storage.export_form import (
    COVERED,
    EVERY_TABLE,
    FORM,
    MANIFEST,
    README,
    SUMS,
    capture_file,
    columns_of,
    table_file,
    to_line,
)
from storage.ledger import Head
from storage.place import Place, place_of
from storage.queries import ReadingFilter, info
from storage.rows import Row
from storage.schema import capture, chunk
from storage.trouble import in_words

WINDOW: Final = 2000
"""Ledger numbers read together: bounds memory, and how long a transaction lasts."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Exported:
    """What stands in the folder."""

    head: Head
    rows: int
    captures: int
    size_bytes: int


class _Folder:
    """Files in the making, each with its checksum."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.sums: dict[str, str] = {}
        self.size_bytes = 0

    @contextmanager
    def file(self, name: str) -> Iterator[Callable[[bytes], None]]:
        """Give what takes the bytes of a file."""
        path = self.path / name
        path.parent.mkdir(exist_ok=True)
        digest = sha256()
        with path.open("ab") as stream:

            def write(data: bytes) -> None:
                stream.write(data)
                digest.update(data)
                self.size_bytes += len(data)

            yield write
            stream.flush()
            os.fsync(stream.fileno())
        self.sums[name] = digest.hexdigest()

    def whole(self, name: str, data: bytes) -> None:
        """Write a file in one go."""
        with self.file(name) as write:
            write(data)


def export(
    source: str | Path | Place,
    target: Path,
    *,
    software: str = "tundish",
    progress: Progress = lambda _done, _all: None,
) -> Exported:
    """Write everything that a store holds into a new folder.

    Parameters
    ----------
    source : str, Path or Place
        The store; a daemon may hold it.
    target : Path
        A folder that is not there yet.
    software : str
        Name and version of the program, for the manifest.
    progress : callable
        Called with how many tables are written, and how many there are.

    Raises
    ------
    ExportError
        If there is no store of this schema, the folder is there, or it cannot be written.
    StorageError
        If the store cannot be reached.
    """
    place = place_of(source)
    if not place.is_there():
        raise ExportError(f"there is no store {place}")
    if target.exists():
        raise ExportError(f"{target} is there already; name a folder that is not there yet")
    making = target.with_name(f"{target.name}.making")
    engine = place.reading_engine()
    try:
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(parents=True)
        done = _write(engine, place, _Folder(making), software, progress)
        making.rename(target)
    except DatabaseError as error:
        raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
    except OSError as error:
        raise ExportError(
            f"{making} cannot be written: {error.strerror or error}; nothing is exported"
        ) from error
    finally:
        engine.dispose()
        shutil.rmtree(making, ignore_errors=True)
    return done


def _write(engine: Engine, place: Place, folder: _Folder, software: str, progress: Progress) -> Exported:
    with engine.begin() as connection:
        version, newest = schema_version.check(connection, str(place)), schema_version.newest()
        if version != newest:
            had = "no tables" if version is None else f"schema {version}"
            raise ExportError(f"the store {place} has {had}, this program knows schema {newest}")
        what, head = info(connection), head_of(connection)
    counts: dict[str, int] = {}
    for done, table in enumerate(EVERY_TABLE, start=1):
        counts[table.name] = _table(engine, folder, table, head.number)
        progress(done, len(EVERY_TABLE))
    captures = _captures(engine, folder, head.number)
    _sheets(engine, folder, what.kind, head.number)
    manifest = {
        "form": FORM,
        "software": software,
        "store": {
            "id": what.store_id,
            "kind": what.kind,
            "created_at_us": what.created_at_us,
            "schema": newest,
        },
        "head": {"number": head.number, "link": head.link.hex()},
        "tables": [
            {
                "name": table.name,
                "file": table_file(table.name),
                "rows": counts[table.name],
                "in_ledger": table in COVERED,
                "columns": columns_of(table),
            }
            for table in EVERY_TABLE
        ],
        "captures": captures,
    }
    folder.whole(MANIFEST, json.dumps(manifest, indent=1, ensure_ascii=False).encode() + b"\n")
    folder.whole("README.txt", README.encode())
    lines = [f"{digest}  {name}\n" for name, digest in sorted(folder.sums.items())]
    folder.whole(SUMS, "".join(lines).encode())
    return Exported(head, sum(counts.values()), len(captures), folder.size_bytes)


def _table(engine: Engine, folder: _Folder, table: Table, up_to: int) -> int:
    count = 0
    with folder.file(table_file(table.name)) as write:
        for row in _rows(engine, table, up_to):
            write(to_line(table, row))
            count += 1
    return count


def _rows(engine: Engine, table: Table, up_to: int) -> Iterator[Row]:
    """Yield rows in the order of their key, a window of ledger numbers a transaction."""
    if table not in COVERED:
        with engine.begin() as connection:
            query = select(table).order_by(*table.primary_key.columns)
            yield from [tuple(row) for row in connection.execute(query)]
        return
    after = 0
    while after < up_to:
        with engine.begin() as connection:
            first = _next_number(connection, table, after)
            if first is None or first > up_to:
                return
            after = min(first - 1 + WINDOW, up_to)
            number = table.c.number
            query = select(table).where(number >= first, number <= after).order_by(*table.primary_key.columns)
            rows = [tuple(row) for row in connection.execute(query)]
        yield from rows


def _next_number(connection: Connection, table: Table, after: int) -> int | None:
    """Return the first ledger number past another one that brought a row: empty stretches cost nothing."""
    query = select(func.min(table.c.number)).where(table.c.number > after)
    found: int | None = connection.execute(query).scalar()
    return found


def _captures(engine: Engine, folder: _Folder, up_to: int) -> list[dict[str, Any]]:
    """Write the bytes of every capture, and return what stands where."""
    with engine.begin() as connection:
        numbers = connection.execute(
            select(capture.c.number).where(capture.c.number <= up_to).order_by(capture.c.number)
        ).scalars()
        found = list(numbers)
    told = []
    for number in found:
        for direction in ("heard", "sent"):
            of_it = (chunk.c.capture_number == number, chunk.c.direction == direction)
            file = capture_file(number, direction)
            size = _bytes(engine, folder, file, (*of_it, chunk.c.number <= up_to))
            if size is not None:
                told.append({"capture": number, "direction": direction, "file": file, "bytes": size})
    return told


def _bytes(engine: Engine, folder: _Folder, name: str, wanted: tuple[Any, ...]) -> int | None:
    """Write the chunks of a capture one after the other; None if there are none."""
    pieces = _chunks(engine, wanted, 0)
    if not pieces:
        return None
    size = 0
    with folder.file(name) as write:
        while pieces:
            for one in pieces:
                write(one.data)
                size += len(one.data)
            pieces = _chunks(engine, wanted, pieces[-1].number)
    return size


def _chunks(engine: Engine, wanted: tuple[Any, ...], after: int) -> Sequence[Any]:
    query = select(chunk.c.number, chunk.c.data).where(*wanted, chunk.c.number > after)
    with engine.begin() as connection:
        return connection.execute(query.order_by(chunk.c.number).limit(WINDOW)).all()


def _sheets(engine: Engine, folder: _Folder, kind: str, up_to: int) -> None:
    """Write readings and results as they stand now, for spreadsheets."""
    dialect = DIALECTS["standard"]
    sheets = {
        "sheets/readings.csv": readings_csv(
            engine.begin, ReadingFilter(), dialect, store_kind=kind, after=0, up_to=up_to
        ),
        "sheets/results.csv": results_csv(
            engine.begin, ResultSheetFilter(released_only=False), dialect, store_kind=kind, up_to=up_to
        ),
    }
    for name, pieces in sheets.items():
        with folder.file(name) as write:
            for piece in pieces:
                write(piece)
