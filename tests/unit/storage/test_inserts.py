from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Table, create_engine, select
from sqlalchemy.pool import StaticPool

from storage.connect import sqlite_module
from storage.inserts import ROWS_A_STATEMENT, InsertTexts
from storage.rows import Row
from storage.schema import chunk, frame


class CountingDriver:
    """Hands statements on to a database and counts them."""

    def __init__(self, execute: Callable[..., object]) -> None:
        self._execute = execute
        self.texts: list[str] = []

    def execute(self, text: str, values: tuple[object, ...]) -> None:
        self.texts.append(text)
        self._execute(text, values)


def written_and_read_back(table: Table, rows: list[Row]) -> tuple[list[Row], list[str]]:
    """Write rows into an empty table; return what it holds then, and the statements."""
    module = sqlite_module()
    connection = module.connect(":memory:", isolation_level=None)
    engine = create_engine("sqlite://", module=module, creator=lambda: connection, poolclass=StaticPool)
    try:
        table.create(engine)
        driver = CountingDriver(connection.execute)
        pending = {table.name: rows}
        assert InsertTexts().insert(driver, pending) == len(rows)
        assert pending == {}
        with engine.connect() as reader:
            kept = [tuple(row) for row in reader.execute(select(table).order_by(*table.primary_key.columns))]
        return kept, driver.texts
    finally:
        connection.close()


ABSENT_OR_TEXT = st.none() | st.sampled_from(["", "é", "out of frame"])


@given(st.lists(st.tuples(ABSENT_OR_TEXT, ABSENT_OR_TEXT, st.none() | st.just(4)), max_size=200))
def test_rows_come_back_as_they_were_given_whichever_of_their_columns_are_null(
    parts: list[tuple[str | None, str | None, int | None]],
) -> None:
    rows: list[Row] = [
        (number, 0, 2, pour, 10, 3, "refused", reason, detail)
        for number, (reason, detail, pour) in enumerate(parts)
    ]
    kept, _ = written_and_read_back(frame, rows)
    assert kept == rows


@given(st.binary())
def test_bytes_come_back_as_they_were_given(data: bytes) -> None:
    rows: list[Row] = [(1, 2, 3, "heard", 0, data)]
    assert written_and_read_back(chunk, rows)[0] == rows


@pytest.mark.parametrize(("count", "statements"), [(1, 1), (3, 3), (4, 1), (21, 3), (64, 1), (85, 4)])
def test_many_rows_go_into_one_statement(count: int, statements: int) -> None:
    assert ROWS_A_STATEMENT == (64, 16, 4, 1)
    rows: list[Row] = [(number, 2, 3, "heard", 0, b"x") for number in range(count)]
    assert len(written_and_read_back(chunk, rows)[1]) == statements


def test_what_is_null_is_not_handed_to_the_driver() -> None:
    _, (text,) = written_and_read_back(frame, [(1, 0, 2, None, 10, 3, "read", None, None)])
    assert "reason" not in text
    assert text.count("?") == 6
