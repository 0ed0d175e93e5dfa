"""A reading that is tied anew takes its results with it."""

from typing import Any

import pytest

from bench import retying
from bench.kinds.cellar import Sample
from bench.records import find
from bench.standing import stored_causes
from storage.csv_text import DIALECTS, ResultSheetFilter, results_csv, results_revision
from storage.queries.control_records import control_records
from storage.queries.result_statements import ResultFilter
from storage.queries.results import (
    CurrentResult,
    history_of_result,
    ids_changed_since,
    results_after,
)
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler, OpenCapture
from tests.unit.bench.acts import act, make, person, take_in
from tests.unit.bench.test_results import BURETTE, TA, check_method, codes, run_sample, standardise

WHY = person("YAR", reason="the tray was off by one")


@pytest.fixture
def filler(store: Store) -> Filler:
    make(store, "reagent", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
    make(store, "reagent", "HC1", name="check wine", reagent_kind="control_material")
    for code in ("CK4H7M", "DM6R3X"):
        make(store, "sample", code)
    return Filler(store)


@pytest.fixture
def burette(filler: Filler) -> OpenCapture:
    return filler.open("burette", BURETTE)


def of_sample(store: Store, code: str) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter(sample_ids=(find(connection, Sample, code).record_id,)))


def everything(store: Store) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter())


def sheet(store: Store) -> list[list[str]]:
    wanted = ResultSheetFilter(released_only=False)
    pieces = results_csv(store.reader, wanted, DIALECTS["standard"], store_kind="real", up_to=10**9)
    return [line.split(",") for line in b"".join(pieces).decode().splitlines()]


