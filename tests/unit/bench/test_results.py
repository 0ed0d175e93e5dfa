"""From a titre to a result with its standing: what it stood on, what lowers it, what brings it back."""

from collections.abc import Sequence
from typing import Any

import pytest

from bench import control_records, holds, judging, results, tray
from bench.canonical_json import from_text
from bench.control_records import About, State, state_at
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method, Reagent
from bench.reasons import REASONS
from bench.records import Record, find
from bench.refused import ForbiddenError, MalformedError, RefusedError
from bench.results import Measured
from bench.standing import stored_causes
from bench.taking import judge_covered
from bench.tray import NewItem
from evaluate.formulas import recompute
from storage.queries.holds import holds as all_holds
from storage.queries.result_statements import ResultFilter
from storage.queries.results import (
    CurrentResult,
    ids_changed_since,
    results_after,
    results_by_id,
    sources_of_result,
)
from storage.store import Store
from tests.fakes.filled_store import NOON_US, Answer, Filler, OpenCapture
from tests.unit.bench.acts import act, make, person, take_in

BURETTE = "burette-1"
HOUR_US = 3_600_000_000

TA: dict[str, Any] = {
    "name": "TA to pH 8.2",
    "quantity": "ta_ph_8_2",
    "formula": "ta_ph_8_2",
    "reading_quantity": "dispensed_volume",
    "aliquot_ml": 10.0,
    "titrant": "N-0925",
    "repeatability_sd": 0.04,
}


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


def standardise(store: Store, factor: float, at_us: int = NOON_US - HOUR_US) -> int:
    with store.reader() as connection:
        titrant = find(connection, Reagent, "N-0925").record_id
    about = About("standardisation", at_us, None, titrant)
    judged = judging.standardisation([0.1 * factor] * 3, 0.1, {})
    return act(store, lambda tx: control_records.enter(tx, person(), about, judged, evidence=[]))


def calibrate(store: Store, points: Sequence[tuple[float, float]], at_us: int = NOON_US - HOUR_US) -> int:
    buffers = [judging.BufferPoint(f"pH {ph:g}", ph, mv, 25.0, "test") for ph, mv in points]
    judged = judging.calibration(buffers, {})
    about = About("calibration", at_us, BURETTE)
    return act(store, lambda tx: control_records.enter(tx, person(), about, judged, evidence=[]))


def run_sample(
    store: Store,
    filler: Filler,
    burette: OpenCapture,
    volume: str,
    *,
    kind: str = "sample",
    method: str = "ta",
    sample: str | None = "CK4H7M",
) -> int:
    item = NewItem(kind, sample, "HC1" if kind == "check" else None, (method,))
    (item_id,) = act(store, lambda tx: tray.put(tx, person(), BURETTE, [item]))
    act(store, lambda tx: tray.set_on_item(tx, person(at_us=filler.at_us), BURETTE, item_id, "tap"))
    reading = filler.hear(burette, volume.encode(), [Answer("dispensed_volume", volume, "mL")])[0]
    take_in(store)
    return reading


def enter_measured(store: Store, method: Record[Method], measured: Measured) -> int:
    return act(store, lambda tx: results.make_result(tx, person(), method, measured))


def only_result(store: Store) -> CurrentResult:
    with store.reader() as connection:
        (found,) = results_after(connection, ResultFilter())
    return found


def all_results(store: Store) -> list[CurrentResult]:
    with store.reader() as connection:
        return results_after(connection, ResultFilter())


def codes(of: CurrentResult) -> set[str]:
    return {cause.code for cause in stored_causes(of.reasons)}


def test_a_titre_becomes_titratable_acidity_by_the_factor_in_force(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.002)
    run_sample(store, filler, burette, "8.46")
    found = only_result(store)
    # 8.46 mL x 0.1002 mol/L x 150.087 g/mol / 2 / 10 mL, by hand with the molar mass of tartaric acid
    assert found.value == pytest.approx(8.46 * 0.1002 * 150.087 / 2 / 10, rel=1e-5)
    assert (found.unit, found.basis, found.end_point) == ("g/L tartaric", "tartaric acid", "pH 8.2")
    assert (found.standing, found.mark) == ("good", "released")


def test_a_result_is_computed_again_from_what_is_stored_with_it(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.002)
    reading = run_sample(store, filler, burette, "8.46")
    found = only_result(store)
    formula_id, version = found.formula.split("/")
    assert recompute(formula_id, from_text(found.inputs), int(version)) == found.value
    with store.reader() as connection:
        stood_on = {
            (one.role, one.source, one.source_id) for one in sources_of_result(connection, found.result_id, 1)
        }
    assert ("reading", "reading", reading) in stood_on
    assert {role for role, _, _ in stood_on} == {"reading", "method", "titrant", "factor"}


def test_tomorrow_s_factor_does_not_move_yesterday_s_result(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.002)
    run_sample(store, filler, burette, "8.46")
    before = only_result(store).value
    standardise(store, 0.981, at_us=filler.at_us + HOUR_US)
    assert only_result(store).value == before


