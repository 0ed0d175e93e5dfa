"""What a COPY sends comes as the server sent it; what goes wrong on the way has the server's own name."""

from collections.abc import Iterator
from contextlib import closing

import psycopg
import pytest

from storage.postgresql.wire import Received, received
from storage.trouble import is_environment
from tests.services.postgresql import PostgreSQL

pytestmark = pytest.mark.needs("postgresql")

LINES = 100_000  # some megabytes: more than lies ready at once


@pytest.fixture
def connection(postgresql: PostgreSQL) -> Iterator[psycopg.Connection]:
    with closing(psycopg.connect(postgresql.url("postgres"))) as connection:
        yield connection


def numbers(first: int, last: int) -> str:
    return f"SELECT n, 'line ' || n FROM generate_series({first}, {last}) AS n"


def test_every_line_comes_once_and_in_order(connection: psycopg.Connection) -> None:
    found = received(connection, f"COPY ({numbers(1, LINES)}) TO STDOUT (FORMAT csv)", {})
    assert found.text == b"".join(b"%d,line %d\n" % (number, number) for number in range(1, LINES + 1))
    assert (found.last, found.lines) == (b"%d,line %d\n" % (LINES, LINES), LINES)


def test_no_lines_are_nothing(connection: psycopg.Connection) -> None:
    assert received(connection, f"COPY ({numbers(1, 0)}) TO STDOUT", {}) == Received(b"", b"", 0)


def test_values_stand_where_the_statement_names_them(connection: psycopg.Connection) -> None:
    text = "50 % of O'Brien\\"
    found = received(connection, "COPY (SELECT %(text)s || ' 100%%') TO STDOUT (FORMAT csv)", {"text": text})
    assert found.text == f"{text} 100%\n".encode()


def test_the_connection_is_good_for_more(connection: psycopg.Connection) -> None:
    for last in (3, 4):
        assert received(connection, f"COPY ({numbers(1, last)}) TO STDOUT", {}).lines == last
    assert connection.execute("SELECT 1").fetchone() == (1,)


@pytest.mark.parametrize(
    ("query", "error"),
    [("SELECT no_such_column", psycopg.errors.UndefinedColumn), ("SELECT 1 /", psycopg.errors.SyntaxError)],
    ids=["column", "syntax"],
)
def test_what_the_server_refuses_is_said_by_its_name(
    connection: psycopg.Connection, query: str, error: type[psycopg.Error]
) -> None:
    with pytest.raises(error):
        received(connection, f"COPY ({query}) TO STDOUT", {})
    connection.rollback()
    assert received(connection, f"COPY ({numbers(1, 2)}) TO STDOUT", {}).lines == 2


def test_lines_that_end_in_an_error_are_not_taken_for_all(connection: psycopg.Connection) -> None:
    with pytest.raises(psycopg.errors.DivisionByZero):
        received(connection, "COPY (SELECT 1 / (900 - n) FROM generate_series(1, 1000) AS n) TO STDOUT", {})
    connection.rollback()
    assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_server_that_goes_away_amid_the_lines_is_trouble_that_passes(
    connection: psycopg.Connection,
) -> None:
    ending = "SELECT n, CASE WHEN n = 5000 THEN pg_terminate_backend(pg_backend_pid()) END"
    with pytest.raises(psycopg.OperationalError) as caught:
        received(connection, f"COPY ({ending} FROM generate_series(1, 9000) AS n) TO STDOUT", {})
    assert is_environment(caught.value)
