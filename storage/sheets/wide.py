"""One row a sample, and for each quantity its newest result: value, standing and note side by side."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Select, func, select

from storage.csv_text import current
from storage.csv_text.dialects import Kind, Reader
from storage.csv_text.results import ResultSheetFilter, wanted_results
from storage.csv_text.sheet import Heading, Row, Sheet
from storage.schema import record, record_link, result
from storage.sheets.wording import note_of

SAMPLES_A_WINDOW: Final = 500
FIRST: Final = (
    Heading("sample_id", Kind.INTEGER),
    Heading("sample", Kind.TEXT),
    Heading("lot", Kind.TEXT),
    Heading("measured_at_utc", Kind.MOMENT),
    Heading("revision", Kind.INTEGER),
    Heading("store", Kind.TEXT),
)
"""What stands before the quantities."""


class Shown(NamedTuple):
    """What one group of columns shows."""

    quantity: str
    unit: str
    basis: str | None

    @property
    def name(self) -> str:
        """The head of its first column."""
        return f"{self.quantity} [{self.unit}{f' as {self.basis}' if self.basis else ''}]"

    @property
    def headings(self) -> tuple[Heading, Heading, Heading]:
        """The group of columns."""
        return (
            Heading(self.name, Kind.NUMERAL),
            Heading(f"{self.name} standing", Kind.TEXT),
            Heading(f"{self.name} note", Kind.TEXT),
        )


def wide_sheet(
    reader: Reader, wanted: ResultSheetFilter, quantities: Sequence[str] | None, *, store_kind: str
) -> Sheet:
    """Return the wide sheet of the samples that have a wanted result.

    Parameters
    ----------
    quantities : sequence of str, optional
        Codes of the quantities, in the order of their columns; by default all that were ever a result, in
        the order in which they came, so that a new one stands at the end.
    """
    with reader() as connection:
        shown = shown_quantities(connection, quantities)
    headings = (*FIRST, *(heading for one in shown for heading in one.headings))

    def windows() -> Iterator[Sequence[Row]]:
        after = 0
        while True:
            with reader() as connection:
                samples = _samples(connection, wanted, after)
                rows = _rows(connection, wanted, shown, samples, store_kind) if samples else []
            yield rows
            if len(samples) < SAMPLES_A_WINDOW:
                return
            after = samples[-1][0]

    return Sheet(headings, windows, _count)


def shown_quantities(connection: Connection, quantities: Sequence[str] | None) -> list[Shown]:
    """Return what groups of columns there are."""
    first = func.min(result.c.number)
    query = select(result.c.quantity, result.c.unit, result.c.basis, first).group_by(
        result.c.quantity, result.c.unit, result.c.basis
    )
    found = [Shown(*row[:3]) for row in connection.execute(query.order_by(first))]
    if quantities is None:
        return found
    return [one for quantity in quantities for one in found if one.quantity == quantity]


def _count(connection: Connection, limit: int) -> int:
    samples = select(record.c.record_id).where(record.c.kind == "sample", record.c.version == 1).limit(limit)
    return connection.execute(select(func.count()).select_from(samples.subquery())).scalar_one()


def _samples(connection: Connection, wanted: ResultSheetFilter, after: int) -> list[tuple[int, str]]:
    """Return ids and codes of the next samples."""
    query = select(record.c.record_id, record.c.code).where(
        record.c.kind == "sample", record.c.version == 1, record.c.record_id > after
    )
    if wanted.sample is not None:
        query = query.where(record.c.code == wanted.sample)
    if wanted.lot is not None:
        lot = select(record.c.record_id).where(record.c.kind == "lot", record.c.code == wanted.lot)
        links = select(record_link.c.record_id).where(
            record_link.c.role == "lot", record_link.c.target_id.in_(lot.limit(1))
        )
        query = query.where(record.c.record_id.in_(links))
    rows = connection.execute(query.order_by(record.c.record_id).limit(SAMPLES_A_WINDOW))
    return [(row[0], row[1]) for row in rows]


def _results(wanted: ResultSheetFilter, first_id: int, last_id: int) -> Select[Any]:
    everywhere = replace(wanted, sample=None, lot=None, since=0)  # the samples were chosen by them already
    return (
        wanted_results(everywhere, 0)
        .add_columns(
            current.sample_id,
            result.c.quantity,
            result.c.unit,
            result.c.basis,
            result.c.at_us,
            current.outcome,
            current.numeral,
            current.standing_word,
            current.reasons,
            current.revision,
        )
        .where(current.of_samples(lambda sample: sample.between(first_id, last_id)))
        .order_by(result.c.at_us, result.c.number)
    )


def _rows(
    connection: Connection,
    wanted: ResultSheetFilter,
    shown: Sequence[Shown],
    samples: Sequence[tuple[int, str]],
    store_kind: str,
) -> list[Row]:
    places: dict[tuple[str, str, str | None], int] = {one: place for place, one in enumerate(shown)}
    cells: dict[int, list[Any]] = {}
    newest: dict[int, tuple[int, int]] = {}
    for (
        sample,
        quantity,
        unit,
        basis,
        at_us,
        outcome,
        numeral,
        standing,
        reasons,
        revision,
    ) in connection.execute(_results(wanted, samples[0][0], samples[-1][0])).all():
        place = places.get((quantity, unit, basis))
        if place is None:
            continue
        row = cells.setdefault(sample, [None] * 3 * len(shown))
        row[3 * place : 3 * place + 3] = numeral, standing, note_of(outcome, reasons)
        _, last_revision = newest.get(sample, (0, 0))
        newest[sample] = at_us, max(last_revision, revision)  # they come in the order of their times
    lots = _lots(connection, samples)
    return [
        (sample, code, lots.get(sample), *newest[sample], store_kind, *cells[sample])
        for sample, code in samples
        if sample in cells and newest[sample][1] > wanted.since
        if wanted.lot is None or lots.get(sample) == wanted.lot
    ]


def _lots(connection: Connection, samples: Sequence[tuple[int, str]]) -> dict[int, str]:
    """Return the codes of the lots of samples; the newest version of a sample says which."""
    lot = record.alias("lot")
    query = (
        select(record_link.c.record_id, lot.c.code)
        .join(lot, (lot.c.record_id == record_link.c.target_id) & (lot.c.version == 1))
        .where(record_link.c.record_id.between(samples[0][0], samples[-1][0]), record_link.c.role == "lot")
        .order_by(record_link.c.version)
    )
    return {row[0]: row[1] for row in connection.execute(query)}
