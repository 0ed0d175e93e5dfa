"""Runs over REST: curve so far, warnings, notes, rejection, and a result at another end point."""

from collections.abc import Iterator
from typing import Any

import pytest

from bench.intake import Intake
from bench.runs import RunWatch
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.rest import Rest, enter_acidity, rest_on
from tests.fakes.running_burette import RunningBurette, acid_curve

VOLUME = Answer("dispensed_volume", "8.400", "mL")
G_PER_L_PER_ML = 0.1002 * 150.087 / 2 / 10
"""What a millilitre of the hydroxide finds in 10 mL: mol/L, g/mol of tartaric acid, mL. [g/L per mL]"""


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_acidity(rest)
        for code, quantity, value in (("ta-7", "ta_ph_7_0", 7.0), ("ta-8", "ta_ph_8_2", 8.2)):
            rest.record(
                "methods",
                code,
                name=code,
                quantity=quantity,
                formula=quantity,
                reading_quantity="dispensed_volume",
                aliquot_ml=10,
                titrant="N-0925",
                curve_end="value",
                curve_end_value=value,
                instruments=["nobody's"],
            )
        (item,) = rest.post(
            "/trays/burette-1/items", {"items": [{"kind": "sample", "sample": "CK4H7M", "tests": ["ta"]}]}
        )["items"]
        rest.post("/trays/burette-1/on", {"item": item})
        yield rest


@pytest.fixture
def intake(rest: Rest, store: Store) -> Intake:
    return Intake(store, lambda: rest.now_us, "tundish", runs=RunWatch(store, lambda: rest.now_us, "tundish"))


@pytest.fixture
def burette(rest: Rest, store: Store) -> RunningBurette:
    return RunningBurette(Filler(store, at_us=rest.now_us))


def take(intake: Intake) -> None:
    while intake.step():
        pass


def titrate(burette: RunningBurette, intake: Intake, rest: Rest) -> int:
    burette.begin()
    burette.draw(acid_curve())
    burette.end(VOLUME)
    take(intake)
    rest.wait_until(burette.filler.at_us + 60_000_000)
    number: int = rest.get("/runs")["items"][-1]["number"]
    return number


def test_a_running_titration_shows_its_curve_so_far(
    rest: Rest, burette: RunningBurette, intake: Intake
) -> None:
    burette.begin()
    burette.draw([(0.0, 3.4), (1.0, 3.6)])
    take(intake)
    (run,) = rest.get("/runs", unfinished=True)["items"]
    assert (run["state"], run["sample"], run["method"]) == ("running", "CK4H7M", "ta")
    curve = rest.get(f"/runs/{run['number']}/curve")
    assert [(one["volume_ml"], one["value"], one["quantity"]) for one in curve["points"]] == [
        (0.0, 3.4, "ph"),
        (1.0, 3.6, "ph"),
    ]
    burette.point(2.0, 4.0)
    take(intake)
    more = rest.get(f"/runs/{run['number']}/curve", after=curve["points"][-1]["number"])
    assert [one["volume_ml"] for one in more["points"]] == [2.0]


def test_a_run_that_ended_names_its_result(rest: Rest, burette: RunningBurette, intake: Intake) -> None:
    run = rest.get(f"/runs/{titrate(burette, intake, rest)}")
    (result,) = rest.get("/results")["items"]
    assert (run["state"], run["results"]) == ("ended", [result["id"]])
    assert rest.get("/runs", unfinished=True)["items"] == []
    assert rest.get("/runs", instrument="another")["items"] == []


@pytest.mark.parametrize(("method", "volume_ml"), [("ta-7", 8.0), ("ta-8", 8.4)])
def test_acidity_at_another_end_point_comes_from_the_stored_curve(
    rest: Rest, burette: RunningBurette, intake: Intake, method: str, volume_ml: float
) -> None:
    number = titrate(burette, intake, rest)
    before = rest.get("/results")["items"]
    preview = rest.get(f"/runs/{number}/end-point", method=method)
    # the curve is made of straight lines through these points
    assert preview["volume_ml"] == pytest.approx(volume_ml, abs=1e-6)
    made = rest.post(f"/runs/{number}/results", {"method": method})["id"]
    result = rest.get(f"/results/{made}")
    assert result["value"] == preview["value"] == pytest.approx(volume_ml * G_PER_L_PER_ML, rel=1e-5)
    assert (result["sample"], result["quantity"]) == ("CK4H7M", preview["method"] and result["quantity"])
    assert [part["result"] for part in result["parts"]] == [before[0]["id"]]
    assert rest.get("/results")["items"][: len(before)] == before
    assert rest.get(f"/runs/{number}")["results"] == [before[0]["id"], made]


def test_another_end_point_is_entered_once(rest: Rest, burette: RunningBurette, intake: Intake) -> None:
    number = titrate(burette, intake, rest)
    rest.post(f"/runs/{number}/results", {"method": "ta-7"})
    assert rest.refused(f"/runs/{number}/results", {"method": "ta-7"}) == (409, "run.result_made")


