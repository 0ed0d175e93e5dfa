from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Table
from structlog.testing import capture_logs

from storage.ledger import Head, genesis
from storage.queries import ledger_after
from storage.schema import APPEND_ONLY, ledger
from storage.store import Store, open_store
from storage.verify import BadRow, Verdict, verify
from tests.fakes.filled_store import NOON_US, Filler
from tests.fakes.store_contents import Filled, verdict
from tests.services.grounds import Ground

EVERY_TABLE = (ledger, *APPEND_ONLY)
QUIET = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def copy(filled: Filled) -> Iterator[Ground]:
    copy = filled.ground.copy()
    yield copy
    copy.remove()


def after(ground: Ground, *statements: str) -> Verdict:
    """Tamper with a store and walk it."""
    with ground.tampering() as store:
        for statement in statements:
            store.execute(statement)
    return verdict(ground)


def found(verdict: Verdict) -> BadRow:
    assert verdict.first_bad is not None
    return verdict.first_bad


def test_finds_an_untouched_store_in_order(filled: Filled) -> None:
    walked = verdict(filled.ground)
    assert (walked.in_order, walked.entries, walked.head) == (True, filled.head.number, filled.head)


def test_walks_a_store_that_is_being_written(store: Store) -> None:
    filler = Filler(store)
    with store.reader() as connection:
        filler.open("ph", "ph-meter-1")
        assert verify(connection).in_order


def test_tells_how_far_it_has_come(filled: Filled) -> None:
    told: list[tuple[int, int]] = []
    verdict(filled.ground, progress=lambda done, whole: told.append((done, whole)))
    assert told[-1] == (filled.head.number, filled.head.number)


def another_value(value: Any) -> Any:
    match value:
        case datetime():
            return value + timedelta(days=1)
        case bytes():
            return value + b"\x00"
        case str():
            return value + "0"
        case None:
            return "1"
    return value + 1000  # far from any other row, whose unique key would refuse the change


def change_one_field(ground: Ground, table: Table, place: int, column: str) -> int:
    """Change one field of one row past all guards; return the number of its entry."""
    with ground.tampering() as file:
        keys = table.primary_key.columns.keys()
        key = ", ".join(keys)
        rows = file.execute(f'SELECT {key}, "{column}" FROM {table.name} ORDER BY {key}').fetchall()
        *row, value = rows[place % len(rows)]
        where = " AND ".join(f"{name} = ?" for name in keys)
        file.execute(f'UPDATE {table.name} SET "{column}" = ? WHERE {where}', (another_value(value), *row))
    return int(row[0])


ONE_FIELD = st.sampled_from([(t, c.name) for t in EVERY_TABLE for c in t.columns if c.name != "number"])


@QUIET
@given(field=ONE_FIELD, place=st.integers(0, 1000))
def test_any_single_changed_field_is_found(filled: Filled, field: tuple[Table, str], place: int) -> None:
    copy = filled.ground.copy()
    number = change_one_field(copy, field[0], place, field[1])
    bad = found(verdict(copy))
    copy.remove()
    assert bad.number == number
    assert field[0].name in bad.table or field[1] in {"store_id", "digest"}


@QUIET
@given(table=st.sampled_from(EVERY_TABLE), place=st.integers(0, 1000))
def test_any_single_removed_row_is_found(filled: Filled, table: Table, place: int) -> None:
    copy = filled.ground.copy()
    with copy.tampering() as file:
        keys = table.primary_key.columns.keys()
        rows = file.execute(f"SELECT {', '.join(keys)} FROM {table.name} ORDER BY 1").fetchall()
        row = rows[place % len(rows)]
        file.execute(f"DELETE FROM {table.name} WHERE {' AND '.join(f'{key} = ?' for key in keys)}", row)
    bad = verdict(copy, filled.head).first_bad
    copy.remove()
    assert bad is not None


@pytest.mark.parametrize("number", [-5, 0, 3, 1_000_000])
def test_a_row_that_no_entry_brought_is_found(copy: Ground, number: int) -> None:
    walked = after(copy, f"INSERT INTO fault VALUES ({number}, NULL, NULL, 'line', 'x')")
    assert (found(walked).number, "fault" in found(walked).table) == (number, True)


def test_two_rows_that_changed_places_are_found(copy: Ground) -> None:
    with closing(copy.stranger()) as file:
        (one,), (other,) = file.execute("SELECT number FROM chunk ORDER BY number LIMIT 2").fetchall()
    walked = after(
        copy,
        f"UPDATE chunk SET number = -1 WHERE number = {one}",
        f"UPDATE chunk SET number = {one} WHERE number = {other}",
        f"UPDATE chunk SET number = {other} WHERE number = -1",
    )
    assert found(walked).number == one


def test_a_missing_entry_is_named(copy: Ground) -> None:
    assert (
        str(found(after(copy, "DELETE FROM ledger WHERE number = 5")))
        == "ledger, number 5: the entry is missing"
    )


def cut_tail(ground: Ground, keep: int) -> None:
    with ground.tampering() as file:
        for table in EVERY_TABLE:
            file.execute(f"DELETE FROM {table.name} WHERE number > {keep}")


