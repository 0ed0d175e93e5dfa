import psycopg
import pytest

from tests.services.postgresql import PostgreSQL

pytestmark = pytest.mark.needs("postgresql")


def test_a_server_of_our_own_answers(postgresql: PostgreSQL) -> None:
    with postgresql.connect() as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_database_can_be_copied_and_dropped(postgresql: PostgreSQL) -> None:
    first = postgresql.new_database()
    with postgresql.connect(first) as connection:
        connection.execute("CREATE TABLE recipe (name text)")
    copy = postgresql.new_database(first)
    with postgresql.connect(copy) as connection:
        assert connection.execute("SELECT count(*) FROM recipe").fetchone() == (0,)
    for name in (first, copy):
        postgresql.drop(name)
    with pytest.raises(psycopg.OperationalError, match="does not exist"):
        postgresql.connect(copy)


def test_it_comes_back_on_the_same_port_after_a_crash() -> None:
    server = PostgreSQL()
    try:
        server.start()
        server.stop("immediate")
        server.start()
        with server.connect() as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)
    finally:
        server.remove()