def test_a_new_factor_moves_both_end_points_and_nothing_else(
    rest: Rest, burette: RunningBurette, intake: Intake
) -> None:
    number = titrate(burette, intake, rest)
    made = rest.post(f"/runs/{number}/results", {"method": "ta-7"})["id"]
    what = {
        "begin": "2025-10-03T12:00:00Z",
        "end": "2025-10-03T13:00:00Z",
        "titrant": "N-0925",
        "factors": [{"at": "2025-10-01T00:00:00Z", "factor": 0.981}],
    }
    found = {one["result"]: one["new"] for one in rest.post("/what-if", what)["items"]}
    assert found[made] == pytest.approx(8.0 * 0.0981 * 150.087 / 20, rel=1e-5)
    assert len(found) == 2


@pytest.mark.parametrize(
    ("curve", "method", "rule"),
    [
        ([(0.0, 3.4), (1.0, 4.0)], "ta-7", "run.no_end_point"),
        (acid_curve(), "ta", "run.no_curve_end"),
        (acid_curve(), "nothing", "record.unknown"),
    ],
)
def test_a_curve_without_that_end_point_gives_none(
    rest: Rest, burette: RunningBurette, intake: Intake, curve: Any, method: str, rule: str
) -> None:
    burette.begin()
    burette.draw(curve)
    burette.end()
    take(intake)
    number = rest.get("/runs")["items"][0]["number"]
    assert rest.refused(f"/runs/{number}/results", {"method": method})[1] == rule
    assert rest.get("/results")["items"] == []


def test_a_run_that_goes_on_has_no_other_end_point_yet(
    rest: Rest, burette: RunningBurette, intake: Intake
) -> None:
    burette.begin()
    burette.draw(acid_curve())
    take(intake)
    number = rest.get("/runs")["items"][0]["number"]
    assert rest.refused(f"/runs/{number}/results", {"method": "ta-7"}) == (409, "run.goes_on")


def test_a_rejected_run_keeps_its_result_from_use_until_that_is_taken_back(
    rest: Rest, burette: RunningBurette, intake: Intake
) -> None:
    number = titrate(burette, intake, rest)
    assert rest.refused(f"/runs/{number}/reject", {}) == (422, "act.reason_wanted")
    rest.post(f"/runs/{number}/reject", {"reason": "the beaker was knocked over"}, "FEN")
    (result,) = rest.get("/results")["items"]
    assert result["standing"] == "do_not_use"
    assert "run.rejected" in [reason["code"] for reason in result["reasons"]]
    assert rest.refused(f"/runs/{number}/reject", {"reason": "again"}) == (409, "run.rejected_already")
    rest.post(f"/runs/{number}/take-back", {"reason": "it was the other beaker"}, "FEN")
    (result,) = rest.get("/results")["items"]
    assert "run.rejected" not in [reason["code"] for reason in result["reasons"]]
    assert rest.refused(f"/runs/{number}/take-back", {"reason": "again"}) == (409, "run.not_rejected")
    kinds = [(one["kind"], one["actor"]) for one in rest.get(f"/runs/{number}")["notes"]]
    assert kinds == [("rejected", "FEN"), ("taken_back", "FEN")]


def test_a_note_changes_nothing_but_is_kept(rest: Rest, burette: RunningBurette, intake: Intake) -> None:
    number = titrate(burette, intake, rest)
    before = rest.get("/results")["items"]
    rest.post(f"/runs/{number}/notes", {"text": "a bubble at the tip"}, "FEN")
    assert rest.get("/results")["items"] == before
    (note,) = rest.get(f"/runs/{number}")["notes"]
    assert (note["text"], note["actor"]) == ("a bubble at the tip", "FEN")
    assert rest.refused(f"/runs/{number}/notes", {"text": "  "}) == (422, "run.note_empty")


def test_a_run_that_was_stopped_at_the_bench_is_aborted_and_stays_so(
    rest: Rest, burette: RunningBurette, intake: Intake
) -> None:
    burette.begin()
    burette.draw([(0.0, 3.4), (1.0, 4.0)])
    take(intake)
    number = rest.get("/runs")["items"][0]["number"]
    assert rest.refused(f"/runs/{number}/abort", {}) == (422, "act.reason_wanted")
    rest.post(f"/runs/{number}/abort", {"reason": "the stirrer stood still"})
    burette.draw([(1.1, 4.1), (1.2, 4.2)])
    burette.end()
    take(intake)
    (run,) = rest.get("/runs")["items"]
    assert run["state"] == "aborted"
    assert len(rest.get(f"/runs/{number}/curve")["points"]) == 2
    assert rest.refused(f"/runs/{number}/abort", {"reason": "again"}) == (409, "run.over")


@pytest.mark.parametrize("path", ["notes", "reject", "take-back", "abort", "results"])
def test_a_run_that_is_not_there_is_not_found(rest: Rest, path: str) -> None:
    body = {"reason": "a", **({"text": "a"} if path == "notes" else {})}
    body = {"method": "ta-7"} if path == "results" else body
    assert rest.refused(f"/runs/999/{path}", body) == (404, "run.unknown")


@pytest.mark.parametrize(
    "fields",
    [
        {"curve_end": "value"},
        {"live_limits": {"no_such_limit": 1.0}},
        {"live_limits": {"start_low": 5.0, "start_high": 4.0}},
        {"live_limits": {"flat_s": -1.0}},
    ],
)
def test_a_method_whose_limits_cannot_be_right_is_refused(rest: Rest, fields: dict[str, Any]) -> None:
    body = {"code": "odd", "fields": {"name": "odd", "quantity": "ph", **fields}}
    assert rest.refused("/methods", body) == (422, "record.body_malformed")
