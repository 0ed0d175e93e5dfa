"""A fault of ours in the middle of one reading leaves nothing half written, and stops nothing else."""

import pytest
from sqlalchemy import select

from bench.corrected import correct
from bench.kinds.cellar import Sample
from bench.records import find
from bench.taking import take
from bench.ties import Bond
from storage.queries.readings import position, untaken_by_id
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.schema import amendment, fault, ledger, result, result_input, standing
from storage.store import Store
from storage.transaction import Transaction
from storage.verify import verify
from tests.fakes.breaking_transaction import breaking
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.store_writer import SomeDisk
from tests.unit.bench.acts import act, make, person

PH = {"name": "pH", "quantity": "ph"}


@pytest.fixture
def readings(store: Store) -> list[int]:
    """Two readings of pH of nobody, in a laboratory that measures pH."""
    make(store, "method", "ph", **PH)
    make(store, "sample", "CK4H7M")
    filler = Filler(store)
    meter = filler.open("ph", "ph-1")
    return [filler.hear(meter, b"x", [Answer("ph", text, "pH")])[0] for text in ("3.41", "3.52")]


def take_breaking(store: Store, readings: list[int], action: str) -> None:
    def work(tx: Transaction) -> None:
        sample = find(tx.connection, Sample, "CK4H7M").record_id
        bonds = {one: Bond(sample, None, "hand") for one in readings}
        take(breaking(tx, action), person(), untaken_by_id(tx.connection, readings), bonds)

    act(store, work)


@pytest.mark.parametrize("action", ["result.made", "results.judged"])
def test_of_a_reading_that_is_half_taken_nothing_is_kept_and_the_next_is_taken(
    store: Store, readings: list[int], action: str
) -> None:
    take_breaking(store, readings, action)
    with store.reader() as connection:
        (made,) = results_after(connection, ResultFilter())
        (said,) = connection.execute(select(fault.c.text)).scalars()
        judged = connection.execute(select(standing.c.result_id)).scalars().all()
        inputs = set(connection.execute(select(result_input.c.result_id)).scalars())
    assert (made.value, made.standing) == (3.52, "good")
    assert said == f"reading {readings[0]}: ArithmeticError: broke before {action}"
    assert set(judged) == inputs == {made.result_id}


def test_the_chain_has_no_hole_where_a_reading_was_taken_back(store: Store, readings: list[int]) -> None:
    take_breaking(store, readings, "results.judged")
    with store.reader() as connection:
        numbers = list(connection.execute(select(ledger.c.number).order_by(ledger.c.number)).scalars())
        walked = verify(connection)
    assert numbers == list(range(1, store.writer.head.number + 1))
    assert (walked.in_order, walked.head) == (True, store.writer.head)


def test_of_a_correction_that_breaks_in_the_middle_nothing_is_kept(store: Store, readings: list[int]) -> None:
    take_breaking(store, readings, "nothing")

    def work(tx: Transaction) -> None:
        (reading, _) = untaken_by_id(tx.connection, readings)
        corrected = reading._replace(version=2, value_text="3.61", value_numeral="3.61")
        correct(breaking(tx, "amendment.in_force"), person(), [corrected])

    act(store, work)
    with store.reader() as connection:
        assert [one.value for one in results_after(connection, ResultFilter())] == [3.41, 3.52]
        assert connection.execute(select(amendment)).all() == []
        assert "broke before amendment.in_force" in connection.execute(select(fault.c.text)).scalar_one()


def test_trouble_of_the_store_is_no_fault_of_a_reading(store: Store, readings: list[int]) -> None:
    """The writer tries the whole again; here it stands for the writer to see."""

    def work(tx: Transaction) -> None:
        sample = find(tx.connection, Sample, "CK4H7M").record_id
        bonds = {one: Bond(sample, None, "hand") for one in readings}
        full = breaking(tx, "result.made", SomeDisk(13))  # SQLITE_FULL
        with pytest.raises(SomeDisk):
            take(full, person(), untaken_by_id(tx.connection, readings), bonds)

    act(store, work)
    with store.reader() as connection:
        assert connection.execute(select(result)).all() == []
        assert connection.execute(select(fault)).all() == []


def test_what_was_entered_before_an_attempt_stays(store: Store) -> None:
    def work(tx: Transaction) -> tuple[int, int]:
        before = tx.next_number
        _say(tx, "before")
        with pytest.raises(ArithmeticError):
            _break(tx)
        with tx.attempt():
            _say(tx, "after")
        return before, tx.head.number

    begun, ended = act(store, work)
    assert ended == begun + 1
    with store.reader() as connection:
        actions = connection.execute(select(ledger.c.action).where(ledger.c.number >= begun)).scalars()
        assert list(actions) == ["say.before", "say.after"]
        assert verify(connection).in_order
        assert position(connection, "somebody") == 0


def _say(tx: Transaction, what: str) -> None:
    tx.enter(f"say.{what}", at_us=NOON_US, actor="tundish", actor_kind="daemon", rows={})


def _break(tx: Transaction) -> None:
    with tx.attempt():
        _say(tx, "inside")
        tx.set_position("somebody", 7)
        raise ArithmeticError
