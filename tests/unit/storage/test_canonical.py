import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Column, Table
from sqlalchemy.types import Double, LargeBinary, Text

from storage import bench_rows
from storage import rows as row_types
from storage.canonical import BLOB, INTEGER, TEXT, RowEncoder, RowsEncoder
from storage.errors import RowError
from storage.rows import FaultRow, FrameRow, Row, SqlValue, TakenRow
from storage.schema import APPEND_ONLY, MUTABLE_TABLES, metadata

ENCODER = RowsEncoder()
INTEGERS = st.integers(-(2**63), 2**63 - 1)
SHORT_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=4)


def values_of(column: Column[object]) -> st.SearchStrategy[SqlValue]:
    filled: st.SearchStrategy[SqlValue] = INTEGERS
    if column.info.get("numeral"):
        filled = st.decimals(allow_nan=False, allow_infinity=False, places=2).map(str)
    elif isinstance(column.type, Text):
        filled = SHORT_TEXT
    elif isinstance(column.type, LargeBinary):
        filled = st.binary(max_size=4)
    elif isinstance(column.type, Double):
        filled = st.floats(allow_nan=False, allow_infinity=False).map(lambda value: value + 0.0)
    return st.none() | filled if column.nullable else filled


def rows_of(table: Table) -> st.SearchStrategy[dict[str, Sequence[Row]]]:
    row = st.tuples(*(values_of(column) for column in table.columns))
    return st.lists(row, min_size=1, max_size=2, unique=True).map(
        lambda rows: {table.name: sorted(rows, key=repr)}
    )


ANY_ROWS = st.sampled_from(APPEND_ONLY).flatmap(rows_of)


def _eight(*numbers: int) -> bytes:
    return b"".join(number.to_bytes(8, "big") for number in numbers)


def one_fault(text: str | None) -> dict[str, Sequence[Row]]:
    return {"fault": [(7, None, text, "line", "x")]}


@given(ANY_ROWS, ANY_ROWS)
def test_different_rows_never_give_the_same_bytes(
    one: dict[str, list[Row]], other: dict[str, list[Row]]
) -> None:
    same = {name: sorted(map(repr, rows)) for name, rows in one.items()} == {
        name: sorted(map(repr, rows)) for name, rows in other.items()
    }
    assert (ENCODER.encode(one) == ENCODER.encode(other)) == same


@given(st.lists(SHORT_TEXT, min_size=3, max_size=3), st.lists(SHORT_TEXT, min_size=3, max_size=3))
def test_moving_characters_between_fields_changes_the_bytes(one: list[str], other: list[str]) -> None:
    first = ENCODER.encode({"fault": [(7, None, *one)]})
    second = ENCODER.encode({"fault": [(7, None, *other)]})
    assert (first == second) == (one == other)


def test_nothing_is_not_the_same_as_empty_text() -> None:
    assert ENCODER.encode(one_fault(None)) != ENCODER.encode(one_fault(""))


def test_bytes_follow_the_written_grammar() -> None:
    number, lengths = _eight(7), _eight(1, 4, 1)
    expected = b"tundish.rows.2;tfault;rinttt;" + number + lengths + "élinex".encode()
    assert ENCODER.encode(one_fault("é")) == expected


def test_nulls_after_the_last_value_are_left_out() -> None:
    row = (7, 2, "line", 3, 5, "x", None)  # a table that gained a nullable column gives this for an old row
    wider = RowEncoder((INTEGER, INTEGER, TEXT, INTEGER, INTEGER, TEXT, INTEGER))
    assert wider.encode(row) == RowEncoder((INTEGER, INTEGER, TEXT, INTEGER, INTEGER, TEXT)).encode(row[:-1])


def test_a_blob_stands_after_the_texts_with_its_length_in_bytes() -> None:
    row = RowEncoder((BLOB, INTEGER, TEXT)).encode((b"\x00\xff", 3, "é"))
    assert row == b"rbit;" + _eight(3, 1, 2) + "é".encode() + b"\x00\xff"


def test_a_real_is_eight_bytes_and_zero_has_no_sign() -> None:
    minus, plus = ({"taken": [(7, *TakenRow(3, None, zero))]} for zero in (-0.0, 0.0))
    expected = b"tundish.rows.2;ttaken;riind;" + _eight(7, 3) + bytes(8)
    assert ENCODER.encode(minus) == ENCODER.encode(plus) == expected


