"""When results are worked out from others, and when not."""

from hypothesis import given
from hypothesis import strategies as st

from bench import results
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.parts import DERIVATIONS
from bench.records import find
from bench.results import Measured
from evaluate.formulas import formula, recompute
from evaluate.units import quantity
from storage.queries.result_statements import ResultFilter
from storage.queries.results import CurrentResult, results_after
from storage.store import Store
from tests.fakes.filled_store import NOON_US
from tests.unit.bench.acts import act, make, person


def enter(store: Store, method: str, value: float, replicate_of: int | None = None) -> int:
    with store.reader() as connection:
        found, sample = find(connection, Method, method), find(connection, Sample, "CK4H7M")
    measured = Measured(value, "value", NOON_US, None, sample.record_id, replicate_of=replicate_of)
    return act(store, lambda tx: results.make_result(tx, person(), found, measured))


def combined(store: Store) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter(quantity="combined_so2"))


def test_a_replicate_makes_no_second_derived_result(store: Store) -> None:
    make(store, "sample", "CK4H7M")
    for code in ("free_so2", "total_so2"):
        make(store, "method", code, name=code, quantity=code)
    make(store, "method", "c", name="c", quantity="combined_so2", formula="combined_so2_difference")
    enter(store, "total_so2", 80.0)
    first = enter(store, "free_so2", 25.0)
    enter(store, "free_so2", 26.0, replicate_of=first)
    assert [one.value for one in combined(store)] == [55.0]


def test_the_quantity_of_a_derivation_is_that_of_its_formula_and_each_part_is_an_input() -> None:
    for formula_id, parts in DERIVATIONS.items():
        found = formula(formula_id)
        assert quantity(found.quantity or "").code == found.quantity
        assert {part.input for part in parts} <= {one.name for one in found.inputs}


@given(free=st.floats(0, 500), ph=st.floats(2.5, 4.5), pk=st.floats(1.5, 2.9))
def test_molecular_so2_is_never_more_than_the_free(free: float, ph: float, pk: float) -> None:
    assert 0 <= recompute("molecular_so2", {"free_mg_per_l": free, "ph": ph, "pk": pk}) <= free
