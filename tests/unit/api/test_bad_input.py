"""What people get wrong at the bench: each is refused or flagged with its code, nothing is half written."""

from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.rest import Rest, enter_acidity, rest_on, typed
from tests.fakes.wine_over_rest import reason_codes
from tests.unit.bench.acts import take_in

NOW = "2025-10-03T11:30:00Z"
TOMORROW = "2025-10-04T11:30:00Z"
BURETTE = "burette-1"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_acidity(rest)
        yield rest


def result(**fields: Any) -> dict[str, Any]:
    return {"method": "ta", "sample": "CK4H7M", "value": 8.4, "again": 8.4, "at": NOW, **fields}


WHAT_IF = {"begin": "2025-10-03T00:00:00Z", "end": "2025-10-03T23:00:00Z", "method": "ta"}
MOVED = {"kind": "blend", "to_lot": "25-RI-01", "at": NOW}


@pytest.mark.parametrize(
    ("path", "body", "status", "rule"),
    [
        pytest.param("/results", result(sample="CK4H7N"), 404, "record.unknown", id="unknown sample"),
        pytest.param("/results", result(method="tb"), 404, "record.unknown", id="unknown method"),
        pytest.param("/results", result(at=TOMORROW), 422, "control.future", id="result of tomorrow"),
        pytest.param("/results", result(again=4.8), 422, "hand.not_twice", id="digits swapped"),
        pytest.param("/what-if", {**WHAT_IF, "sample_ml": 0}, 422, "amendment.aliquot", id="aliquot of zero"),
        pytest.param("/what-if", {**WHAT_IF, "sample_ml": -1}, 422, "amendment.aliquot", id="aliquot below"),
        pytest.param(
            "/methods",
            {"code": "m", "fields": {"name": "m", "quantity": "ph", "aliquot_ml": 0}},
            422,
            "record.body_malformed",
            id="method with an aliquot of zero",
        ),
        pytest.param(
            "/movements",
            {**MOVED, "parts": [{"lot": "25-RI-01", "volume_l": 100}]},
            409,
            "movement.into_itself",
            id="lot into itself",
        ),
        pytest.param(
            "/movements", {**MOVED, "parts": [{"volume_l": 0}]}, 422, "movement.volume", id="volume of zero"
        ),
        pytest.param(
            "/movements",
            {**MOVED, "at": TOMORROW, "parts": [{"volume_l": 1}]},
            422,
            "act.future",
            id="movement of tomorrow",
        ),
        pytest.param(
            "/blanks",
            {"method": "ta", "volumes_ml": [0.1], "at": TOMORROW},
            422,
            "control.future",
            id="blank of tomorrow",
        ),
    ],
)
def test_it_is_refused_with_its_code_and_nothing_is_written(
    rest: Rest, path: str, body: dict[str, Any], status: int, rule: str
) -> None:
    before = rest.get("/results")["head"]
    assert rest.refused(path, body) == (status, rule)
    assert rest.get("/results")["head"] == before


def test_whoever_measured_it_may_not_release_what_wants_a_second_person(rest: Rest) -> None:
    fields = {"name": "VA", "quantity": "va", "release": "second_person"}
    rest.record("methods", "va", **fields)
    number = rest.post("/results", result(method="va", value=0.4, again=0.4))["id"]
    assert rest.refused("/releases", {"results": [number]}, "MAL") == (403, "release.second_person")
    assert rest.get(f"/results/{number}")["released"] is False
    rest.post("/releases", {"results": [number]}, "YAR")


def test_a_method_without_its_titrant_is_flagged(rest: Rest) -> None:
    fields = {"name": "TA", "quantity": "ta_ph_8_2", "formula": "ta_ph_8_2", "aliquot_ml": 10}
    rest.record("methods", "bare", **fields, reading_quantity="dispensed_volume")
    number = rest.post("/results", result(method="bare"))["id"]
    found = rest.get(f"/results/{number}")
    assert "titrant.unknown" in reason_codes(found)
    assert (found["value"], found["standing"], found["released"]) == (None, "do_not_use", False)


def test_an_expired_reagent_is_flagged(rest: Rest) -> None:
    old = {"name": "indicator", "reagent_kind": "reagent", "label_expiry": "2025-10-01T00:00:00Z"}
    rest.record("reagents", "OLD", **old)
    rest.record("methods", "va", name="VA", quantity="va", reagents=["OLD"])
    number = rest.post("/results", result(method="va", value=0.4, again=0.4))["id"]
    found = rest.get(f"/results/{number}")
    assert (found["standing"], reason_codes(found)) == ("look_again", {"reagent.expired"})


def test_a_frame_that_names_an_unknown_sample_gives_nothing_that_may_be_used(
    rest: Rest, store: Store
) -> None:
    filler = Filler(store, at_us=rest.now_us)
    line = filler.open("burette", BURETTE)
    reading = filler.hear(line, b"W-9999", [Answer("dispensed_volume", "8.4", "mL", sample="W-9999")])[0]
    take_in(store)
    (tie,) = rest.get(f"/readings/{reading}/ties")["items"]
    assert (tie["sample"], tie["conflict"]) == (None, "tie.sample_unknown")
    assert all(one["standing"] == "do_not_use" for one in rest.get("/results")["items"])


def test_a_result_that_was_refused_leaves_the_next_one_right(rest: Rest) -> None:
    assert rest.refused("/results", result(sample="CK4H7N"))[1] == "record.unknown"
    number = typed(rest, 8.4, NOW)
    assert [one["id"] for one in rest.get("/results")["items"]] == [number]