def test_a_removed_tail_is_seen_against_a_head_that_was_written_down(filled: Filled, copy: Ground) -> None:
    cut_tail(copy, filled.head.number - 3)
    assert verdict(copy).first_bad is None
    bad = found(verdict(copy, expected=filled.head))
    assert (bad.number, "gone" in bad.what) == (filled.head.number - 2, True)


def test_a_chain_that_was_made_anew_is_seen_against_a_head(filled: Filled) -> None:
    other = Head(5, genesis("another").link)
    bad = found(verdict(filled.ground, expected=other))
    assert (bad.number, "made anew" in bad.what) == (5, True)


def test_an_older_head_is_found_again_in_a_longer_chain(filled: Filled) -> None:
    with closing(filled.ground.stranger()) as file:
        older = Head(*file.execute("SELECT number, link FROM ledger WHERE number = 5").fetchone())
    assert verdict(filled.ground, expected=older).in_order


def test_a_head_from_before_the_first_entry_says_nothing_new(filled: Filled) -> None:
    assert verdict(filled.ground, expected=Head(0, bytes(32))).in_order


def test_a_value_that_the_writer_would_refuse_is_reported_not_raised(copy: Ground) -> None:
    infinite = {"sqlite": "9e999", "postgresql": "'infinity'"}[copy.kind]
    walked = after(copy, f"UPDATE reading SET value = {infinite} WHERE outcome = 'value'")
    assert "reading" in found(walked).table


def test_a_store_without_its_name_is_reported_not_raised(copy: Ground) -> None:
    assert found(after(copy, "DELETE FROM store_info")).table == "store_info"


def test_a_store_whose_chain_is_longer_than_one_window_is_walked_whole(store: Store) -> None:
    filler = Filler(store)
    capture = filler.open("ph", "ph-meter-1")
    for count in range(510):
        filler.hear(capture, b"?%d\r\n" % count)
    with store.reader() as connection:
        walked = verify(connection, expected=store.writer.head)
    assert (walked.in_order, walked.entries) == (True, store.writer.head.number)


def test_the_copy_used_here_is_a_whole_store(filled: Filled, copy: Ground) -> None:
    assert verdict(copy, filled.head).in_order


def without(ground: Ground, *statements: str) -> None:
    """Change the triggers of a store as its owner can."""
    stranger = ground.stranger()
    with closing(stranger):
        stranger.execute("BEGIN")
        for statement in statements:
            stranger.execute(statement)
        stranger.execute("COMMIT")


def dropped(ground: Ground, trigger: str, table: str) -> str:
    return f"DROP TRIGGER {trigger}" + (f" ON {table}" if ground.kind == "postgresql" else "")


def test_a_trigger_that_is_missing_is_named_although_every_row_is_in_order(copy: Ground) -> None:
    without(copy, dropped(copy, "guard_reading_update", "reading"))
    walked = verdict(copy)
    assert walked.first_bad is None
    assert walked.guard_faults == ("trigger guard_reading_update is missing",)
    assert not walked.in_order


def test_a_trigger_that_was_altered_is_named(copy: Ground) -> None:
    harmless = (
        "CREATE TRIGGER guard_gap_delete BEFORE DELETE ON gap BEGIN SELECT 1; END"
        if copy.kind == "sqlite"
        else "CREATE TRIGGER guard_gap_delete BEFORE DELETE ON gap FOR EACH ROW EXECUTE FUNCTION harmless()"
    )
    function = ("CREATE FUNCTION harmless() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN OLD; END'",)
    without(
        copy,
        *(function if copy.kind == "postgresql" else ()),
        dropped(copy, "guard_gap_delete", "gap"),
        harmless,
    )
    assert verdict(copy).guard_faults == ("trigger guard_gap_delete was altered",)


def test_a_trigger_that_is_none_of_ours_is_named(copy: Ground) -> None:
    without(
        copy,
        "CREATE TRIGGER helpful AFTER INSERT ON gap BEGIN SELECT 1; END"
        if copy.kind == "sqlite"
        else "CREATE TRIGGER helpful AFTER INSERT ON gap FOR EACH ROW EXECUTE FUNCTION tundish_refuse()",
    )
    assert verdict(copy).guard_faults == ("trigger helpful is none of ours",)


def test_a_daemon_that_starts_makes_missing_triggers_anew_and_says_so_in_the_ledger(copy: Ground) -> None:
    without(copy, dropped(copy, "guard_reading_update", "reading"))
    with capture_logs() as entries:
        store = open_store(copy.address, kind="real", clock_us=lambda: NOON_US)
    with store.reader() as connection:
        made = [
            one for one in ledger_after(connection, after=0, limit=10_000) if one.action == "guards.made_anew"
        ]
    store.close()
    assert [one.reason for one in made] == ["trigger guard_reading_update is missing"]
    assert [one["event"] for one in entries if one["log_level"] == "error"] == ["store.guards_wanting"]
    assert verdict(copy).in_order
