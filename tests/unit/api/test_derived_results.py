"""Results that are worked out from others: made with them, as good as the worst of them, moved with them."""

from collections.abc import Iterator
from typing import Any

import pytest

from evaluate.formulas import recompute
from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, SECOND, enter_wine, measure, newest, reason_codes

MORNING = "2025-10-03T08:00:00Z"
NEXT_HOUR = "2025-10-03T09:00:00Z"
DAY_BEFORE = "2025-10-02T09:00:00Z"
WEEK_BEFORE = "2025-09-26T09:00:00Z"
SO2_G_PER_MOL = 32.06 + 2 * 15.999
"""Abridged standard atomic weights, IUPAC 2021. [g/mol]"""
SO2_MG_PER_ML = 0.01 * SO2_G_PER_MOL / 50 * 1000
"""What a millilitre of the iodine finds in the aliquot for free SO2: mol/L, g/mol, mL. [mg/L per mL]"""


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def halve_the_iodine(rest: Rest, factor: float = 0.5) -> Any:
    window = {"begin": "2025-10-03T00:00:00Z", "end": "2025-10-03T23:00:00Z"}
    factors = [{"at": "2025-10-01T00:00:00Z", "factor": factor}]
    return {**window, "titrant": "I-0925", "factors": factors}


def test_molecular_so2_follows_free_and_ph_of_the_sample(rest: Rest) -> None:
    enter_wine(rest)
    free = measure(rest, "free", 2.5, MORNING)
    ph = measure(rest, "ph", 3.4, NEXT_HOUR)
    found = newest(rest, "molecular_so2")
    # undissociated share by mass action with pK 1.81, as in Enology Briefs 1, University of California, 1982
    assert found["value"] == pytest.approx(2.5 * SO2_MG_PER_ML / (1 + 10 ** (3.4 - 1.81)), rel=1e-6)
    assert (found["basis"], found["rounded"], found["standing"]) == ("single-1.81", "0.80", "good")
    assert [(part["result"], part["hours_apart"]) for part in found["parts"]] == [(free, 0.0), (ph, 1.0)]


def test_the_value_is_computed_again_from_what_is_stored_to_the_same_double(rest: Rest) -> None:
    enter_wine(rest, "oiv-as323-04c")
    measure(rest, "ph", 3.48, MORNING)
    measure(rest, "free", 2.51, NEXT_HOUR)
    measure(rest, "total", 4.4, NEXT_HOUR)
    for quantity in ("molecular_so2", "combined_so2"):
        found = newest(rest, quantity)
        formula_id, version = found["formula"].split("/")
        assert recompute(formula_id, found["inputs"], int(version)) == found["value"]


def test_the_constants_and_their_conditions_stand_with_the_value(rest: Rest) -> None:
    enter_wine(rest, "oiv-as323-04c")
    measure(rest, "ph", 3.48, MORNING)
    measure(rest, "free", 2.5, MORNING)
    assert newest(rest, "molecular_so2")["basis"] == "oiv-as323-04c, 13.2 % vol, 20 °C"


def test_without_the_alcohol_that_the_set_needs_there_is_no_number(rest: Rest) -> None:
    enter_wine(rest, "oiv-as323-04c", alcohol_percent_vol=None)
    measure(rest, "ph", 3.48, MORNING)
    measure(rest, "free", 2.5, MORNING)
    found = newest(rest, "molecular_so2")
    assert (found["value"], found["outcome"], found["standing"]) == (None, "no_value", "do_not_use")
    assert "formula.refused" in reason_codes(found)


def test_a_method_names_a_set_that_is_known(rest: Rest) -> None:
    fields = {"name": "molecular", "quantity": "molecular_so2", "formula": "molecular_so2"}
    for chosen in ({}, {"constant_set": "single-1.82"}):
        body = {"code": "m", "fields": {**fields, **chosen}}
        assert rest.refused("/methods", body) == (422, "record.body_malformed")


def test_the_ph_of_an_earlier_sample_of_the_lot_is_taken_and_told(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.48, DAY_BEFORE, SECOND)
    measure(rest, "free", 2.5, NEXT_HOUR)
    found = newest(rest, "molecular_so2")
    assert (found["standing"], reason_codes(found)) == ("good", {"input.of_lot"})
    assert found["parts"][1]["sample"] == SECOND
    assert found["parts"][1]["hours_apart"] == 24.0


def test_a_stale_ph_makes_the_value_wait_and_says_how_old_it_is(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.48, WEEK_BEFORE, SECOND)
    measure(rest, "free", 2.5, NEXT_HOUR)
    found = newest(rest, "molecular_so2")
    assert (found["standing"], found["released"]) == ("provisional", False)
    assert reason_codes(found) == {"input.of_lot", "input.old"}
    assert "7.0 d apart, 3.0 d is allowed" in found["reasons"][-1]["evidence"]


def test_without_any_ph_there_is_no_number_and_a_reason(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 2.5, MORNING)
    found = newest(rest, "molecular_so2")
    assert (found["value"], found["standing"]) == (None, "do_not_use")
    assert "input.missing" in reason_codes(found)


