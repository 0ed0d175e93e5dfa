"""What is due, in its order, from records alone; and that nothing of it is made up or left out."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench import results, ties, tray
from bench.due import DAY_US, DUE, DueItem, alerts_of, ranked
from bench.due_controls import in_words
from bench.due_list import Surroundings, due_list
from bench.due_work import STREAM_FROM
from bench.tray import NewItem
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.store import Store
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.unit.bench.acts import act, make, person, take_in
from tests.unit.bench.test_results import (
    BURETTE,
    HOUR_US,
    TA,
    calibrate,
    check_method,
    run_sample,
    standardise,
)

CALM = Surroundings()
ITEMS = st.builds(
    DueItem,
    code=st.sampled_from(list(DUE)),
    subject=st.sampled_from(["a", "b", "c"]),
    since_us=st.integers(0, 5),
    evidence=st.sampled_from(["x", "y"]),
)


@given(items=st.lists(ITEMS), mixed=st.randoms())
def test_the_order_depends_on_the_items_alone_and_nothing_is_left_out(
    items: list[DueItem], mixed: Any
) -> None:
    shuffled = list(items)
    mixed.shuffle(shuffled)
    assert ranked(shuffled) == ranked(items)
    assert sorted(ranked(items)) == sorted(items)


@given(items=st.lists(ITEMS))
def test_a_graver_kind_never_stands_behind_a_lighter_one(items: list[DueItem]) -> None:
    places = [list(DUE).index(one.code) for one in ranked(items)]
    assert places == sorted(places)


@given(items=st.lists(ITEMS))
def test_alerts_are_the_gravest_cause_of_each_subject_once(items: list[DueItem]) -> None:
    found = alerts_of(items)
    subjects = [one.subject for one in found]
    assert len(set(subjects)) == len(subjects)
    assert set(subjects) == {one.subject for one in items if DUE[one.code].is_alert}
    assert all(one.kind.is_alert for one in found)
    for one in found:
        same = [other for other in items if other.subject == one.subject and other.kind.is_alert]
        assert one == ranked(same)[0]


def test_every_kind_has_words_and_an_action() -> None:
    assert all(kind.words.endswith(".") and kind.action.endswith(".") for kind in DUE.values())


@pytest.mark.parametrize(
    ("span_us", "words"),
    [(0, "0 min"), (-5, "0 min"), (90 * 60_000_000, "90 min"), (3 * HOUR_US, "3 h"), (40 * DAY_US, "40 d")],
)
def test_a_span_is_told_as_people_say_it(span_us: int, words: str) -> None:
    assert in_words(span_us) == words


def due(store: Store, at_us: int = NOON_US, around: Surroundings = CALM) -> list[tuple[str, str]]:
    with store.reader() as connection:
        return [(one.code, one.subject) for one in due_list(connection, at_us, around)]


@pytest.fixture
def filler(store: Store) -> Filler:
    make(store, "reagent", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
    make(store, "reagent", "HC1", name="check wine", reagent_kind="control_material")
    for code in ("CK4H7M", "DM6R3X"):
        make(store, "sample", code)
    return Filler(store)


def test_nothing_is_due_on_an_empty_bench(store: Store) -> None:
    assert due(store) == []


def test_what_the_daemon_knows_stands_beside_what_the_store_knows(store: Store) -> None:
    around = Surroundings((("so2", "the port is gone", NOON_US),), "disk full", is_backup_due=True)
    assert due(store, around=around) == [
        ("store.not_written", "store"),
        ("line.not_open", "so2"),
        ("backup.due", "store"),
    ]


def test_a_titrant_is_to_be_standardised_before_its_first_use_and_again_in_time(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "ta", **TA)
    assert due(store) == [("standardisation.due", "N-0925")]
    standardise(store, 1.0)
    assert due(store) == []
    make(store, "acceptance", "weekly", applies_to="standardisation", valid_h=168)
    standardise(store, 1.0, at_us=NOON_US)
    assert due(store, NOON_US + 7 * DAY_US) == []
    assert due(store, NOON_US + 7 * DAY_US + 1) == [("standardisation.due", "N-0925")]


def test_a_bottle_in_use_is_told_a_week_before_it_expires_and_one_that_nothing_names_is_not(
    store: Store, filler: Filler
) -> None:
    opened = {"opened_at": "2025-10-03T12:00:00Z", "days_after_opening": 28}
    for code in ("I-0925", "unused"):
        make(store, "reagent", code, name="iodine", reagent_kind="titrant", nominal_mol_per_l=0.01, **opened)
    make(store, "method", "free", name="free", quantity="free_so2", titrant="I-0925")
    found = {
        day: [one for one in due(store, NOON_US + day * DAY_US + 1) if one[0] != "standardisation.due"]
        for day in (20, 21, 27, 28)
    }
    assert found == {
        20: [],
        21: [("titrant.expiring", "I-0925")],
        27: [("titrant.expiring", "I-0925")],
        28: [("titrant.expired", "I-0925")],
    }


def test_a_calibration_is_due_when_it_ran_out_and_told_two_hours_before(store: Store) -> None:
    make(store, "acceptance", "daily", applies_to="calibration", valid_h=24)
    make(store, "method", "ph", name="pH", quantity="ph", needs_calibration=True, instruments=[BURETTE])
    assert due(store) == [("calibration.due", BURETTE)]
    calibrate(store, [(4.0, 177.5), (7.0, 0.0)], at_us=NOON_US)
    found = {hours: due(store, NOON_US + hours * HOUR_US) for hours in (1, 21, 23, 25)}
    assert found == {
        1: [],
        21: [],
        23: [("calibration.soon", BURETTE)],
        25: [("calibration.due", BURETTE)],
    }


def test_a_failed_calibration_goes_before_everything_that_only_ran_out(store: Store) -> None:
    make(store, "method", "ph", name="pH", quantity="ph", needs_calibration=True, instruments=[BURETTE])
    calibrate(store, [(4.0, 150.0), (7.0, 0.0)])
    assert [code for code, _ in due(store)] == ["hold.open", "calibration.failed"]


def test_a_verification_is_wanted_where_the_method_wants_one(store: Store) -> None:
    make(store, "method", "ph", name="pH", quantity="ph", needs_verification=True, instruments=[BURETTE])
    assert due(store) == [("verification.due", BURETTE)]


def test_checks_cover_for_as_long_as_the_method_says(store: Store, filler: Filler) -> None:
    check_method(store)
    burette = filler.open("burette", BURETTE)
    run_sample(store, filler, burette, "8.46", kind="check", sample=None)
    fields = {**TA, "checks": ["HC1"], "check_every_h": 8}
    make(store, "method", "ta-2", **{**fields, "quantity": "ta_ph_7_0", "formula": "ta_ph_7_0"})
    subject = f"HC1 at {BURETTE}"
    found = {hours: due(store, NOON_US + hours * HOUR_US) for hours in (1, 7, 9)}
    assert found == {1: [], 7: [("check.soon", subject)], 9: [("check.due", subject)]}


def test_places_that_wait_are_told_by_instrument_until_they_are_measured(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    item = NewItem("sample", "CK4H7M", None, ("ta",))
    act(store, lambda tx: tray.put(tx, person(), BURETTE, [item, item]))
    with store.reader() as connection:
        (waiting,) = due_list(connection, NOON_US, CALM)
    assert (waiting.code, waiting.evidence) == ("sample.waiting", f"2 places wait at {BURETTE}")


def test_readings_that_a_method_would_take_are_told_until_they_are_tied_or_untied_on_purpose(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "ta", **TA)
    standardise(store, 1.0)
    burette = filler.open("burette", BURETTE)
    one, other = (
        filler.hear(burette, b"x", [Answer("dispensed_volume", v, "mL")])[0] for v in ("8.4", "8.5")
    )
    take_in(store)
    untied = ("reading.untied", f"{BURETTE} dispensed_volume")
    assert due(store) == [untied]
    act(store, lambda tx: ties.tie(tx, person(), [one], "CK4H7M"))
    assert due(store) == [untied]
    act(store, lambda tx: ties.untie(tx, person(reason="a rinse"), [other]))
    assert untied not in due(store)
    assert untied not in due(store, NOON_US + 3 * DAY_US)


def test_a_stream_is_not_told_as_untied(store: Store, filler: Filler) -> None:
    make(store, "method", "ph", name="pH", quantity="ph")
    meter = filler.open("ph", "ph-meter-1")
    for _ in range(STREAM_FROM + 5):
        filler.hear(meter, b"x", [Answer("ph", "3.41", "pH")])
    assert due(store) == []


def test_a_message_that_was_sent_again_is_not_told_as_untied(store: Store, filler: Filler) -> None:
    make(store, "method", "free", name="free", quantity="free_so2")
    burette = filler.open("burette", BURETTE)
    answer = Answer("free_so2", "28.4", "mg/L", sample="CK4H7M", sequence="7")
    for _ in range(2):
        filler.hear(burette, b"x", [answer])
    take_in(store)
    assert due(store) == []


def test_a_number_that_is_not_fit_asks_for_another_until_it_is_replaced_or_rejected(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "ta", **TA, plausible_high=7.0)
    standardise(store, 1.0)
    burette = filler.open("burette", BURETTE)
    run_sample(store, filler, burette, "9.90")
    run_sample(store, filler, burette, "9.95", sample="DM6R3X")
    with store.reader() as connection:
        retests = [one for one in due_list(connection, NOON_US, CALM) if one.code == "result.retest"]
    assert [one.evidence.split(",")[0] for one in retests] == ["ta of CK4H7M", "ta of DM6R3X"]
    run_sample(store, filler, burette, "8.40")
    assert [code for code, _ in due(store)] == ["result.retest"]
    left = int(due(store)[0][1].split()[1])
    act(store, lambda tx: results.reject(tx, person("YAR", reason="spilt"), left))
    assert due(store) == []


def test_what_is_worked_out_from_other_numbers_asks_for_no_measurement_of_its_own(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "free", name="free", quantity="free_so2", plausible_high=20.0)
    make(store, "method", "ph", name="pH", quantity="ph")
    fields = {"name": "molecular", "quantity": "molecular_so2", "formula": "molecular_so2"}
    make(store, "method", "mol", **fields, constant_set="single-1.81")
    both = [Answer("ph", "3.4", "pH", sample="CK4H7M"), Answer("free_so2", "28.0", "mg/L", sample="CK4H7M")]
    filler.hear(filler.open("burette", BURETTE), b"x", both)
    take_in(store)
    with store.reader() as connection:
        found = [one.evidence for one in due_list(connection, NOON_US, CALM) if one.code == "result.retest"]
    assert [one.split(",")[0] for one in found] == ["free of CK4H7M"]


def test_good_results_wait_for_a_second_person_where_the_method_wants_one(
    store: Store, filler: Filler
) -> None:
    make(store, "method", "ta", **TA, release="second_person")
    standardise(store, 1.0)
    run_sample(store, filler, filler.open("burette", BURETTE), "8.40")
    assert due(store) == [("result.review", "ta")]
    with store.reader() as connection:
        (of,) = results_after(connection, ResultFilter())
    act(store, lambda tx: results.release(tx, person("YAR"), of.result_id, measured_by=("MAL",)))
    assert due(store) == []


def test_a_finished_wine_with_a_band_is_measured_every_month(store: Store, filler: Filler) -> None:
    make(store, "lot", "24-ME-02", name="Merlot", is_dry=True, malolactic="done", molecular_low_mg_l=0.5)
    make(store, "lot", "25-PN-01", name="Pinot", is_dry=True, malolactic="under_way", molecular_low_mg_l=0.5)
    make(store, "lot", "25-TP-01", name="no band", is_dry=True, malolactic="done")
    assert due(store, NOON_US + 29 * DAY_US) == []
    assert due(store, NOON_US + 31 * DAY_US) == [("lot.unmeasured", "24-ME-02")]
