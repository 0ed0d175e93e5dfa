"""The door to an engine of many servers stays open: see docs/scaling.md."""

import pytest
from sqlalchemy import BigInteger, MetaData, Table, UniqueConstraint

from storage.columns import UtcMicroseconds
from storage.schema import MUTABLE_TABLES, curves, streams
from storage.schema.housekeeping import ledger, session
from storage.schema.makers import count, words

REFERENCE_TABLES = {ledger, session, streams.driver}
"""Small, or of one order by nature: a distributed engine keeps them whole, on one server or on every one."""
STREAMS = [table for table in (*streams.APPEND_ONLY, *curves.APPEND_ONLY) if table not in REFERENCE_TABLES]
"""The tables that grow while instruments talk: each of their rows belongs to one instrument."""
EVERY_STREAM = pytest.mark.parametrize("table", STREAMS, ids=lambda table: table.name)


def surrogates(table: Table) -> set[str]:
    """Return the columns that hold numbers which the store itself gave."""
    referring = {element.parent.name for key in table.foreign_key_constraints for element in key.elements}
    counted = {"number", "ordinal", "reading_id", "version"} & set(table.columns.keys())
    return referring | counted


def natural_keys_without_instrument(table: Table) -> list[set[str]]:
    keys = [list(table.primary_key.columns)]
    keys += [list(one.columns) for one in table.constraints if isinstance(one, UniqueConstraint)]
    keys += [list(one.columns) for one in table.indexes if one.unique]
    named = [{column.name for column in key} for key in keys]
    return [key for key in named if not key <= surrogates(table) and "instrument" not in key]


@EVERY_STREAM
def test_every_natural_unique_key_carries_the_instrument(table: Table) -> None:
    assert natural_keys_without_instrument(table) == []


@pytest.mark.parametrize(("key", "found"), [(("sequence",), 1), (("instrument", "sequence"), 0)])
def test_a_natural_key_without_the_instrument_is_found(key: tuple[str, ...], found: int) -> None:
    number, instrument, sequence = count("number", key=True), words("instrument"), words("sequence")
    table = Table("weighing", MetaData(), number, instrument, sequence, UniqueConstraint(*key))
    assert len(natural_keys_without_instrument(table)) == found


@EVERY_STREAM
def test_every_number_that_the_store_gives_has_64_bits(table: Table) -> None:
    narrow = [name for name in surrogates(table) if not isinstance(table.columns[name].type, BigInteger)]
    assert narrow == []


@EVERY_STREAM
def test_no_constraint_leads_out_of_the_rows_of_an_instrument(table: Table) -> None:
    targets = {element.column.table for key in table.foreign_key_constraints for element in key.elements}
    assert targets <= {*STREAMS, *REFERENCE_TABLES}


@EVERY_STREAM
def test_measured_times_never_change(table: Table) -> None:
    moments = [column for column in table.columns if isinstance(column.type, UtcMicroseconds)]
    assert table.name not in MUTABLE_TABLES
    assert [column.name for column in moments if column.onupdate is not None] == []


def test_the_large_tables_are_among_those_looked_at() -> None:
    assert {"capture", "chunk", "frame", "reading", "taken", "curve_point"} <= {one.name for one in STREAMS}
