"""The bracket of a failed check, however long it is, and where it ends."""

import pytest

from bench import holds
from storage.queries.holds import holds as all_holds
from storage.store import Store
from tests.fakes.filled_store import Filler, OpenCapture
from tests.unit.bench.acts import act, make, person
from tests.unit.bench.test_results import (
    BAD_CHECK,
    BURETTE,
    GOOD_CHECK,
    all_results,
    check_method,
    codes,
    run_sample,
)

DAY_US = 86_400_000_000


@pytest.fixture
def filler(store: Store) -> Filler:
    make(store, "reagent", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
    make(store, "reagent", "HC1", name="check wine", reagent_kind="control_material")
    for code in ("CK4H7M", "DM6R3X"):
        make(store, "sample", code)
    check_method(store)
    return Filler(store)


@pytest.fixture
def burette(filler: Filler) -> OpenCapture:
    return filler.open("burette", BURETTE)


def check(store: Store, filler: Filler, burette: OpenCapture, volume: str) -> None:
    run_sample(store, filler, burette, volume, kind="check", sample=None)


def test_a_check_that_fails_weeks_later_holds_what_was_measured_first_after_the_last_that_passed(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    check(store, filler, burette, GOOD_CHECK)
    run_sample(store, filler, burette, "8.00")
    filler.at_us += 20 * DAY_US
    check(store, filler, burette, BAD_CHECK)
    (held,) = all_results(store)
    assert (held.standing, held.mark, codes(held)) == ("do_not_use", "withdrawn", {"check.failed"})


def test_a_hold_that_was_settled_ends_with_the_next_check_that_passes(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    check(store, filler, burette, GOOD_CHECK)
    run_sample(store, filler, burette, "8.00")
    check(store, filler, burette, BAD_CHECK)
    with store.reader() as connection:
        (open_one,) = all_holds(connection)
    who = person("YAR", reason="the bottle was old")
    act(store, lambda tx: holds.settle(tx, who, open_one.number, "accepted"))
    check(store, filler, burette, GOOD_CHECK)
    with store.reader() as connection:
        (ended,) = all_holds(connection)
    assert ended.until_us == filler.at_us
    run_sample(store, filler, burette, "8.10", sample="DM6R3X")
    assert codes(all_results(store)[-1]) == set()
