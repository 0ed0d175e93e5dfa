"""Results follow their readings when a corrected driver is applied, as amendments, and back."""

import pytest

from bench.canonical_json import from_text
from bench.intake import CORRECTED, SOMEBODYS, Intake
from evaluate.formulas import recompute
from storage.queries import ReadingFilter, newest_readings
from storage.queries.result_statements import ResultFilter
from storage.queries.results import (
    CurrentResult,
    history_of_result,
    original_result,
    results_after,
    sources_of_result,
)
from storage.store import Store
from storage.verify import verify
from tests.fakes.heard_captures import AT_US, hear, pour, so2_rows
from tests.unit.bench.acts import make, take_in

NO_SUCH_COLUMN = so2_rows(columns=2)
WRONG, RIGHT = so2_rows(unit="g/L"), so2_rows()
ROWS = [b"W-1;28.50;20.1\n", b"W-2;31.00;20.2\n"]


@pytest.fixture
def bench(store: Store) -> Store:
    """A bench with two samples, and a method for what the instrument calls free sulfur dioxide."""
    for code in ("W-1", "W-2"):
        make(store, "sample", code)
    make(store, "method", "free", name="free", quantity="free_so2", formula="as_read")
    return store


def results(store: Store) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter())


def shown(store: Store) -> list[tuple[object, ...]]:
    return [(one.quantity, one.outcome, one.value, one.inputs, one.sample_id) for one in results(store)]


async def test_a_result_follows_its_corrected_reading_and_its_original_stays(bench: Store) -> None:
    await hear(bench, WRONG, ROWS)
    take_in(bench)
    before = results(bench)
    assert [one.value for one in before] == [28500.0, 31000.0]
    pour(bench, RIGHT)
    take_in(bench)
    after = results(bench)
    assert [one.value for one in after] == [28.5, 31.0]
    assert [one.result_id for one in after] == [one.result_id for one in before]
    with bench.reader() as connection:
        original = original_result(connection, after[0].result_id)
        last = history_of_result(connection, after[0].result_id)[-1]
        sources = sources_of_result(connection, after[0].result_id, after[0].version)
        assert verify(connection).in_order
    assert original is not None
    assert original.value == 28500.0
    assert last.reason is not None
    assert "the unit was wrong" in last.reason
    assert [one.source_version for one in sources if one.source == "reading"] == [2]
    formula_id, version = after[0].formula.split("/")
    assert recompute(formula_id, from_text(after[0].inputs), int(version)) == after[0].value


async def test_going_back_to_the_driver_of_before_shows_the_results_of_before(bench: Store) -> None:
    await hear(bench, RIGHT, ROWS)
    take_in(bench)
    before = shown(bench)
    for driver in (WRONG, so2_rows(so2="total_so2"), NO_SUCH_COLUMN, RIGHT):
        pour(bench, driver)
        take_in(bench)
    assert shown(bench) == before


async def test_a_reading_that_was_taken_back_leaves_its_result_without_a_value_and_not_to_be_used(
    bench: Store,
) -> None:
    await hear(bench, RIGHT, ROWS)
    take_in(bench)
    pour(bench, NO_SUCH_COLUMN)
    take_in(bench)
    assert {(one.outcome, one.value, one.standing) for one in results(bench)} == {
        ("no_value", None, "do_not_use")
    }


async def test_a_reading_of_another_quantity_makes_the_result_it_should_have_made(bench: Store) -> None:
    await hear(bench, so2_rows(so2="total_so2"), ROWS)
    take_in(bench)
    assert results(bench) == []
    pour(bench, RIGHT)
    take_in(bench)
    assert [one.value for one in results(bench)] == [28.5, 31.0]


async def test_what_differs_in_nothing_moves_no_result(bench: Store) -> None:
    await hear(bench, RIGHT, ROWS)
    take_in(bench)
    before = results(bench)
    pour(bench, RIGHT)
    take_in(bench)
    assert results(bench) == before


async def test_every_version_is_taken_in_once(bench: Store) -> None:
    await hear(bench, WRONG, ROWS)
    pour(bench, RIGHT)
    take_in(bench)
    with bench.reader() as connection:
        found = newest_readings(connection, ReadingFilter(quantity="free_so2"), limit=10)
    assert {(one.version, one.normal_text, one.normal_unit) for one in found} == {
        (2, "28.50", "mg/L"),
        (2, "31.00", "mg/L"),
    }
    assert [one.value for one in results(bench)] == [28.5, 31.0]


@pytest.mark.parametrize(("sample", "most"), [(b"W-1", SOMEBODYS), (b"", CORRECTED)], ids=["named", "nobody"])
async def test_many_corrected_readings_are_taken_in_small_pieces(
    store: Store, sample: bytes, most: int
) -> None:
    await hear(store, WRONG, [(sample + b";28.50;20.1\n") * 120])
    take_in(store)
    pour(store, RIGHT)
    intake = Intake(store, lambda: AT_US, "tundish")
    taken = []
    while count := intake.step():
        taken.append(count)
    assert sum(taken) == 120
    assert max(taken) == most
