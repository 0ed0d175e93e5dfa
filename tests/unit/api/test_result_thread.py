"""The thread of a result: one request from a number back to everything that it stood on."""

import ast
import operator
import re
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event

from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.records import find
from bench.results import Measured, make_result
from storage.bench_rows import CurvePointRow, RunEndRow, RunRow
from storage.file_place import FilePlace
from storage.ledger import ActorKind
from storage.store import Store
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.rest import Rest, check, enter_acidity, rest_on, typed
from tests.unit.bench.acts import act, person, take_in

BURETTE = "burette-1"
OPERATORS: dict[type, Any] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


def arithmetic(text: str) -> float:
    """Return what plain arithmetic amounts to: a pocket calculator that knows nothing of the program."""

    def of(node: ast.expr) -> float:
        if isinstance(node, ast.BinOp):
            found: float = OPERATORS[type(node.op)](of(node.left), of(node.right))
            return found
        if isinstance(node, ast.UnaryOp):
            return -of(node.operand)
        assert isinstance(node, ast.Constant)
        return float(node.value)  # type: ignore[arg-type]  # the text holds numbers alone

    return of(ast.parse(text, mode="eval").body)


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as client:
        yield client


def measured(rest: Rest, store: Store, volume: str = "8.40") -> int:
    """Put a sample on the tray and let the burette tell a titre; return the number of its result."""
    enter_acidity(rest)
    check(rest, 8.44, "2025-10-03T11:30:00Z")
    item = {"kind": "sample", "sample": "CK4H7M", "tests": ["ta"]}
    (made,) = rest.post(f"/trays/{BURETTE}/items", {"items": [item]})["items"]
    rest.post(f"/trays/{BURETTE}/on", {"item": made, "set_by": "scan"})
    filler = Filler(store, at_us=NOON_US + 301_000_000)
    filler.hear(
        filler.open("burette", BURETTE),
        f"TA;{volume}\r\n".encode(),
        [Answer("dispensed_volume", volume, "mL")],
    )
    take_in(store)
    (result,) = rest.get("/results")["items"]
    number: int = result["id"]
    return number


def test_a_stranger_with_a_pocket_calculator_finds_the_value(rest: Rest, store: Store) -> None:
    thread = rest.get(f"/results/{measured(rest, store)}/thread")
    working = thread["working"]
    assert arithmetic(working["numbers"]) == pytest.approx(thread["result"]["value"], rel=1e-12)
    assert working["agrees"]
    numbers = {one["name"]: one["value"] for one in working["inputs"]}
    assert (numbers["titre_ml"], numbers["titrant_factor"], numbers["sample_ml"]) == (8.4, 1.002, 10.0)
    # 8.40 mL x 0.1002 mol/L x 150.087 g/mol / 2 / 10 mL, by hand
    assert working["value"] == pytest.approx(6.3164, abs=1e-3)


def test_the_thread_leads_to_the_very_bytes_and_the_driver(rest: Rest, store: Store) -> None:
    thread = rest.get(f"/results/{measured(rest, store)}/thread")
    (reading,) = thread["readings"]
    assert bytes.fromhex(reading["frame"]["hex"]) == b"TA;8.40\r\n"
    assert reading["driver"]["name"] == "burette-text"
    assert [one["how"] for one in reading["ties"]] == ["tray"]
    assert {one["role"] for one in thread["stood_on"]} == {"reading", "method", "titrant", "factor"}


def test_the_thread_names_titrant_standardisation_and_checks(rest: Rest, store: Store) -> None:
    number = measured(rest, store)
    rest.wait_until(NOON_US + 900_000_000)
    later = check(rest, 8.45, "2025-10-03T12:10:00Z")
    thread = rest.get(f"/results/{number}/thread")
    assert (thread["titrant"]["code"], thread["method"]["version"]) == ("N-0925", 1)
    (factor,) = thread["controls"]
    assert (factor["role"], factor["record"]["kind"]) == ("factor", "standardisation")
    assert factor["record"]["value"] == pytest.approx(1.002)
    (cover,) = thread["checks"]
    assert cover["covers"]
    assert cover["passed"]["at"] < thread["result"]["at"] < cover["following"]["at"]
    assert cover["following"]["number"] == later