def test_a_result_goes_where_its_reading_is_tied_and_its_value_does_not_move(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    reading = run_sample(store, filler, burette, "8.40")
    (before,) = of_sample(store, "CK4H7M")
    act(store, lambda tx: retying.tie(tx, WHY, [reading], "DM6R3X"))
    (after,) = of_sample(store, "DM6R3X")
    assert of_sample(store, "CK4H7M") == []
    assert (after.result_id, after.value, after.version) == (before.result_id, before.value, 1)
    assert after.revision > before.revision
    header, row = sheet(store)
    assert row[header.index("sample")] == "DM6R3X"


def test_two_results_change_places_when_the_tray_was_off_by_one(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    one = run_sample(store, filler, burette, "8.40")
    other = run_sample(store, filler, burette, "9.10", sample="DM6R3X")
    act(store, lambda tx: retying.swap(tx, WHY, one, other))
    (first,), (second,) = of_sample(store, "CK4H7M"), of_sample(store, "DM6R3X")
    assert (first.value or 0) > (second.value or 0)
    with store.reader() as connection:
        acts = [(c.what, c.actor, c.reason) for c in history_of_result(connection, first.result_id)]
    assert ("readings.reassigned", "YAR", "the tray was off by one") in acts
    act(store, lambda tx: retying.swap(tx, WHY, one, other))
    assert (of_sample(store, "CK4H7M")[0].value or 0) < (of_sample(store, "DM6R3X")[0].value or 0)


def test_a_reading_that_was_nobody_s_becomes_a_result_when_it_is_tied(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    (reading,) = filler.hear(burette, b"8.40", [Answer("dispensed_volume", "8.40", "mL")])
    take_in(store)
    assert everything(store) == []
    act(store, lambda tx: retying.tie(tx, person(), [reading], "CK4H7M"))
    (made,) = of_sample(store, "CK4H7M")
    assert made.standing == "good"
    assert made.value == pytest.approx(6.3037, abs=1e-3)


def test_a_result_that_is_taken_off_its_sample_is_nobody_s_and_not_to_be_used(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    reading = run_sample(store, filler, burette, "8.40")
    act(store, lambda tx: retying.untie(tx, WHY, [reading]))
    (left,) = everything(store)
    assert (left.sample_id, left.standing, left.mark) == (None, "do_not_use", "withdrawn")
    assert codes(left) == {"sample.unknown"}
    assert of_sample(store, "CK4H7M") == []
    header, row = sheet(store)
    assert row[header.index("sample")] == ""


def test_a_conflict_of_the_tie_ends_when_a_person_has_decided(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    answer = Answer("dispensed_volume", "8.40", "mL", sample="NOBODY")
    (reading,) = filler.hear(burette, b"8.40", [answer])
    take_in(store)
    (left,) = everything(store)
    assert "tie.sample_unknown" in codes(left)
    act(store, lambda tx: retying.tie(tx, person(), [reading], "CK4H7M"))
    (found,) = of_sample(store, "CK4H7M")
    assert (found.standing, codes(found)) == ("good", set())


def test_a_check_stays_a_check_whatever_it_is_tied_to(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    check_method(store)
    reading = run_sample(store, filler, burette, "8.46", kind="check", sample=None)
    act(store, lambda tx: retying.tie(tx, person(), [reading], "CK4H7M"))
    assert everything(store) == []
    with store.reader() as connection:
        assert len(control_records(connection, kind="check")) == 1


def free_and_ph(store: Store) -> None:
    make(store, "method", "free", name="free", quantity="free_so2", modes=["F"])
    make(store, "method", "ph", name="pH", quantity="ph")
    fields = {"name": "molecular", "quantity": "molecular_so2", "formula": "molecular_so2"}
    make(store, "method", "mol", **fields, constant_set="single-1.81")


def molecular(store: Store, sample: str) -> CurrentResult:
    """Return what was worked out last for a sample."""
    return [one for one in of_sample(store, sample) if one.quantity == "molecular_so2"][-1]


def test_what_was_worked_out_from_a_result_is_worked_out_anew_for_its_sample(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    free_and_ph(store)
    both = [
        Answer("free_so2", "28.0", "mg/L", sample="CK4H7M", mode="F"),
        Answer("ph", "3.4", "pH", sample="CK4H7M"),
    ]
    free, _ = filler.hear(burette, b"x", both)
    filler.hear(burette, b"y", [Answer("ph", "3.8", "pH", sample="DM6R3X")])
    take_in(store)
    wrong = molecular(store, "CK4H7M")
    act(store, lambda tx: retying.tie(tx, WHY, [free], "DM6R3X"))
    right, left = molecular(store, "DM6R3X"), molecular(store, "CK4H7M")
    # 28.0 / (1 + 10 ** (3.8 - 1.81)) and 28.0 / (1 + 10 ** (3.4 - 1.81)), by hand
    assert right.value == pytest.approx(0.2837, abs=2e-4)
    assert left.result_id == wrong.result_id
    assert left.value == pytest.approx(0.7017, abs=2e-4)
    assert "input.other_sample" in codes(left)
    assert left.standing == "do_not_use"


def test_whoever_asks_since_a_revision_hears_of_a_tie(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    reading = run_sample(store, filler, burette, "8.40")
    (before,) = everything(store)
    with store.reader() as connection:
        revision = results_revision(connection)
    act(store, lambda tx: retying.tie(tx, WHY, [reading], "DM6R3X"))
    with store.reader() as connection:
        assert ids_changed_since(connection, before.revision, 10) == [before.result_id]
        assert results_revision(connection) > revision


def test_an_act_that_a_rule_forbids_moves_nothing(store: Store, filler: Filler, burette: OpenCapture) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    reading = run_sample(store, filler, burette, "8.40")
    before = everything(store)
    forbidden: list[Any] = [
        lambda tx: retying.untie(tx, person(), [reading]),
        lambda tx: retying.tie(tx, person(), [reading], "NOBODY"),
        lambda tx: retying.reassign(tx, person(), {reading: "DM6R3X"}),
    ]
    for work in forbidden:
        with pytest.raises(Exception, match=r"say why|there is no"):
            act(store, work)
    assert everything(store) == before
    assert stored_causes(before[0].reasons) == ()
