"""Different values of a column, found without reading every row."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import (
    Column,
    Connection,
    Engine,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    create_engine,
    make_url,
)
from sqlalchemy.pool import StaticPool

from storage.connect import sqlite_module
from storage.queries.distinct import distinct
from storage.schema import capture, reading

word = Table(
    "word",
    MetaData(),
    Column("id", Integer, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("text", Text, nullable=False),
    Index(None, "kind", "text"),
)


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    engine = create_engine("sqlite://", module=sqlite_module(), poolclass=StaticPool)
    word.create(engine)
    yield engine
    engine.dispose()


@pytest.fixture
def connection(engine: Engine) -> Iterator[Connection]:
    with engine.begin() as connection:
        yield connection


KINDS = st.sampled_from(["", "a", "b", "ä"])


@given(rows=st.lists(st.tuples(KINDS, st.text(max_size=3))))
def test_the_values_are_those_of_a_plain_distinct(engine: Engine, rows: list[tuple[str, str]]) -> None:
    storable = [(kind, text) for kind, text in rows if text.isprintable()]
    with engine.connect() as connection:
        for kind, text in storable:
            connection.execute(word.insert().values(kind=kind, text=text))
        kinds = connection.execute(distinct(word.c.kind)).scalars().all()
        texts = connection.execute(distinct(word.c.text, word.c.kind == "a")).scalars().all()
        connection.rollback()
    assert kinds == sorted({kind for kind, _ in storable})
    assert texts == sorted({text for kind, text in storable if kind == "a"})


def test_an_empty_table_has_no_values(connection: Connection) -> None:
    assert connection.execute(distinct(word.c.kind)).scalars().all() == []


def plan(connection: Connection, statement: Any) -> str:
    text = statement.compile(connection, compile_kwargs={"literal_binds": True})
    return " ".join(str(row) for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}"))


@pytest.mark.parametrize(
    ("statement", "index"),
    [
        (distinct(reading.c.quantity, reading.c.instrument == "x"), "ix_reading_instrument_quantity_number"),
        (distinct(capture.c.instrument), "ix_capture_instrument_line_driver_number_number"),
        (
            distinct(capture.c.driver_number, capture.c.instrument == "x", capture.c.line == "y"),
            "ix_capture_instrument_line_driver_number_number",
        ),
    ],
)
def test_each_leap_is_a_search_in_an_index_and_no_row_is_scanned(
    statement: Any, index: str, connection: Connection
) -> None:
    for table in (capture, reading):
        table.create(connection, checkfirst=True)
    steps = plan(connection, statement)
    assert f"COVERING INDEX {index}" in steps
    assert "SCAN reading" not in steps
    assert "SCAN capture" not in steps


def test_postgresql_is_asked_in_words_that_it_knows() -> None:
    dialect = make_url("postgresql+psycopg://").get_dialect()()
    text = str(distinct(reading.c.quantity, reading.c.instrument == "x").compile(dialect=dialect))
    assert text.startswith("WITH RECURSIVE walk(value) AS")
    assert "LIMIT" not in text