def test_what_the_method_was_then_is_shown_though_it_was_changed_since(rest: Rest, store: Store) -> None:
    number = measured(rest, store)
    fields = {**rest.get("/methods/ta")["fields"], "aliquot_ml": 25.0}
    rest.put("/methods/ta", {"version": 1, "fields": fields, "reason": "larger pipette"})
    thread = rest.get(f"/results/{number}/thread")
    assert (thread["method"]["version"], thread["method"]["fields"]["aliquot_ml"]) == (1, 10.0)


def test_an_amendment_and_its_undoing_stay_in_the_thread(rest: Rest) -> None:
    enter_acidity(rest)
    number = typed(rest, 8.4, "2025-10-03T11:40:00Z")
    first = rest.get(f"/results/{number}/thread")
    what = {
        "begin": "2025-10-03T11:30:00Z",
        "end": "2025-10-03T12:00:00Z",
        "titrant": "N-0925",
        "factors": [{"at": "2025-10-03T11:00:00Z", "factor": 0.981}],
    }
    made = rest.post("/amendments", {**what, "reason": "weak hydroxide"}, "YAR")
    amended = rest.get(f"/results/{number}/thread")
    assert [(one["version"], one["state"], one["actor"], one["reason"]) for one in amended["versions"]] == [
        (1, "original", "MAL", None),
        (2, "in_force", "YAR", "weak hydroxide"),
    ]
    assert arithmetic(amended["working"]["numbers"]) == pytest.approx(8.4 * 0.0981 * 150.087 / 20, rel=1e-5)
    assert amended["versions"][0]["value"] == first["result"]["value"]
    rest.post(f"/amendments/{made['id']}/undo", {"reason": "it was not"}, "YAR")
    undone = rest.get(f"/results/{number}/thread")
    assert [one["state"] for one in undone["versions"]] == ["original", "undone"]
    assert undone["working"] == first["working"]


def test_a_result_in_a_hold_says_so(rest: Rest) -> None:
    enter_acidity(rest)
    check(rest, 8.44, "2025-10-03T11:30:00Z")
    number = typed(rest, 8.4, "2025-10-03T11:40:00Z")
    check(rest, 9.0, "2025-10-03T11:50:00Z")
    (hold,) = rest.get(f"/results/{number}/thread")["holds"]
    assert (hold["number"], hold["settled"]) == (rest.get("/holds")["items"][0]["number"], None)


def test_calibration_and_verification_stand_in_the_thread_where_the_method_wants_them(rest: Rest) -> None:
    enter_acidity(rest, needs_calibration=True, needs_verification=True)
    points = [
        {"buffer": f"pH {ph:g}", "ph": ph, "mv": mv, "temperature_c": 25.0}
        for ph, mv in ((4.0, 177.5), (7.0, 0.0))
    ]
    rest.post("/calibrations", {"instrument": BURETTE, "points": points, "at": "2025-10-03T11:10:00Z"})
    thread = rest.get(f"/results/{typed(rest, 8.4, '2025-10-03T11:40:00Z')}/thread")
    assert (thread["calibration"]["state"], thread["verification"]["state"]) == ("valid", "unknown")
    assert thread["calibration"]["record"]["value"] == pytest.approx(100, abs=0.2)
    assert thread["verification"]["record"] is None


def with_curve(store: Store, result_points: int = 5) -> int:
    """Enter a run with its points, and return its number."""
    filler = Filler(store, at_us=NOON_US)
    capture = filler.open("burette", BURETTE)
    filler.hear(capture, b"curve\r\n", [Answer("ph", "3.2", "pH")])
    with store.reader() as connection:
        frame = connection.exec_driver_sql("SELECT max(number) FROM frame").scalar_one()

    def enter(tx: Any) -> int:
        number = tx.next_number
        points = [
            CurvePointRow(
                ordinal,
                capture.number,
                frame,
                0,
                BURETTE,
                NOON_US + ordinal,
                f"{ordinal}.5",
                ordinal + 0.5,
                f"{3 + ordinal}.1",
                3.1 + ordinal,
                "ph",
                "pH",
            )
            for ordinal in range(result_points)
        ]
        who = {"at_us": NOON_US, "actor": "tundish", "actor_kind": ActorKind.DAEMON}
        tx.enter("points.heard", rows={"curve_point": points}, **who)
        run: int = tx.enter("run.began", rows={"run": [RunRow(BURETTE, NOON_US, number, 0)]}, **who)
        end = RunEndRow(run, NOON_US + 9, "ended", number, result_points - 1)
        tx.enter("run.ended", rows={"run_end": [end]}, **who)
        return run

    return act(store, enter)


