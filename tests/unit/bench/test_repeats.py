from bench.repeats import SAME_NUMBER
from storage.store import Store


def test_repeats_are_found_by_their_number_and_not_by_looking_through_every_reading(store: Store) -> None:
    wanted = [(f"line-{place}", str(place)) for place in range(64)]
    with store.reader() as connection:
        statement = SAME_NUMBER.params(wanted=wanted, before=1000)
        text = statement.compile(connection, compile_kwargs={"literal_binds": True})
        plan = [step.detail for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}")]
    assert any("ix_reading_instrument_sequence (instrument=? AND sequence=?" in step for step in plan), plan
