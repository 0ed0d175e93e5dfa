"""Read an exported folder back and prove that it is what the store wrote.

First every file against its checksum, then every row into the digest of its ledger entry, and the entries
into the chain, in bounded memory. What passes has every row that the store had, and no other.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, BinaryIO, Final

from sqlalchemy import Table

from storage.errors import ExportError, RowError
from storage.export_form import (
    COVERED,
    DATA_LENGTH,
    EVERY_TABLE,
    FORM,
    MANIFEST,
    SUMS,
    below,
    capture_file,
    from_object,
    table_file,
)
from storage.ledger import Entry, Head, digest_of, genesis, link_of
from storage.rows import Row
from storage.schema import APPEND_ONLY, ledger

_PIECE: Final = 1 << 20
"""Bytes of a file that are summed together."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Checked:
    """What was read back."""

    head: Head
    rows: int
    files: int


def check_export(folder: Path, *, progress: Progress = lambda _done, _all: None) -> Checked:
    """Read everything back and return where the chain ends.

    Raises
    ------
    ExportError
        If a file is missing, changed or not known, or a row is not as the store wrote it; it names the first.
    """
    try:
        files = _check_sums(folder)
        manifest = _manifest(folder)
        return _walk(folder, manifest, files, progress)
    except OSError as error:
        raise ExportError(f"{error.filename or folder} cannot be read: {error.strerror or error}") from error


def _check_sums(folder: Path) -> int:
    sums: dict[str, str] = {}
    for line in (folder / SUMS).read_text(encoding="utf-8").splitlines():
        wanted, _, name = line.partition("  ")
        sums[name] = wanted
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()} - {SUMS}
    if missing := sorted(sums.keys() - there):
        raise ExportError(f"{folder}: {missing[0]} is missing")
    if unknown := sorted(there - sums.keys()):
        raise ExportError(f"{folder}: {unknown[0]} is no file of the export")
    for name, wanted in sums.items():
        digest = sha256()
        with below(folder, name).open("rb") as stream:
            while piece := stream.read(_PIECE):
                digest.update(piece)
        if digest.hexdigest() != wanted:
            raise ExportError(f"{folder}: {name} was changed: its SHA-256 is not the one in {SUMS}")
    return len(sums)


def _manifest(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    if found.get("form") != FORM:
        raise ExportError(f"{folder / MANIFEST} is of the form {found.get('form')!r}, {FORM!r} is known")
    tables = [one["name"] for one in found["tables"]]
    if tables != [table.name for table in EVERY_TABLE]:
        raise ExportError(f"{folder / MANIFEST} names other tables than this program knows")
    return found


class _Rows:
    """The rows of one table in the order of their numbers, taken entry by entry."""

    def __init__(self, folder: Path, table: Table, captures: "_Captures") -> None:
        self.table = table
        self.count = 0
        self._rows = _read(folder, table, captures)
        self._next = next(self._rows, None)

    def of(self, number: int) -> list[Row]:
        """Return the rows that an entry brought."""
        found: list[Row] = []
        while self._next is not None and self._next[0] == number:
            found.append(self._next)
            self.count += 1
            self._next = next(self._rows, None)
        return found

    @property
    def left(self) -> Row | None:
        """The row that no entry has taken."""
        return self._next


class _Captures:
    """The files of captures, each read from its beginning to its end; one is open at a time."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._places: dict[str, int] = {}
        self._name = ""
        self._stream: BinaryIO | None = None

    def take(self, capture: int, direction: str, length: int) -> bytes:
        """Return the next bytes of a capture."""
        name = capture_file(capture, direction)
        if self._stream is None or name != self._name:
            self.close()
            self._name, self._stream = name, (self._folder / name).open("rb")
            self._stream.seek(self._places.get(name, 0))
        data = self._stream.read(length)
        if len(data) != length:
            raise ExportError(f"{self._folder}: {name} ends before its chunks do")
        self._places[name] = self._places.get(name, 0) + length
        return data

    def close(self) -> None:
        """Close the file that is open."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def refuse_more(self, names: Iterable[str]) -> None:
        """Raise `ExportError` if a file holds more than its chunks do."""
        for name in names:
            if (self._folder / name).stat().st_size != self._places.get(name, 0):
                raise ExportError(f"{self._folder}: {name} holds bytes that no chunk has")


def _read(folder: Path, table: Table, captures: _Captures) -> Iterator[Row]:
    name = table_file(table.name)
    with (folder / name).open("rb") as lines:
        for place, line in enumerate(lines, start=1):
            try:
                found = json.loads(line)
                if table.name == "chunk":
                    length = found.pop(DATA_LENGTH)
                    found["data"] = captures.take(found["capture_number"], found["direction"], length)
                yield from_object(table, found)
            except (ValueError, KeyError, TypeError, AttributeError) as error:
                raise ExportError(
                    f"{folder}: {name}, line {place} is no row of {table.name}: {error}"
                ) from error


def _walk(folder: Path, manifest: dict[str, Any], files: int, progress: Progress) -> Checked:
    captures = _Captures(folder)
    try:
        return _walk_with(folder, manifest, captures, files, progress)
    finally:
        captures.close()


def _walk_with(
    folder: Path, manifest: dict[str, Any], captures: _Captures, files: int, progress: Progress
) -> Checked:
    brought = [_Rows(folder, table, captures) for table in APPEND_ONLY]
    head, last = genesis(manifest["store"]["id"]), int(manifest["head"]["number"])
    entries = 0
    for row in _read(folder, ledger, captures):
        entry = Entry(*row)  # type: ignore[arg-type]  # the columns of the ledger
        rows = {one.table.name: found for one in brought if (found := one.of(entry.number))}
        head = _next_head(folder, head, entry, rows)
        entries += 1
        progress(entries, last)
    captures.refuse_more(one["file"] for one in manifest["captures"])
    _nothing_left(folder, brought, head, manifest)
    others = (table for table in EVERY_TABLE if table not in COVERED)
    more = sum(1 for table in others for _ in _read(folder, table, captures))
    return Checked(head, entries + sum(one.count for one in brought) + more, files)


def _next_head(folder: Path, before: Head, entry: Entry, rows: dict[str, list[Row]]) -> Head:
    if entry.number != before.number + 1:
        raise ExportError(f"{folder}: ledger entry {before.number + 1} is missing")
    try:
        fits = digest_of(rows) == entry.digest
    except RowError:
        fits = False
    if not fits:
        named = ", ".join(rows) or "no table"
        where = f"{folder}: {named}, number {entry.number}"
        raise ExportError(f"{where}: a row is not as it was written: the digest does not fit")
    if link_of(before.link, entry[:-1]) != entry.link:
        raise ExportError(f"{folder}: ledger entry {entry.number} was changed: its link does not fit")
    return Head(entry.number, entry.link)


def _nothing_left(folder: Path, brought: list[_Rows], head: Head, manifest: dict[str, Any]) -> None:
    for one in brought:
        if one.left is not None:
            raise ExportError(
                f"{folder}: {one.table.name} holds a row, number {one.left[0]!r}, that no entry brought"
            )
    wanted = Head(int(manifest["head"]["number"]), bytes.fromhex(manifest["head"]["link"]))
    if head != wanted:
        raise ExportError(f"{folder}: the chain ends at {head!s}, the manifest says {wanted!s}")
    counts = {one["name"]: one["rows"] for one in manifest["tables"]}
    for one in brought:
        if one.count != counts[one.table.name]:
            raise ExportError(
                f"{folder}: {one.table.name} holds {one.count} rows, {counts[one.table.name]} were written"
            )