def test_an_int_in_a_real_column_is_written_as_the_double_that_the_database_keeps() -> None:
    assert ENCODER.encode({"taken": [(7, 3, None, 2, None, None, None)]}) == ENCODER.encode(
        {"taken": [(7, 3, None, 2.0, None, None, None)]}
    )


def test_rows_are_put_in_primary_key_order() -> None:
    first, second = ((7, *FrameRow(ordinal, 2, None, 0, 1, "read")) for ordinal in (0, 1))
    assert ENCODER.encode({"frame": [second, first]}) == ENCODER.encode({"frame": [first, second]})


def test_tables_are_put_in_the_order_of_the_schema() -> None:
    frame = [(7, *FrameRow(0, 2, None, 0, 1, "read"))]
    fault = [(7, *FaultRow(None, None, "line", "x"))]
    assert ENCODER.encode({"fault": fault, "frame": frame}) == ENCODER.encode(
        {"frame": frame, "fault": fault}
    )


def test_a_table_without_rows_says_nothing() -> None:
    assert ENCODER.encode({"gap": [], **one_fault("x")}) == ENCODER.encode(one_fault("x"))


@pytest.mark.parametrize("bad", [math.nan, math.inf, "3.41", b"3"])
def test_refuses_what_is_no_finite_number(bad: SqlValue) -> None:
    with pytest.raises(RowError, match="finite number"):
        ENCODER.encode({"taken": [(7, 3, None, bad, None, None, None)]})


@pytest.mark.parametrize("bad", ["3,41", "+3.41", " 3.41", "3.", "", "----", "=1", "٣", 3.41])
def test_refuses_what_is_no_plain_numeral(bad: SqlValue) -> None:
    with pytest.raises(RowError, match="plain decimal numeral"):
        ENCODER.encode({"taken": [(7, 3, bad, None, None, None, None)]})


@pytest.mark.parametrize(("place", "bad"), [(1, "2"), (1, 2.0), (2, 5), (3, b"x")])
def test_refuses_a_value_of_another_type(place: int, bad: SqlValue) -> None:
    row: list[SqlValue] = [7, 2, "ph", "line", "x"]
    row[place] = bad
    with pytest.raises(RowError, match="table fault"):
        ENCODER.encode({"fault": [tuple(row)]})


def test_refuses_a_value_of_another_type_after_rows_that_fit() -> None:
    ENCODER.encode(one_fault("x"))
    with pytest.raises(RowError, match="text is wanted, 5 came"):
        ENCODER.encode({"fault": [(7, None, 5, "line", "x")]})


def test_refuses_a_whole_number_that_no_database_holds() -> None:
    with pytest.raises(RowError, match="at most 64 bits"):
        ENCODER.encode({"taken": [(7, 2**63, None, None, None, None, None)]})


def test_refuses_a_real_beyond_all_doubles() -> None:
    with pytest.raises(RowError, match="table taken"):
        ENCODER.encode({"taken": [(7, 3, None, 10**400, None, None, None)]})


def test_refuses_rows_whose_keys_cannot_be_ordered() -> None:
    frame = FrameRow(0, 2, None, 0, 1, "read")
    with pytest.raises(RowError, match="table frame"):
        ENCODER.encode({"frame": [(7, *frame), ("7", *frame)]})


def test_refuses_a_row_with_a_field_too_few() -> None:
    with pytest.raises(RowError, match="table fault"):
        ENCODER.encode({"fault": [(7, None)]})


def test_refuses_half_a_surrogate_pair() -> None:
    with pytest.raises(RowError, match="table fault"):
        ENCODER.encode(one_fault("\ud800"))


@pytest.mark.parametrize("name", ["ledger", "heartbeat", "position", "nowhere"])
def test_refuses_a_table_that_is_not_append_only(name: str) -> None:
    with pytest.raises(RowError, match="no append-only table"):
        ENCODER.encode({name: [(1,)]})


@pytest.mark.parametrize("table", APPEND_ONLY, ids=lambda table: table.name)
def test_row_type_has_the_fields_of_its_table(table: Table) -> None:
    name = "".join(part.title() for part in table.name.split("_")) + "Row"
    row_type = getattr(row_types, name, None) or getattr(bench_rows, name)
    assert ("number", *row_type._fields) == tuple(table.columns.keys())


def test_every_table_is_either_append_only_or_in_the_written_list() -> None:
    covered = {table.name for table in APPEND_ONLY} | set(MUTABLE_TABLES) | {"ledger"}
    assert covered == set(metadata.tables)
