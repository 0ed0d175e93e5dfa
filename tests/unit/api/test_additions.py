"""An addition from its plan to what was found after it, and what is asked or refused on the way."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, SECOND, enter_wine, measure
from tests.unit.bench.acts import take_in

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
MG_PER_ML_FREE = 0.01 * (32.06 + 2 * 15.999) / 50 * 1000  # [mg/L per mL]
MG_PER_ML_TOTAL = 0.01 * (32.06 + 2 * 15.999) / 20 * 1000  # [mg/L per mL]
SALT = {
    "name": "potassium metabisulfite",
    "reagent_kind": "substance",
    "strength": 0.576,
    "lot_number": "K-7",
}
DOSE = {"lot": LOT, "substance": "KMBS", "dose_mg_l": 50}


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def enter(rest: Rest, free: float = 10.0, total: float = 40.0, **lot: Any) -> None:
    """Enter a lot of 4600 L in which free, total and pH were measured this morning. [mg/L]"""
    enter_wine(rest, **{"volume_l": 4600.0, "jurisdiction": "EU", "colour": "white", "sugar_g_l": 1.0, **lot})
    rest.record("reagents", "KMBS", **SALT)
    measure(rest, "free", free / MG_PER_ML_FREE, "2025-10-03T08:00:00Z")
    measure(rest, "total", total / MG_PER_ML_TOTAL, "2025-10-03T08:00:00Z")
    measure(rest, "ph", 3.12, "2025-10-03T08:00:00Z")


def plan(rest: Rest, **fields: Any) -> int:
    made: int = rest.post("/additions", {**DOSE, **fields})["id"]
    return made


def weigh(rest: Rest, number: int, mass_g: float) -> None:
    rest.post(f"/additions/{number}/weighings", {"mass_g": mass_g, "again_g": mass_g})


def add(rest: Rest, mass_g: float, **fields: Any) -> int:
    number = plan(rest, **fields)
    weigh(rest, number, mass_g)
    rest.post(
        f"/additions/{number}/done", {"reason": fields.get("reason"), "confirmed": "confirmed" in fields}
    )
    return number


def balance_shows(rest: Rest, store: Store, text: str, unit: str = "g", **answer: Any) -> int:
    filler = Filler(store, at_us=rest.now_us)
    line = filler.open("balance", "bal-1")
    (reading,) = filler.hear(line, text.encode(), [Answer("mass", text, unit, **answer)])
    take_in(store)
    rest.wait_until(rest.now_us + HOUR_US)
    return reading


def test_the_mass_follows_from_dose_volume_and_strength(rest: Rest) -> None:
    enter(rest)
    found = rest.get(f"/additions/{plan(rest)}")
    # 50 mg/L x 4600 L / (1000 x 0.576) = 399.3 g, as the trade works it out
    assert found["plan"]["salt_g"] == 399.3
    assert (found["state"], found["lot"], found["substance"], found["actor"]) == (
        "planned",
        LOT,
        "KMBS",
        "MAL",
    )
    # 10 + 50 x 2/3 with one third binding; the total takes all of it
    assert found["plan"]["free_mg_l"] == pytest.approx(10 + 50 * 2 / 3, rel=1e-3)
    assert found["plan"]["total_mg_l"] == pytest.approx(90, rel=1e-3)
    assert found["plan"]["molecular"]["constants"] == "single-1.81"
    assert found["retest"] is None


def test_a_target_is_turned_into_a_dose(rest: Rest) -> None:
    enter(rest)
    found = rest.get(f"/additions/{plan(rest, dose_mg_l=None, target_free_mg_l=30)}")
    # guild advice: add 30 to go from 10 to 30
    assert found["plan"]["added_mg_l"] == pytest.approx(30, rel=1e-3)


def test_a_weighed_mass_is_tied_from_the_balance(rest: Rest, store: Store) -> None:
    enter(rest)
    number = plan(rest)
    reading = balance_shows(rest, store, "400.1", stable=True)
    rest.post(f"/additions/{number}/weighings", {"reading": reading})
    found = rest.get(f"/additions/{number}")
    (step,) = found["steps"]
    assert (found["state"], step["mass_g"], step["reading"]) == ("weighed", 400.1, reading)
    assert step["details"]["difference_g"] == pytest.approx(0.8)
    assert (step["details"]["off_plan"], step["details"]["hand"]) == (False, False)


def test_a_mass_far_from_the_plan_is_marked(rest: Rest, store: Store) -> None:
    enter(rest)
    number = plan(rest)
    reading = balance_shows(rest, store, "0.3800", "kg", stable=True)
    rest.post(f"/additions/{number}/weighings", {"reading": reading})
    (step,) = rest.get(f"/additions/{number}")["steps"]
    assert (step["mass_g"], step["details"]["off_plan"]) == (380.0, True)


@pytest.mark.parametrize(
    ("text", "answer", "rule"),
    [
        ("399.1", {"stable": False}, "addition.no_mass"),
        ("----", {"outcome": "no_value"}, "addition.no_mass"),
        ("-1.0", {"stable": True}, "addition.no_mass"),
    ],
)
def test_what_is_no_mass_is_refused(
    rest: Rest, store: Store, text: str, answer: dict[str, Any], rule: str
) -> None:
    enter(rest)
    number = plan(rest)
    reading = balance_shows(rest, store, text, **answer)
    assert rest.refused(f"/additions/{number}/weighings", {"reading": reading}) == (422, rule)
    assert rest.get(f"/additions/{number}")["steps"] == []


def test_a_mass_that_was_weighed_before_the_plan_is_refused(rest: Rest, store: Store) -> None:
    enter(rest)
    early = balance_shows(rest, store, "399.3", stable=True)
    number = plan(rest)
    assert rest.refused(f"/additions/{number}/weighings", {"reading": early}) == (422, "addition.no_mass")


def test_one_weighing_stands_for_one_addition(rest: Rest, store: Store) -> None:
    enter(rest)
    first = plan(rest)
    second = plan(rest, confirmed=True, reason="two tanks")
    reading = balance_shows(rest, store, "399.3", stable=True)
    rest.post(f"/additions/{first}/weighings", {"reading": reading})
    answer = rest.refused(f"/additions/{second}/weighings", {"reading": reading})
    assert answer == (409, "addition.reading_taken")


def test_a_typed_mass_is_given_twice_and_marked(rest: Rest) -> None:
    enter(rest)
    number = plan(rest)
    path = f"/additions/{number}/weighings"
    assert rest.refused(path, {"mass_g": 399.3, "again_g": 393.9}) == (422, "hand.not_twice")
    assert rest.refused(path, {"mass_g": 399.3}) == (422, "hand.not_twice")
    weigh(rest, number, 399.3)
    assert rest.get(f"/additions/{number}")["steps"][0]["details"]["hand"] is True


def test_once_done_a_retest_is_due_between_two_days(rest: Rest) -> None:
    enter(rest)
    number = add(rest, 399.3)
    found = rest.get(f"/additions/{number}")
    assert found["state"] == "done"
    assert found["retest"] == {
        "not_before": "2025-10-08T12:05:00.000000Z",
        "by": "2025-10-11T12:05:00.000000Z",
        "state": "settling",
        "result": None,
    }
    states = []
    for days in (4, 6, 9):
        rest.wait_until(rest.now_us + days * DAY_US)
        states.append(rest.get(f"/additions/{number}")["retest"]["state"])
        rest.wait_until(rest.now_us - days * DAY_US)
    assert states == ["settling", "due", "overdue"]


def test_what_was_found_after_it_settled_teaches_the_binding_of_the_lot(rest: Rest) -> None:
    enter(rest)
    number = add(rest, 399.3)
    start = rest.now_us
    rest.wait_until(start + 1 * DAY_US)
    measure(rest, "free", 50 / MG_PER_ML_FREE, "2025-10-04T08:00:00Z")
    assert rest.get(f"/additions/{number}")["found"] is None
    rest.wait_until(start + 7 * DAY_US)
    settled = measure(rest, "free", 35 / MG_PER_ML_FREE, "2025-10-10T08:00:00Z", SECOND)
    found = rest.get(f"/additions/{number}")
    assert found["retest"]["state"] == "measured"
    assert (found["found"]["result"], found["found"]["as_expected"]) == (settled, True)
    # of 50 mg/L added 25 were found again
    assert found["found"]["bound_share"] == pytest.approx(0.5, abs=0.001)
    learned = rest.get(f"/lots/{LOT}/binding")
    assert learned["binding"]["share"] == pytest.approx(0.5, abs=0.001)
    assert (learned["binding"]["additions"], len(learned["found"])) == (1, 1)
    measure(rest, "total", 90 / MG_PER_ML_TOTAL, "2025-10-10T08:00:00Z", SECOND)
    dose = rest.get(f"/lots/{LOT}/dose", mg_l=10)
    assert dose["free_mg_l"] == pytest.approx(40, abs=0.05)


def test_the_same_dose_within_hours_asks_first(rest: Rest) -> None:
    enter(rest)
    add(rest, 399.3)
    rest.wait_until(rest.now_us + 9 * 60_000_000)
    assert rest.refused("/additions", DOSE) == (409, "addition.repeated")
    # to confirm wants a reason, too
    assert rest.refused("/additions", {**DOSE, "confirmed": True}) == (409, "addition.repeated")
    assert len(rest.get("/additions", lot=LOT)["items"]) == 1
    plan(rest, confirmed=True, reason="half of it went into the other tank")
    assert len(rest.get("/additions", lot=LOT)["items"]) == 2


def test_who_asks_again_is_told_who_did_the_first(rest: Rest) -> None:
    enter(rest)
    first = plan(rest)
    weigh(rest, first, 399.3)
    rest.send("POST", f"/additions/{first}/done", {}, who="IDA")
    answer = rest.send("POST", "/additions", DOSE)
    assert "was done by IDA" in answer.json()["detail"]


def test_days_later_nobody_is_asked(rest: Rest) -> None:
    enter(rest)
    add(rest, 399.3)
    rest.wait_until(rest.now_us + 2 * DAY_US)
    plan(rest)


def test_two_that_were_planned_are_asked_about_when_the_second_goes_in(rest: Rest) -> None:
    enter(rest)
    first = plan(rest)
    second = plan(rest, confirmed=True, reason="two tanks")
    for number in (first, second):
        weigh(rest, number, 399.3)
    rest.post(f"/additions/{first}/done", {})
    assert rest.refused(f"/additions/{second}/done", {}) == (409, "addition.repeated")
    rest.post(f"/additions/{second}/done", {"confirmed": True, "reason": "two tanks"})


def test_a_cancelled_one_is_not_asked_about_and_wants_a_reason(rest: Rest) -> None:
    enter(rest)
    first = plan(rest)
    assert rest.refused(f"/additions/{first}/cancel", {}) == (422, "act.reason_wanted")
    rest.post(f"/additions/{first}/cancel", {"reason": "wrong lot"})
    plan(rest)
    assert rest.refused(f"/additions/{first}/done", {}) == (409, "addition.settled")


def test_a_plan_never_passes_the_legal_total(rest: Rest) -> None:
    enter(rest, free=25.5, total=174.7)
    assert rest.refused("/additions", {**DOSE, "dose_mg_l": 28}) == (409, "addition.over_limit")
    found = rest.get(f"/additions/{plan(rest, dose_mg_l=22)}")
    assert found["plan"]["legal"]["verdict"] == "cannot tell: use the reference method"
    assert "use the reference method" in found["plan"]["legal"]["statement"]


def test_a_mass_that_would_pass_the_legal_total_is_refused_at_the_balance(rest: Rest) -> None:
    enter(rest, free=25.5, total=174.7)
    number = plan(rest, dose_mg_l=18)
    body = {"mass_g": 230.0, "again_g": 230.0}  # 28.8 mg/L
    assert rest.refused(f"/additions/{number}/weighings", body) == (409, "addition.over_limit")


def test_a_limit_of_ones_own_wants_a_reason(rest: Rest) -> None:
    enter(rest, jurisdiction="")
    assert rest.refused("/additions", DOSE) == (409, "lot.no_limit")
    assert rest.refused("/additions", {**DOSE, "limit_mg_l": 200}) == (422, "act.reason_wanted")
    found = rest.get(f"/additions/{plan(rest, limit_mg_l=200, reason='contract of the buyer')}")
    assert found["plan"]["legal"]["by"] == "given by the person who planned it"


@pytest.mark.parametrize(
    ("fields", "status", "rule"),
    [
        ({"lot": "nowhere"}, 404, "record.unknown"),
        ({"substance": "nothing"}, 404, "record.unknown"),
        ({"substance": "I-0925"}, 409, "addition.no_strength"),
        ({"volume_l": 0}, 422, "addition.volume"),
        ({"volume_l": -1}, 422, "addition.volume"),
        ({"dose_mg_l": None}, 422, "addition.what_for"),
        ({"target_free_mg_l": 30}, 422, "addition.what_for"),
        ({"dose_mg_l": None, "target_free_mg_l": 5}, 409, "addition.cannot_be_planned"),
        ({"vessel": "T99"}, 404, "record.unknown"),
    ],
)
def test_what_cannot_be_planned_is_refused_and_nothing_is_written(
    rest: Rest, fields: dict[str, Any], status: int, rule: str
) -> None:
    enter(rest)
    before = rest.get("/results")["head"]
    assert rest.refused("/additions", {**DOSE, **fields}) == (status, rule)
    assert rest.get("/results")["head"] == before


@pytest.mark.parametrize(
    ("path", "body", "status", "rule"),
    [
        ("/additions/999/weighings", {"reading": 1}, 404, "addition.unknown"),
        ("/additions/{number}/weighings", {"reading": 999}, 404, "reading.unknown"),
        ("/additions/{number}/done", {}, 409, "addition.not_weighed"),
    ],
)
def test_steps_come_in_their_order(
    rest: Rest, path: str, body: dict[str, Any], status: int, rule: str
) -> None:
    enter(rest)
    number = plan(rest)
    assert rest.refused(path.format(number=number), body) == (status, rule)


def test_nothing_goes_in_in_the_future_or_is_looked_at_before_it_settles(rest: Rest) -> None:
    enter(rest)
    number = plan(rest)
    weigh(rest, number, 399.3)
    path = f"/additions/{number}/done"
    assert rest.refused(path, {"at": "2025-10-04T00:00:00Z"}) == (422, "act.future")
    assert rest.refused(path, {"not_before_d": 6, "by_d": 5}) == (422, "addition.settles")


def test_an_expired_substance_and_a_stale_value_are_told_on_the_plan(rest: Rest) -> None:
    enter(rest)
    rest.record("reagents", "OLD", **{**SALT, "label_expiry": "2025-09-01T00:00:00Z"})
    rest.wait_until(rest.now_us + 9 * DAY_US)
    found = rest.get(f"/additions/{plan(rest, substance='OLD')}")
    assert {flag["code"] for flag in found["flags"]} == {"reagent.expired", "input.old"}


def test_the_water_of_additions_is_summed_against_what_is_allowed(rest: Rest) -> None:
    enter(rest)
    first = add(rest, 399.3, water_ml=40_000)
    found = rest.get(f"/lots/{LOT}/water")
    # 27 CFR 24.246(a)(2): 1 % of 4600 L is 46 L
    assert (found["water_l"], found["left_l"], found["within"]) == (40.0, 6.0, True)
    assert found["additions"] == [first]
    rest.wait_until(rest.now_us + 2 * DAY_US)
    add(rest, 399.3, water_ml=10_000)
    assert rest.get(f"/lots/{LOT}/water")["within"] is False


def test_a_tally_wants_the_volume_of_the_lot(rest: Rest) -> None:
    enter(rest, volume_l=None)
    answer = rest.request("GET", f"/api/v1/lots/{LOT}/water")
    assert (answer.status_code, answer.json()["rule"]) == (422, "addition.volume")


@pytest.mark.parametrize("form", ["", ".txt"])
def test_the_card_says_what_to_weigh_what_to_expect_and_what_to_mind(rest: Rest, form: str) -> None:
    enter(rest, colour="red")
    number = plan(rest)
    card = re.sub(r"\s+", " ", rest.page(f"/additions/{number}/card{form}"))
    for words in (
        "399.3 g",
        "4600 L",
        "KMBS potassium metabisulfite, lot K-7; 0.576 of it is SO2",
        "against a limit of 150 mg/L",
        "single-1.81",
        "eye protection and gloves",
        "asthma",
        "one with a licence",
        "regulations of your own place",
        "initials",
        "DEMO DATA",
        "pigment-bound",
    ):
        assert words in card


def test_a_card_of_what_is_not_there_is_not_found(rest: Rest) -> None:
    for form in ("", ".txt"):
        assert rest.request("GET", f"/additions/999/card{form}").status_code == 404


def test_names_on_the_card_are_text_and_nothing_else(rest: Rest) -> None:
    enter(rest, name="<script>alert(1)</script>")
    assert "<script>alert" not in rest.page(f"/additions/{plan(rest)}/card")


def test_a_weighed_and_done_addition_prints_what_became_of_it(rest: Rest) -> None:
    enter(rest)
    number = add(rest, 380.0)
    card = rest.page(f"/additions/{number}/card.txt")
    assert "380 g, typed, by MAL, MORE THAN 2 % OFF THE PLAN" in re.sub(r"\s+", " ", card)
    assert "not before 2025-10-08, by 2025-10-11" in card


def test_the_same_addition_sent_twice_with_its_key_is_planned_once(rest: Rest) -> None:
    enter(rest)
    answers = [rest.send("POST", "/additions", DOSE, **{"Idempotency-Key": "plan-0001"}) for _ in range(2)]
    assert [one.json() for one in answers] == [answers[0].json()] * 2
    assert len(rest.get("/additions")["items"]) == 1


def test_a_forecast_begins_after_the_last_addition_had_settled(rest: Rest) -> None:
    enter(rest)
    add(rest, 399.3)
    start = rest.now_us
    rest.wait_until(start + 40 * DAY_US)
    for day, value in ((9, 33.0), (16, 31.1), (23, 28.9), (30, 27.0)):
        at = f"2025-10-{3 + day:02d}T08:00:00Z" if day < 28 else "2025-11-02T08:00:00Z"
        measure(rest, "free", value / MG_PER_ML_FREE, at, FIRST)
    found = rest.get(f"/lots/{LOT}/forecast", quantity="free_so2", level=20)
    assert found["since"] == "2025-10-08T12:05:00.000000Z"
    assert len(found["points"]) == 4


def test_a_dose_goes_by_the_volume_that_movements_left_and_says_so(rest: Rest) -> None:
    enter(rest)
    taken = {"kind": "loss", "to_lot": LOT, "parts": [{"lot": LOT, "volume_l": 600.0}]}
    rest.post("/movements", {**taken, "at": "2025-10-03T09:00:00Z"})
    made = rest.get(f"/additions/{plan(rest)}")
    # 50 mg/L in 4000 L with 0.576
    assert made["plan"]["salt_g"] == pytest.approx(347.2, abs=0.05)
    assert made["plan"]["volume_by"].endswith("since then 0 L in and 600 L out by one movement")
    assert "4000 L, as it is, without the ullage; 4600 L entered by MAL" in re.sub(
        r"\s+", " ", rest.page(f"/additions/{made['number']}/card.txt")
    )


def test_without_any_wine_left_a_dose_asks_for_the_volume(rest: Rest) -> None:
    enter(rest)
    taken = {"kind": "loss", "to_lot": LOT, "parts": [{"lot": LOT, "volume_l": 4600.0}]}
    rest.post("/movements", {**taken, "at": "2025-10-03T09:00:00Z"})
    assert rest.refused("/additions", DOSE) == (422, "addition.volume")