def test_the_curve_of_a_titration_stands_in_the_thread_and_on_the_page(rest: Rest, store: Store) -> None:
    enter_acidity(rest)
    run = with_curve(store)
    with store.reader() as connection:
        method, sample = find(connection, Method, "ta"), find(connection, Sample, "CK4H7M")
    measured = Measured(8.4, "value", NOON_US, BURETTE, sample.record_id, run_id=run)
    number = act(store, lambda tx: make_result(tx, person(), method, measured))
    points = rest.get(f"/results/{number}/thread")["run"]["points"]
    assert [(one["volume_ml"], one["signal"]) for one in points] == [(n + 0.5, 3.1 + n) for n in range(5)]
    assert '<path d="M' in rest.page(f"/results/{number}")


def test_a_result_without_a_number_has_no_working(rest: Rest, store: Store) -> None:
    enter_acidity(rest)
    item = {"kind": "sample", "sample": "CK4H7M", "tests": ["ta"]}
    (made,) = rest.post(f"/trays/{BURETTE}/items", {"items": [item]})["items"]
    rest.post(f"/trays/{BURETTE}/on", {"item": made, "set_by": "scan"})
    filler = Filler(store, at_us=NOON_US + 301_000_000)
    over = Answer("dispensed_volume", ">10", "mL", outcome="above_range")
    filler.hear(filler.open("burette", BURETTE), b">10", [over])
    take_in(store)
    (result,) = rest.get("/results")["items"]
    assert rest.get(f"/results/{result['id']}/thread")["working"] is None
    page = rest.page(f"/results/{result['id']}")
    assert "above range" in page
    assert "nothing was computed" in page


def test_there_is_no_thread_of_a_result_that_is_not_there(rest: Rest) -> None:
    assert rest.request("GET", "/api/v1/results/99/thread").status_code == 404
    assert rest.request("GET", "/results/99").status_code == 404


def test_the_page_shows_number_working_standing_bytes_and_acts(rest: Rest, store: Store) -> None:
    number = measured(rest, store)
    page = rest.page(f"/results/{number}")
    assert '<span class="number">6.32</span>' in page
    assert re.search(r'standing-good"><svg.*?</svg>good</span>', page, re.DOTALL)
    assert "(8.4 - 0.0) * 0.1 * 1.002 * 150.0" in page
    assert "54 41 3b 38 2e 34 30 0d 0a" in page
    assert "computed again just now and the same" in page
    assert "result made" in page


def test_what_people_write_cannot_become_markup_on_the_page(rest: Rest) -> None:
    enter_acidity(rest)
    number = typed(rest, 8.4, "2025-10-03T11:40:00Z")
    rest.post("/rejections", {"results": [number], "reason": "<script>alert(1)</script>"}, "YAR")
    page = rest.page(f"/results/{number}")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


LARGE = (
    "reading",
    "taken",
    "frame",
    "chunk",
    "ledger",
    "result",
    "result_input",
    "standing",
    "release",
    "tie",
    "curve_point",
)
"""Tables that grow with what is measured: the thread reads single rows of them, whatever their size."""


def test_the_thread_reads_no_large_table_from_end_to_end(rest: Rest, store: Store) -> None:
    number = measured(rest, store)
    if not isinstance(store.place, FilePlace):
        return  # a server chooses its plans by the size of its tables, and these are small
    asked: list[tuple[str, Any]] = []

    def note(_c: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        asked.append((statement, parameters))

    with store.reader() as connection:
        event.listen(connection.engine, "before_cursor_execute", note)
        rest.get(f"/results/{number}/thread")
        event.remove(connection.engine, "before_cursor_execute", note)
        plans = {
            step[-1]
            for statement, parameters in asked
            if statement.lstrip().startswith("SELECT")
            for step in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
        }
    assert len(asked) < 60
    assert plans
    assert not [step for step in plans if re.search(rf"^SCAN ({'|'.join(LARGE)})\b", step)], plans
