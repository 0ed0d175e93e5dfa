"""Something in every table of the bench: rows that hold what their table wants, and mean nothing."""

from sqlalchemy import CheckConstraint, Column, LargeBinary, Table, Text, select
from sqlalchemy.types import Double

from storage.rows import Row, SqlValue
from storage.schema import (
    access_key,
    access_key_end,
    addition,
    addition_step,
    alert,
    alert_end,
    amendment,
    amendment_item,
    amendment_state,
    card,
    control_input,
    control_record,
    curve_point,
    driver,
    frame,
    hold,
    hold_change,
    movement,
    movement_part,
    on_instrument,
    outside_result,
    pin,
    pour,
    pour_capture,
    reading,
    record,
    record_link,
    release,
    report,
    request_answer,
    result,
    result_input,
    run,
    run_end,
    run_note,
    run_warning,
    settled,
    standing,
    tie,
    tray_item,
)
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US

PARENTS_FIRST = (
    record,
    record_link,
    curve_point,
    report,
    tray_item,
    on_instrument,
    tie,
    run,
    run_end,
    run_warning,
    run_note,
    control_record,
    control_input,
    hold,
    hold_change,
    result,
    result_input,
    standing,
    release,
    amendment,
    amendment_item,
    amendment_state,
    movement,
    movement_part,
    addition,
    addition_step,
    outside_result,
    pin,
    access_key,
    access_key_end,
    request_answer,
    alert,
    alert_end,
    card,
    pour,
    pour_capture,
    settled,
)


def fill_bench_tables(store: Store) -> None:
    """Write one entry with one row for every table, each naming the rows that it has to name."""
    store.writer.submit(_fill).result(10)


def _fill(tx: Transaction) -> None:
    places = dict(zip(("number", "ordinal", "capture_number"), _a_frame(tx), strict=True))
    entered = {
        heard.name: tx.connection.execute(select(heard.c.number).limit(1)).scalar_one()
        for heard in (driver, reading)
    }
    for table in PARENTS_FIRST:
        row: Row = tuple(_value(table, column, places, entered) for column in list(table.columns)[1:])
        entered[table.name] = tx.enter(
            f"{table.name}.written",
            at_us=NOON_US,
            actor="MAL",
            actor_kind="person",
            reason="to have one of each",
            rows={table.name: [row]},
        )


def _a_frame(tx: Transaction) -> tuple[int, int, int]:
    found = tx.connection.execute(frame.select().limit(1)).one()
    return found.number, found.ordinal, found.capture_number


def _value(
    table: Table, column: Column[object], a_frame: dict[str, int], entered: dict[str, int]
) -> SqlValue:
    if column.name == "capture_number":
        return a_frame["capture_number"]
    if column.name.startswith("frame_"):
        return a_frame[column.name.removeprefix("frame_")]
    for key in column.foreign_keys:
        return entered[key.column.table.name]
    if (known := _known_words(table, column)) is not None:
        return known
    return _plain(column)


def _known_words(table: Table, column: Column[object]) -> SqlValue:
    """Return the first word that a check of the table allows in the column."""
    for check in table.constraints:
        name = str(check.name)
        if isinstance(check, CheckConstraint) and name.endswith(f"known_{column.name}"):
            first = str(check.sqltext).split("(", 1)[1].split(",")[0]
            return int(first) if first.isdigit() else first.strip("'")
    return None


def _plain(column: Column[object]) -> SqlValue:
    if column.info.get("numeral"):
        return "28.50"
    if isinstance(column.type, Text):
        return f"a {column.name}"
    if isinstance(column.type, LargeBinary):
        return column.name.encode()
    return 28.5 if isinstance(column.type, Double) else 1
