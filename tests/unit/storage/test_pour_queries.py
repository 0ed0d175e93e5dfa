"""What a pour asks of a large store: each question goes straight to its rows."""

from contextlib import closing
from pathlib import Path

import pytest

from storage.queries.pours import readings_heard, readings_poured
from tests.fakes.store_contents import open_at_noon

QUESTIONS = {
    "heard": (readings_heard(7, 10, 20), ["reading USING INTEGER PRIMARY KEY", "frame USING PRIMARY KEY"]),
    "poured": (
        readings_poured(7, 0, 1000),
        [
            "frame USING COVERING INDEX ix_frame_capture_number_offset",
            "reading USING INDEX ix_reading_poured",
        ],
    ),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_file_goes_through_no_reading_more_than_once(tmp_path: Path, name: str) -> None:
    statement, wanted = QUESTIONS[name]
    with closing(open_at_noon(tmp_path / "cellar.db")) as store, store.reader() as connection:
        text = statement.compile(connection, compile_kwargs={"literal_binds": True})
        plan = [step.detail for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}")]
    assert len(plan) == len(wanted)
    for step, how in zip(plan, wanted, strict=True):
        assert how in step