def test_a_ph_that_is_measured_later_takes_the_place_of_the_old_one(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.6, DAY_BEFORE, SECOND)
    measure(rest, "free", 2.5, MORNING)
    measure(rest, "ph", 3.4, NEXT_HOUR)
    old, new = rest.get("/results", quantity="molecular_so2")["items"]
    assert (old["standing"], "result.replaced" in reason_codes(old)) == ("do_not_use", True)
    assert (new["standing"], new["inputs"]["ph"]) == ("good", 3.4)


def test_a_ph_that_comes_after_the_free_so2_of_another_sample_is_not_taken_for_it(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 2.5, MORNING)
    measure(rest, "ph", 3.4, NEXT_HOUR, SECOND)
    assert [one["value"] for one in rest.get("/results", quantity="molecular_so2")["items"]] == [None]


def test_a_ph_that_was_measured_before_and_entered_after_is_taken_for_the_lot(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 2.5, NEXT_HOUR)
    measure(rest, "ph", 3.4, MORNING, SECOND)
    found = rest.get("/results", quantity="molecular_so2")["items"]
    assert [one["value"] is None for one in found] == [True, False]
    assert [one["standing"] for one in found] == ["do_not_use", "good"]


def test_combined_so2_is_total_less_free_of_one_sample(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "total", 4.4, MORNING)
    assert rest.get("/results", quantity="combined_so2")["items"] == []
    measure(rest, "free", 2.5, MORNING)
    found = newest(rest, "combined_so2")
    assert found["value"] == pytest.approx(
        4.4 * 0.01 * SO2_G_PER_MOL / 20 * 1000 - 2.5 * SO2_MG_PER_ML, rel=1e-6
    )
    assert found["uncertainty"] > 0


def test_a_derived_result_releases_itself_once_its_parts_are_good(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.4, MORNING)
    measure(rest, "free", 2.5, MORNING)
    assert newest(rest, "molecular_so2")["released"] is True


def test_a_result_is_as_good_as_the_worst_it_stands_on(rest: Rest) -> None:
    enter_wine(rest)
    ph = measure(rest, "ph", 3.4, MORNING)
    measure(rest, "free", 2.5, MORNING)
    rest.post("/rejections", {"results": [ph], "reason": "the probe stood dry"}, "YAR")
    found = newest(rest, "molecular_so2")
    assert (found["standing"], found["released"]) == ("do_not_use", False)
    assert "input.do_not_use" in reason_codes(found)


def test_an_expired_titrant_makes_one_look_again_at_what_stands_on_it(rest: Rest) -> None:
    enter_wine(rest)
    expired = {
        "name": "iodine",
        "reagent_kind": "titrant",
        "nominal_mol_per_l": 0.01,
        "label_expiry": "2025-10-01T00:00:00Z",
    }
    rest.put("/reagents/I-0925", {"version": 1, "fields": expired, "valid_from": "2025-10-02T13:00:00Z"})
    measure(rest, "ph", 3.4, MORNING)
    measure(rest, "free", 2.5, MORNING)
    found = newest(rest, "molecular_so2")
    assert (found["standing"], reason_codes(found)) == ("look_again", {"input.not_good"})


def test_an_amendment_of_a_part_moves_what_stands_on_it_and_is_taken_back_whole(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.4, MORNING)
    free = measure(rest, "free", 2.5, MORNING)
    before = newest(rest, "molecular_so2")
    what = halve_the_iodine(rest)
    preview = rest.post("/what-if", what)["items"]
    assert [one["result"] for one in preview] == [free, before["id"]]
    made = rest.post("/amendments", {**what, "reason": "the bottle was diluted twice"}, "YAR")
    after = newest(rest, "molecular_so2")
    assert made["results"] == [free, before["id"]]
    assert after["value"] == pytest.approx(before["value"] / 2, rel=1e-12)
    assert after["uncertainty"] == pytest.approx(before["uncertainty"] / 2, rel=1e-9)
    rest.post(f"/amendments/{made['id']}/undo", {"reason": "it was not"}, "YAR")
    back = newest(rest, "molecular_so2")
    assert (back["value"], back["inputs"]) == (before["value"], before["inputs"])


def test_what_was_made_on_an_amended_part_follows_when_the_amendment_is_taken_back(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 2.5, MORNING)
    made = rest.post("/amendments", {**halve_the_iodine(rest), "reason": "diluted"}, "YAR")
    measure(rest, "ph", 3.4, MORNING)
    halved = newest(rest, "molecular_so2")
    rest.post(f"/amendments/{made['id']}/undo", {"reason": "it was not"}, "YAR")
    found = newest(rest, "molecular_so2")
    assert found["value"] == pytest.approx(2 * halved["value"], rel=1e-12)
    assert found["amendment"] is not None


def test_each_sample_has_its_own_molecular_value(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "ph", 3.4, MORNING)
    measure(rest, "free", 2.5, MORNING)
    measure(rest, "free", 2.5, MORNING, SECOND)
    found = rest.get("/results", quantity="molecular_so2", lot=LOT)["items"]
    assert [one["sample"] for one in found] == [FIRST, SECOND]
