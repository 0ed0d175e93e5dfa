from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import make_url

from storage.columns import UtcMicroseconds

POSTGRESQL = make_url("postgresql+psycopg://").get_dialect()()
SQLITE = make_url("sqlite://").get_dialect()()
COLUMN = UtcMicroseconds()
A_CENTURY_US = 100 * 366 * 86_400 * 1_000_000  # [µs]


@given(st.integers(-A_CENTURY_US, A_CENTURY_US))
def test_a_moment_comes_back_to_the_microsecond_from_postgresql(at_us: int) -> None:
    kept = COLUMN.process_bind_param(at_us, POSTGRESQL)
    assert COLUMN.process_result_value(kept, POSTGRESQL) == at_us


@given(st.integers(-(2**63), 2**63 - 1))
def test_a_moment_is_kept_as_it_is_on_sqlite(at_us: int) -> None:
    assert COLUMN.process_bind_param(at_us, SQLITE) == COLUMN.process_result_value(at_us, SQLITE) == at_us


def test_an_offset_is_not_lost_on_the_way_back() -> None:
    local = datetime(2025, 10, 3, 14, tzinfo=timezone(timedelta(hours=2)))
    assert COLUMN.process_result_value(local, POSTGRESQL) == 1_759_492_800_000_000


@pytest.mark.parametrize("bad", [datetime(2025, 10, 3, tzinfo=UTC), "2025-10-03", 1.5])
@pytest.mark.parametrize("dialect", [SQLITE, POSTGRESQL], ids=["sqlite", "postgresql"])
def test_refuses_anything_but_whole_microseconds(bad: object, dialect: object) -> None:
    with pytest.raises(TypeError, match="whole microseconds"):
        COLUMN.process_bind_param(bad, dialect)  # type: ignore[arg-type] # what a careless caller may pass


def test_nothing_stays_nothing() -> None:
    assert COLUMN.process_bind_param(None, POSTGRESQL) is COLUMN.process_result_value(None, SQLITE) is None


def test_postgresql_keeps_a_moment_with_time_zone() -> None:
    assert str(COLUMN.load_dialect_impl(POSTGRESQL).compile(POSTGRESQL)) == "TIMESTAMP WITH TIME ZONE"
