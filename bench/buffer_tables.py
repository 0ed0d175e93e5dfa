"""The shipped tables of buffers, pH against temperature by edition, read into values."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from itertools import groupby

from evaluate.buffers import BufferTable
from evaluate.errors import EvaluateError

MEMORY = "memory"
"""Status of a figure that was recalled, not read."""


class BufferTablesError(ValueError):
    """A table of buffers cannot be read, or has not what was asked for; the message names it."""


@dataclass(frozen=True, slots=True)
class KnownBuffer:
    """A buffer by one edition, with where its figures come from."""

    table: BufferTable
    source: str
    status: str
    """computed, memory, or how else they were come by."""

    @property
    def is_recalled(self) -> bool:
        """Whether its figures are to be confirmed before a calibration stands on them."""
        return self.status == MEMORY


def shipped_buffers() -> tuple[KnownBuffer, ...]:
    """Return the buffers that ship with the program, by name and edition."""
    text = files("bench.tables").joinpath("ph_buffers.csv").read_text(encoding="utf-8")
    return read_buffers(text.splitlines())


def known_buffer(name: str, edition: str, buffers: Iterable[KnownBuffer] | None = None) -> KnownBuffer:
    """Return a buffer by its name and edition; raise `BufferTablesError` if there is none.

    An edition is never chosen by the program: those of one buffer differ by up to 0.013 pH.
    """
    among = tuple(shipped_buffers() if buffers is None else buffers)
    for each in among:
        if (each.table.name, each.table.edition) == (name, edition):
            return each
    editions = sorted(each.table.edition for each in among if each.table.name == name)
    if editions:
        raise BufferTablesError(f"{name} has no edition {edition!r}; there are: {', '.join(editions)}")
    names = sorted({each.table.name for each in among})
    raise BufferTablesError(f"there is no table of a buffer {name!r}; there are: {', '.join(names)}")


def read_buffers(lines: Iterable[str]) -> tuple[KnownBuffer, ...]:
    """Return the buffers of a table in CSV; lines that begin with ``#`` are comments.

    The rows of one buffer and edition stand together, temperatures growing. Raises `BufferTablesError` if a
    column is missing, a cell is no number, or the rows of a buffer make no table of one source.
    """
    rows = csv.DictReader((line for line in lines if line.strip() and not line.startswith("#")), strict=True)
    try:
        grouped = groupby(rows, key=lambda row: (row["buffer"], row["edition"]))
        return tuple(_known(name, edition, list(cells)) for (name, edition), cells in grouped)
    except KeyError as missing:
        raise BufferTablesError(f"the table of buffers has no column {missing}") from missing


def _known(name: str, edition: str, rows: list[dict[str, str]]) -> KnownBuffer:
    origins = {(row["source"], row["status"]) for row in rows}
    if len(origins) > 1:
        raise BufferTablesError(
            f"{name}, {edition}: its rows come from {len(origins)} sources; one is wanted"
        )
    try:
        temperatures = tuple(float(row["temperature_c"]) for row in rows)
        table = BufferTable(name, edition, temperatures, tuple(float(row["ph"]) for row in rows))
    except (EvaluateError, ValueError) as wrong:
        raise BufferTablesError(f"{name}, {edition}: {wrong}") from wrong
    return KnownBuffer(table, *origins.pop())
