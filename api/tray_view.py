"""What the page of trays shows: what stands on each instrument, its tray, and what was found so far."""

from dataclasses import dataclass

from sqlalchemy import Connection

from api.routes.results import result_body
from api.routes.trays import code_of
from api.schemas.bench import ResultBody
from bench.tray import tests_of
from storage import queries
from storage.queries.records import records_of_kind
from storage.queries.result_statements import ResultFilter
from storage.queries.results import newest_results
from storage.queries.trays import (
    TrayItem,
    instruments_with_trays,
    on_instrument_at,
    tray_items,
)

RESULTS_EACH = 6
"""How many results of a sample are shown at most."""
CHOICES = 200
"""How many methods and lots are offered."""


@dataclass(frozen=True, slots=True)
class ShownItem:
    """One place on a tray."""

    item_id: int
    version: int
    kind: str
    code: str | None
    """Of the sample or the standard."""
    tests: tuple[str, ...]
    state: str
    is_on: bool
    """It stands on the instrument now."""
    results: tuple[ResultBody, ...]


@dataclass(frozen=True, slots=True)
class ShownTray:
    """One instrument."""

    instrument: str
    on_code: str | None
    on_since_us: int | None
    """[µs]"""
    items: tuple[ShownItem, ...]

    @property
    def waiting(self) -> int:
        """How many items were not measured yet."""
        return sum(item.state == "waiting" for item in self.items)


@dataclass(frozen=True, slots=True)
class TraysView:
    """Everything on the page."""

    trays: tuple[ShownTray, ...]
    methods: tuple[str, ...]
    lots: tuple[str, ...]


def read_trays(connection: Connection) -> TraysView:
    """Return every instrument that was heard or has a tray."""
    names = {record.instrument for record in queries.instruments(connection)}
    names |= set(instruments_with_trays(connection))
    return TraysView(
        trays=tuple(_tray(connection, name) for name in sorted(names)),
        methods=_codes(connection, "method"),
        lots=_codes(connection, "lot"),
    )


def _codes(connection: Connection, kind: str) -> tuple[str, ...]:
    return tuple(one.code for one in records_of_kind(connection, kind, limit=CHOICES, retired=False))


def _tray(connection: Connection, instrument: str) -> ShownTray:
    on = on_instrument_at(connection, instrument)
    items = [one for one in tray_items(connection, instrument) if one.state != "removed"]
    on_item = None if on is None else on.item_id
    on_code = None if on is None else code_of(connection, on.sample_id)
    shown = tuple(_item(connection, one, is_on=one.item_id == on_item) for one in items)
    if on_code is None and on_item is not None:
        on_code = next((one.code or one.kind for one in shown if one.item_id == on_item), None)
    return ShownTray(instrument, on_code, None if on is None else on.at_us, shown)


def _item(connection: Connection, one: TrayItem, *, is_on: bool) -> ShownItem:
    return ShownItem(
        item_id=one.item_id,
        version=one.version,
        kind=one.kind,
        code=code_of(connection, one.sample_id or one.standard_id),
        tests=tests_of(one),
        state=one.state,
        is_on=is_on,
        results=_results(connection, one),
    )


def _results(connection: Connection, one: TrayItem) -> tuple[ResultBody, ...]:
    """Return the newest result of each test asked, in the order of the tests."""
    if one.sample_id is None:
        return ()
    found = newest_results(connection, ResultFilter(sample_ids=(one.sample_id,)), limit=RESULTS_EACH)
    bodies = [result_body(connection, result) for result in found]
    by_method = {body.method: body for body in reversed(bodies)}
    return tuple(by_method[test] for test in tests_of(one) if test in by_method)
