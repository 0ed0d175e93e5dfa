"""Questions of the bench are answered by indices, whatever the size of the store."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, event

from storage.queries import due
from storage.queries.control_records import made_from_readings, next_control_record
from storage.queries.publishing import due_after
from storage.queries.readings import untaken_by_id
from storage.queries.result_statements import ResultFilter
from storage.queries.result_versions import amended_values
from storage.queries.results import (
    history_of_result,
    ids_changed_since,
    results_after,
    results_by_id,
    sources_of_result,
)
from storage.store import Store
from tests.fakes.store_contents import open_at_noon

LARGE = (
    "chunk|frame|ledger|reading|taken|result|result_input|standing|release|tie|tray_item"
    "|curve_point|control_input"
)
"""Tables that grow with the work: none of them is read from end to end for a question about a few rows."""

QUESTIONS: dict[str, Callable[[Connection], Any]] = {
    "results of samples": lambda c: results_after(c, ResultFilter(sample_ids=(1, 2))),
    "results by id": lambda c: results_by_id(c, [1, 2]),
    "history of a result": lambda c: history_of_result(c, 1),
    "values of a result": lambda c: amended_values(c, 1),
    "parts of a result": lambda c: sources_of_result(c, 1, 1),
    "readings by id": lambda c: untaken_by_id(c, [1, 2]),
    "control records of readings": lambda c: made_from_readings(c, [1, 2]),
    "the next check": lambda c: next_control_record(c, "check", 1, instrument="b", subject_id=1),
    "what a method has given": lambda c: due.judged_since(c, 1, 1),
    "lots that were measured": lambda c: due.lots_measured_since(c, "free_so2", 1),
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store in a file: a server chooses its plans by the size of its tables, and here they are empty."""
    path: Path = tmp_path_factory.mktemp("plans") / "empty.db"
    store = open_at_noon(path)
    yield store
    store.close()


def plan(store: Store, ask: Callable[[Connection], Any]) -> list[str]:
    asked: list[tuple[str, Any]] = []

    def note(_c: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        asked.append((statement, parameters))

    with store.reader() as connection:
        event.listen(connection.engine, "before_cursor_execute", note)
        ask(connection)
        event.remove(connection.engine, "before_cursor_execute", note)
        return [
            step[-1]
            for statement, parameters in asked
            for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
        ]


@pytest.mark.parametrize("question", QUESTIONS)
def test_no_table_that_grows_is_read_from_end_to_end(store: Store, question: str) -> None:
    steps = plan(store, QUESTIONS[question])
    assert steps
    assert not [step for step in steps if re.match(rf"SCAN ({LARGE})\b", step)], steps


@pytest.mark.parametrize("question", QUESTIONS)
def test_parts_of_results_are_never_walked_by_the_kind_of_their_source_alone(
    store: Store, question: str
) -> None:
    steps = plan(store, QUESTIONS[question])
    assert not [step for step in steps if re.search(r"_source_source_id \(source=\?\)$", step)], steps


def test_what_is_new_is_found_from_its_ledger_number_on(store: Store) -> None:
    for ask in (lambda c: ids_changed_since(c, 1, 10), lambda c: due_after(c, 1, 10)):
        steps = plan(store, ask)
        assert not [step for step in steps if re.search(r"_source_source_id \(source=\?\)$", step)], steps
