from contextlib import closing
from pathlib import Path

from bench.repeats import SAME_NUMBER
from tests.fakes.store_contents import open_at_noon


def test_a_file_finds_repeats_by_their_number_without_looking_through_every_reading(tmp_path: Path) -> None:
    wanted = [(f"line-{place}", str(place)) for place in range(64)]
    with closing(open_at_noon(tmp_path / "cellar.db")) as store, store.reader() as connection:
        statement = SAME_NUMBER.params(wanted=wanted, before=1000)
        text = statement.compile(connection, compile_kwargs={"literal_binds": True})
        plan = [step.detail for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}")]
    assert any("ix_reading_instrument_sequence (instrument=? AND sequence=?" in step for step in plan), plan