def test_without_a_standardisation_the_label_is_taken_and_the_result_waits(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    run_sample(store, filler, burette, "8.46")
    found = only_result(store)
    assert (found.standing, codes(found), found.mark) == ("provisional", {"titrant.unstandardised"}, None)


def test_an_expired_titrant_makes_one_look_again(store: Store, filler: Filler, burette: OpenCapture) -> None:
    make(
        store,
        "reagent",
        "I-0825",
        name="iodine",
        reagent_kind="titrant",
        nominal_mol_per_l=0.1,
        label_expiry="2025-10-01T00:00:00+00:00",
    )
    make(store, "method", "ta", **{**TA, "titrant": "I-0825"})
    run_sample(store, filler, burette, "8.46")
    found = only_result(store)
    assert found.standing == "look_again"
    assert "titrant.expired" in codes(found)


@pytest.mark.parametrize(
    ("points", "state", "standing"),
    [
        ([(4.0, 177.5), (7.0, 0.0)], State.VALID, "good"),
        ([(4.0, 150.0), (7.0, 0.0)], State.FAILED, "do_not_use"),
        (None, State.UNKNOWN, "provisional"),
    ],
)
def test_the_calibration_of_that_moment_decides(
    store: Store, filler: Filler, burette: OpenCapture, points: Any, state: State, standing: str
) -> None:
    make(store, "method", "ta", **TA, needs_calibration=True)
    standardise(store, 1.0)
    if points:
        calibrate(store, points)
    run_sample(store, filler, burette, "8.46")
    with store.reader() as connection:
        assert state_at(connection, "calibration", filler.at_us, instrument=BURETTE).state is state
    assert only_result(store).standing == standing


def test_a_calibration_is_valid_for_as_long_as_its_acceptance_says(store: Store, filler: Filler) -> None:
    make(store, "acceptance", "ph-daily", applies_to="calibration", valid_h=24)
    calibrate(store, [(4.0, 177.5), (7.0, 0.0)], at_us=NOON_US)
    with store.reader() as connection:
        states = [
            state_at(connection, "calibration", NOON_US + hours * HOUR_US, instrument=BURETTE).state
            for hours in (-1, 0, 24, 25)
        ]
    assert states == [State.UNKNOWN, State.VALID, State.VALID, State.EXPIRED]


def check_method(store: Store) -> None:
    make(store, "method", "ta", **TA, checks=["HC1"])
    make(
        store,
        "limit_set",
        "HC1-TA",
        material="HC1",
        quantity="ta_ph_8_2",
        centre=6.35,
        sd=0.05,
        centre_origin="assigned",
        sd_origin="given",
    )
    standardise(store, 1.0)


GOOD_CHECK = "8.46"  # 8.46 mL x 0.7504 g/L per mL = 6.35 g/L, the assigned value
BAD_CHECK = "8.80"  # 6.60 g/L, five deviations away


def test_samples_wait_until_the_check_has_passed(store: Store, filler: Filler, burette: OpenCapture) -> None:
    check_method(store)
    run_sample(store, filler, burette, "8.00")
    assert codes(only_result(store)) == {"check.unknown"}
    run_sample(store, filler, burette, GOOD_CHECK, kind="check", sample=None)
    run_sample(store, filler, burette, "8.10", sample="DM6R3X")
    assert [one.standing for one in all_results(store)] == ["provisional", "good"]


def test_a_failed_check_holds_what_was_measured_since_the_last_that_passed(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    check_method(store)
    run_sample(store, filler, burette, GOOD_CHECK, kind="check", sample=None)
    run_sample(store, filler, burette, "8.00")
    assert (only_result(store).standing, only_result(store).mark) == ("good", "released")
    run_sample(store, filler, burette, BAD_CHECK, kind="check", sample=None)
    held = only_result(store)
    assert (held.standing, held.mark, codes(held)) == ("do_not_use", "withdrawn", {"check.failed"})
    run_sample(store, filler, burette, GOOD_CHECK, kind="check", sample=None)
    run_sample(store, filler, burette, "8.10", sample="DM6R3X")
    assert [one.standing for one in all_results(store)] == ["do_not_use", "good"]


def test_a_hold_is_accepted_with_a_mark_that_stays(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    check_method(store)
    run_sample(store, filler, burette, GOOD_CHECK, kind="check", sample=None)
    run_sample(store, filler, burette, "8.00")
    run_sample(store, filler, burette, BAD_CHECK, kind="check", sample=None)
    with store.reader() as connection:
        (hold,) = all_holds(connection)
    with pytest.raises(MalformedError) as refused:
        act(store, lambda tx: holds.settle(tx, person("YAR"), hold.number, "accepted"))
    assert refused.value.rule == "act.reason_wanted"
    who = person("YAR", reason="the check bottle had been open for a week")
    act(store, lambda tx: holds.settle(tx, who, hold.number, "accepted"))
    about = About("check", filler.at_us, BURETTE, None, only_result(store).method_id)
    act(store, lambda tx: judge_covered(tx, who, about))
    found = only_result(store)
    assert (found.standing, codes(found)) == ("look_again", {"hold.accepted"})


def test_duplicates_too_far_apart_ask_for_more(store: Store, filler: Filler, burette: OpenCapture) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    run_sample(store, filler, burette, "8.00")
    run_sample(store, filler, burette, "8.40", kind="duplicate")
    first, second = all_results(store)
    assert second.replicate_of == first.result_id
    assert codes(first) == codes(second) == {"duplicate.apart"}
    assert first.standing == second.standing == "look_again"


def test_free_above_total_is_impossible_whichever_came_first(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    for quantity in ("free_so2", "total_so2"):
        make(store, "method", quantity, name=quantity, quantity=quantity)
    for quantity, value in (("total_so2", 30.0), ("free_so2", 40.0)):
        with store.reader() as connection:
            method = find(connection, Method, quantity)
            sample = find(connection, Sample, "CK4H7M")
        measured = Measured(value, "value", NOON_US, BURETTE, sample.record_id)
        enter_measured(store, method, measured)
    assert [codes(one) for one in all_results(store)] == [{"pair.impossible"}, {"pair.impossible"}]


def test_over_range_is_never_a_number(store: Store, filler: Filler, burette: OpenCapture) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    (item,) = act(
        store, lambda tx: tray.put(tx, person(), BURETTE, [NewItem("sample", "CK4H7M", None, ("ta",))])
    )
    act(store, lambda tx: tray.set_on_item(tx, person(), BURETTE, item, "tap"))
    filler.hear(burette, b">10", [Answer("dispensed_volume", ">10", "mL", outcome="above_range")])
    take_in(store)
    found = only_result(store)
    assert (found.value, found.value_numeral, found.outcome) == (None, None, "above_range")
    assert codes(found) == {"outcome.out_of_range"}


def test_a_reading_that_fits_two_methods_gives_no_result(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    make(store, "method", "ta-7", **{**TA, "quantity": "ta_ph_7_0", "formula": "ta_ph_7_0"})
    filler.hear(burette, b"8.46", [Answer("dispensed_volume", "8.46", "mL", sample="CK4H7M")])
    take_in(store)
    assert all_results(store) == []


def test_a_typed_value_is_given_twice_and_marked_for_ever(store: Store, filler: Filler) -> None:
    make(store, "method", "ph", name="pH", quantity="ph")
    measured = Measured(None, "value", NOON_US, "ph-meter-1", 1)
    with pytest.raises(MalformedError) as refused:
        act(store, lambda tx: results.typed(tx, person(), "ph", [3.41, 3.14], measured))
    assert refused.value.rule == "hand.not_twice"
    act(store, lambda tx: results.typed(tx, person(), "ph", [3.41, 3.41], measured))
    assert (only_result(store).hand, only_result(store).value) == (True, 3.41)


def test_a_second_person_releases_what_the_method_wants_released_so(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA, release="second_person")
    standardise(store, 1.0)
    run_sample(store, filler, burette, "8.00")
    found = only_result(store)
    assert (found.standing, found.mark) == ("good", None)
    with pytest.raises(ForbiddenError) as refused:
        act(store, lambda tx: results.release(tx, person("MAL"), found.result_id, measured_by=("MAL",)))
    assert refused.value.rule == "release.second_person"
    act(store, lambda tx: results.release(tx, person("YAR"), found.result_id, measured_by=("MAL",)))
    assert only_result(store).mark == "released"


def test_what_is_not_to_be_used_is_not_released(store: Store, filler: Filler, burette: OpenCapture) -> None:
    make(store, "method", "ta", **TA, needs_calibration=True)
    standardise(store, 1.0)
    calibrate(store, [(4.0, 150.0), (7.0, 0.0)])
    run_sample(store, filler, burette, "8.00")
    result_id = only_result(store).result_id
    with pytest.raises(RefusedError) as refused:
        act(store, lambda tx: results.release(tx, person("YAR", reason="please"), result_id))
    assert refused.value.rule == "release.do_not_use"


def test_whoever_asks_since_a_revision_hears_of_every_change(
    store: Store, filler: Filler, burette: OpenCapture
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    run_sample(store, filler, burette, "8.00")
    before = only_result(store)
    act(store, lambda tx: results.reject(tx, person("YAR", reason="spilt"), before.result_id))
    with store.reader() as connection:
        assert ids_changed_since(connection, before.revision, 10) == [before.result_id]
        (after,) = results_by_id(connection, [before.result_id])
        assert ids_changed_since(connection, after.revision, 10) == []
    assert (after.mark, after.value) == ("rejected", before.value)


def test_every_reason_has_words_and_advice_and_every_grade_is_used() -> None:
    assert all(reason.words.endswith(".") and reason.advice.endswith(".") for reason in REASONS.values())
    assert len({reason.grade for reason in REASONS.values()}) == 4
