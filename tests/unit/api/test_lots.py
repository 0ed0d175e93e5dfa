"""What is asked of a lot: the latest of all, its limits, when it leaves its band, what a dose would do."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from numpy import polyfit

from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, SECOND, enter_wine, measure

DAY = timedelta(days=1)
NOW = datetime.fromisoformat("2025-10-03T12:05:00+00:00")
FREE_MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 50 * 1000  # [mg/L per mL]
TOTAL_MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 20 * 1000  # [mg/L per mL]


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        yield rest


def ago(days: float) -> str:
    return (NOW - days * DAY).isoformat()


def free(rest: Rest, mg_l: float, days_ago: float, sample: str = FIRST) -> int:
    return measure(rest, "free", mg_l / FREE_MG_PER_ML, ago(days_ago), sample)


def total(rest: Rest, mg_l: float, days_ago: float, sample: str = FIRST) -> int:
    return measure(rest, "total", mg_l / TOTAL_MG_PER_ML, ago(days_ago), sample)


def by_quantity(answer: Any) -> dict[str, Any]:
    return {one["quantity"]: one for one in answer["items"]}


def test_the_latest_of_each_quantity_comes_with_its_age_and_its_change(rest: Rest) -> None:
    enter_wine(rest, molecular_low_mg_l=0.5, molecular_high_mg_l=0.8)
    free(rest, 25, 3)
    free(rest, 22, 1, SECOND)
    measure(rest, "ph", 3.4, ago(2))
    found = rest.get(f"/lots/{LOT}/latest")
    latest = by_quantity(found)
    assert latest["free_so2"]["value"] == pytest.approx(22, rel=1e-6)
    assert latest["free_so2"]["change"] == pytest.approx(-3, rel=1e-6)
    assert latest["free_so2"]["age_h"] == pytest.approx(24, abs=0.01)
    assert (latest["free_so2"]["sample"], latest["ph"]["rounded"]) == (SECOND, "3.40")
    assert latest["molecular_so2"]["basis"] == "single-1.81"
    # 22 mg/L at pH 3.4 with pK 1.81
    assert found["band"]["found_mg_l"] == pytest.approx(22 / (1 + 10**1.59), rel=1e-6)
    assert found["band"]["verdict"] == "inside"


def test_what_is_not_to_be_used_is_passed_over_and_named(rest: Rest) -> None:
    enter_wine(rest)
    good = free(rest, 25, 3)
    bad = free(rest, 60, 1)
    rest.post("/rejections", {"results": [bad], "reason": "the wrong flask"}, "YAR")
    latest = by_quantity(rest.get(f"/lots/{LOT}/latest"))["free_so2"]
    assert (latest["result"], latest["passed_over"]) == (good, [bad])


def test_a_lot_of_which_nothing_was_measured_has_nothing(rest: Rest) -> None:
    enter_wine(rest, molecular_low_mg_l=0.5)
    found = rest.get(f"/lots/{LOT}/latest")
    assert (found["items"], found["band"]["verdict"]) == ([], "unknown")


def test_the_limits_of_a_lot_stand_beside_its_latest_total(rest: Rest) -> None:
    enter_wine(rest, jurisdiction="EU", sugar_g_l=1.0)
    total(rest, 148, 1)
    found = rest.get(f"/lots/{LOT}/limits")
    (limit,) = found["apply"]
    assert (limit["limit_mg_l"], limit["verdict"]["verdict"]) == (
        150,
        "cannot tell: use the reference method",
    )
    assert limit["source"]
    assert "your own regulations" in found["caution"]
    assert rest.get(f"/lots/{LOT}/limits")["asks"] == []


def test_a_lot_without_a_market_is_asked_for_it(rest: Rest) -> None:
    enter_wine(rest)
    found = rest.get(f"/lots/{LOT}/limits")
    assert found["apply"] == []
    assert "jurisdiction" in found["asks"][0]


def test_the_day_a_lot_leaves_its_band_comes_with_an_interval(rest: Rest) -> None:
    enter_wine(rest)
    days = [30.0, 23, 16, 9, 2]
    values = [30.0, 28.3, 26.9, 25.0, 23.6]
    for day, value in zip(days, values, strict=True):
        free(rest, value, day)
    found = rest.get(f"/lots/{LOT}/forecast", quantity="free_so2", level=20)
    slope, intercept = polyfit([-day for day in days], values, 1)  # days from now
    (crossing,) = found["crossings"]
    at, earliest, latest = (datetime.fromisoformat(crossing[key]) for key in ("at", "earliest", "latest"))
    assert (at - NOW) / DAY == pytest.approx((20 - intercept) / slope, abs=0.01)
    assert earliest < at < latest
    assert found["loss_per_day"] == pytest.approx(-slope, rel=1e-6)
    assert len(found["points"]) == 5


def test_molecular_so2_is_held_against_the_band_of_the_lot(rest: Rest) -> None:
    enter_wine(rest, molecular_low_mg_l=0.5, molecular_high_mg_l=0.8)
    measure(rest, "ph", 3.4, ago(8))
    for day, value in ((7, 25.0), (5, 24.0), (3, 23.1), (1, 22.0)):
        rest.record("samples", f"S{day}", lot=LOT)
        free(rest, value, day, f"S{day}")
    levels = [one["level"] for one in rest.get(f"/lots/{LOT}/forecast")["crossings"]]
    assert levels == [0.5, 0.8]


@pytest.mark.parametrize(("count", "why"), [(0, "no free_so2 was measured"), (2, "3")])
def test_too_few_values_make_no_trend_and_say_so(rest: Rest, count: int, why: str) -> None:
    enter_wine(rest)
    for day in range(count):
        free(rest, 25 - day, 5 - day)
    found = rest.get(f"/lots/{LOT}/forecast", quantity="free_so2", level=20)
    assert (found["crossings"], found["loss_per_day"]) == ([], None)
    assert why in found["why"]


def test_a_level_that_is_never_reached_says_why(rest: Rest) -> None:
    enter_wine(rest)
    for day, value in ((9, 25.0), (6, 24.0), (3, 23.1)):
        free(rest, value, day)
    (crossing,) = rest.get(f"/lots/{LOT}/forecast", quantity="free_so2", level=90)["crossings"]
    assert crossing["at"] is None
    assert "moves away" in crossing["why"]


def test_what_a_dose_would_do_to_free_molecular_and_total(rest: Rest) -> None:
    enter_wine(rest, jurisdiction="EU", sugar_g_l=1.0)
    free(rest, 10, 1)
    total(rest, 40, 1)
    measure(rest, "ph", 3.4, ago(1))
    found = rest.get(f"/lots/{LOT}/dose", mg_l=30)
    # one third binds by common practice: 10 + 30 x 2/3
    assert found["free_mg_l"] == pytest.approx(30, rel=1e-6)
    assert (found["free_low_mg_l"], found["free_high_mg_l"]) == (
        pytest.approx(10, rel=1e-6),
        pytest.approx(40, rel=1e-6),
    )
    assert found["total_mg_l"] == pytest.approx(70, rel=1e-6)
    assert found["molecular_mg_l"] == pytest.approx(30 / (1 + 10**1.59), rel=1e-6)
    assert (found["legal"]["verdict"], found["limit"]["limit_mg_l"]) == ("inside", 150)
    assert found["constants"] == "single-1.81"
    assert [one["quantity"] for one in found["inputs"]] == ["free_so2", "total_so2", "ph"]
    assert found["flags"] == []


def test_near_the_limit_the_guard_band_decides(rest: Rest) -> None:
    enter_wine(rest, jurisdiction="EU", sugar_g_l=1.0, colour="white")
    free(rest, 25.5, 1)
    total(rest, 174.7, 1)
    found = [rest.get(f"/lots/{LOT}/dose", mg_l=dose)["legal"] for dose in (10, 24, 60)]
    assert [one["verdict"].split(":")[0] for one in found] == ["inside", "cannot tell", "outside"]


def test_a_dose_on_stale_or_doubtful_numbers_says_so(rest: Rest) -> None:
    enter_wine(rest)
    free(rest, 10, 20)
    total(rest, 40, 1)
    found = rest.get(f"/lots/{LOT}/dose", mg_l=30)
    assert [flag["code"] for flag in found["flags"]] == ["input.old"]
    assert found["legal"] is None
    assert found["molecular_mg_l"] is None
    assert "jurisdiction" in found["asks"][0]


@pytest.mark.parametrize(
    ("path", "status", "rule"),
    [
        ("/lots/nowhere/latest", 404, "record.unknown"),
        ("/lots/nowhere/limits", 404, "record.unknown"),
        (f"/lots/{LOT}/dose?mg_l=20", 409, "lot.not_measured"),
        (f"/lots/{LOT}/forecast", 409, "lot.no_band"),
    ],
)
def test_what_cannot_be_answered_names_the_rule(rest: Rest, path: str, status: int, rule: str) -> None:
    enter_wine(rest)
    answer = rest.request("GET", f"/api/v1{path}")
    assert (answer.status_code, answer.json()["rule"]) == (status, rule)


def test_a_dose_by_constants_that_are_unknown_is_refused(rest: Rest) -> None:
    enter_wine(rest)
    free(rest, 10, 1)
    total(rest, 40, 1)
    answer = rest.request("GET", f"/api/v1/lots/{LOT}/dose?mg_l=20&constants=mine")
    assert (answer.status_code, answer.json()["rule"]) == (422, "lot.no_constants")


def test_a_wine_without_free_so2_has_no_prediction(rest: Rest) -> None:
    enter_wine(rest)
    measure(rest, "free", 0.0, ago(1))
    total(rest, 40, 1)
    answer = rest.request("GET", f"/api/v1/lots/{LOT}/dose?mg_l=20")
    assert (answer.status_code, answer.json()["rule"]) == (409, "lot.cannot_be_predicted")
