"""The newest of everything that is known of each lot, with its age at a moment."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection

from storage.csv_text import current
from storage.csv_text.dialects import Kind, Reader
from storage.csv_text.results import ResultSheetFilter, wanted_results
from storage.csv_text.sheet import Heading, Row, Sheet
from storage.schema import result
from storage.sheets.wording import reason_codes

RESULTS_A_WINDOW: Final = 5000
ROWS_A_WINDOW: Final = 500
_CENTIDAY_US: Final = 864_000_000  # 0.01 d [µs]
HEADINGS: Final = (
    Heading("lot", Kind.TEXT),
    Heading("quantity", Kind.TEXT),
    Heading("value", Kind.NUMERAL),
    Heading("unit", Kind.TEXT),
    Heading("basis", Kind.TEXT),
    Heading("measured_at_utc", Kind.MOMENT),
    Heading("age_d", Kind.NUMERAL),
    Heading("outcome", Kind.TEXT),
    Heading("standing", Kind.TEXT),
    Heading("reasons", Kind.TEXT),
    Heading("sample", Kind.TEXT),
    Heading("method", Kind.TEXT),
    Heading("instrument", Kind.TEXT),
    Heading("result_id", Kind.INTEGER),
    Heading("revision", Kind.INTEGER),
    Heading("store", Kind.TEXT),
)
_REVISION: Final = [heading.name for heading in HEADINGS].index("revision")


def lots_sheet(reader: Reader, wanted: ResultSheetFilter, at_us: int, *, store_kind: str) -> Sheet:
    """Return the newest result of each lot, quantity and unit measured at a moment or before. [µs]"""
    last = at_us + 1 if wanted.to_us is None else min(wanted.to_us, at_us + 1)
    ids = cache(lambda: sorted(_newest(reader, replace(wanted, to_us=last, since=0)).items()))

    def windows() -> Iterator[Sequence[Row]]:
        for start in range(0, len(ids()), ROWS_A_WINDOW):
            with reader() as connection:
                rows = _rows(connection, ids()[start : start + ROWS_A_WINDOW], at_us, store_kind)
            yield [row for row in rows if row[_REVISION] > wanted.since]

    return Sheet(HEADINGS, windows, lambda _connection, limit: min(limit, len(ids())))


def _newest(reader: Reader, wanted: ResultSheetFilter) -> dict[tuple[str, str, str, str], int]:
    """Return the id of the newest result of each lot, quantity, unit and basis."""
    found: dict[tuple[str, str, str, str], tuple[int, int]] = {}
    after = 0
    while True:
        query = (
            wanted_results(wanted, after)
            .add_columns(
                result.c.number,
                result.c.at_us,
                current.code_of(current.lot_id()).label("lot"),
                result.c.quantity,
                result.c.unit,
                result.c.basis,
            )
            .order_by(result.c.number)
            .limit(RESULTS_A_WINDOW)
        )
        with reader() as connection:
            rows = connection.execute(query).all()
        for number, at_us, lot, quantity, unit, basis in rows:
            key = (lot, quantity, unit, basis or "")
            if lot is not None and (at_us, number) > found.get(key, (-1, 0)):
                found[key] = (at_us, number)
        if len(rows) < RESULTS_A_WINDOW:
            return {key: number for key, (_, number) in found.items()}
        after = rows[-1][0]


def _rows(
    connection: Connection, ids: Sequence[tuple[tuple[str, str, str, str], int]], at_us: int, store_kind: str
) -> list[Row]:
    query = (
        current.standing_now()
        .add_columns(
            result.c.number,
            result.c.at_us,
            current.numeral,
            current.outcome,
            current.standing_word,
            current.reasons,
            current.code_of(current.sample_id).label("sample"),
            current.code_of(result.c.method_id).label("method"),
            result.c.instrument,
            current.revision,
        )
        .where(result.c.number.in_([number for _, number in ids]))
    )
    found = {row[0]: row for row in connection.execute(query)}
    return [_row(key, found[number], at_us, store_kind) for key, number in ids]


def _row(key: tuple[str, str, str, str], found: Any, at_us: int, store_kind: str) -> Row:
    lot, quantity, unit, basis = key
    number, measured_us, numeral, outcome, standing, reasons, sample, method, instrument, revision = found
    days, rest = divmod((at_us - measured_us) // _CENTIDAY_US, 100)
    return (
        lot,
        quantity,
        numeral,
        unit,
        basis or None,
        measured_us,
        f"{days}.{rest:02d}",
        outcome,
        standing,
        reason_codes(reasons),
        sample,
        method,
        instrument,
        number,
        revision,
        store_kind,
    )
