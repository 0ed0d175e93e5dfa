"""Random days at the bench through REST on a real store, and what must hold after every one of its acts.

Somebody scans, measures, types, standardises, lets checks fail, ties anew, supposes, amends and takes
back, in any order. A model beside it knows what was set and what was heard, and nothing of how results
are made.
"""

import json
import subprocess
import sys
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from storage.export import export
from storage.queries import faults_before
from storage.store import Store
from storage.verify import verify
from tests.fakes.filled_store import NOON_US, Answer, Filler, OpenCapture
from tests.fakes.rest import Rest, enter_acidity, rest_on
from tests.services.grounds import NewStore
from tests.unit.bench.acts import take_in

BURETTE = "burette-1"
SAMPLES = ("CK4H7M", "DM6R3X")
TARTARIC_G_PER_MOL = 150.086  # C4H6O6 from 4 C 12.011, 6 H 1.008, 6 O 15.999
MINUTE_US = 60_000_000
SCRIPT = Path(__file__).parents[2] / "independent" / "thread_from_export.py"

VOLUMES = st.integers(780, 900).map(lambda hundredths: f"{hundredths / 100:.2f}")
GOOD_ML, BAD_ML = 8.44, 9.20
"""The check wine at 6.35 g/L, and one that is far beyond its limits. [mL]"""


def at(now_us: int) -> str:
    return datetime.fromtimestamp(now_us / 1e6, UTC).isoformat()


def views(results: list[Any]) -> list[Any]:
    """Return results without revision and amendment: what an undone supposition must bring back."""
    return [{k: v for k, v in one.items() if k not in ("revision", "amendment")} for one in results]


class AnyDay(RuleBasedStateMachine):
    """One store, one bench, one model of what was set."""

    readings = Bundle("readings")
    new_store: Callable[[], Store]

    def __init__(self) -> None:
        super().__init__()
        self._stack = ExitStack()
        self.store = type(self).new_store()
        self.rest: Rest = self._stack.enter_context(rest_on(self.store, NOON_US + 60 * MINUTE_US))
        self.filler = Filler(self.store, at_us=self.rest.now_us)
        self.heard: dict[int, str | None] = {}
        """The sample that somebody set for a reading; None if nobody did, or its frame names no known one."""
        self.first_values: dict[int, float | None] = {}
        self.stood_on: dict[int, list[Any]] = {}
        self.in_force: list[int] = []
        self.on: str | None = None

    @initialize()
    def enter_records(self) -> None:
        enter_acidity(self.rest)
        self.capture: OpenCapture = self.filler.open("burette", BURETTE)

    def teardown(self) -> None:
        with self.store.reader() as connection:
            assert verify(connection).in_order
        self._stack.close()

    # what people and instruments do

    @rule(minutes=st.integers(1, 30) | st.sampled_from([600, 3 * 1440, 10 * 1440]))
    def wait(self, minutes: int) -> None:
        self.rest.wait_until(self.rest.now_us + minutes * MINUTE_US)

    @rule(sample=st.sampled_from([*SAMPLES, None]), by_item=st.booleans())
    def scan(self, sample: str | None, by_item: bool) -> None:
        if sample is not None and by_item:
            item = {"kind": "sample", "sample": sample, "tests": ["ta"]}
            (made,) = self.rest.post(f"/trays/{BURETTE}/items", {"items": [item]})["items"]
            self.rest.post(f"/trays/{BURETTE}/on", {"item": made, "set_by": "scan"})
        else:
            self.rest.post(f"/trays/{BURETTE}/on", {} if sample is None else {"sample": sample})
        self.on = sample

    @rule(target=readings, volume=VOLUMES, named=st.sampled_from([None, None, *SAMPLES, "NOBODY"]))
    def measure(self, volume: str, named: str | None) -> int:
        self.filler.at_us = self.rest.now_us
        answer = Answer("dispensed_volume", volume, "mL", sample=named)
        (reading,) = self.filler.hear(self.capture, f"TA;{volume};{named}\r\n".encode(), [answer])
        take_in(self.store)
        self.heard[reading] = (None if named == "NOBODY" else named) if named else self.on
        self.rest.wait_until(self.rest.now_us + 2 * MINUTE_US)
        return reading

    @rule(volume=VOLUMES, sample=st.sampled_from(SAMPLES))
    def type_in(self, volume: str, sample: str) -> None:
        value = float(volume)
        body = {"method": "ta", "sample": sample, "value": value, "again": value, "instrument": BURETTE}
        self.rest.post("/results", {**body, "at": at(self.rest.now_us)})

    @rule(passes=st.booleans())
    def run_check(self, passes: bool) -> None:
        given_ml = GOOD_ML if passes else BAD_ML
        body = {"instrument": BURETTE, "material": "HC1", "method": "ta", "given": given_ml}
        made = self.rest.post("/checks", {**body, "at": at(self.rest.now_us)})
        if self.rest.get(f"/control-records/{made['id']}")["verdict"] in ("pass", "warn", "review"):
            brackets = [one for one in self.rest.get("/holds")["items"] if one["instrument"] == BURETTE]
            assert all(one["end"] for one in brackets)
        self.rest.wait_until(self.rest.now_us + MINUTE_US)

    @rule(factor=st.sampled_from([0.98, 1.0, 1.002]), spread=st.sampled_from([0.0, 0.0, 0.05]))
    def standardise(self, factor: float, spread: float) -> None:
        strengths = [0.1 * factor, 0.1 * factor, 0.1 * factor * (1 + spread)]
        body = {"titrant": "N-0925", "strengths_mol_per_l": strengths, "again_mol_per_l": strengths}
        self.rest.post("/standardisations", {**body, "at": at(self.rest.now_us)})

    @rule(way=st.sampled_from(["accepted", "rejected", "repeated"]))
    def settle_a_hold(self, way: str) -> None:
        for hold in self.rest.get("/holds", unsettled=True)["items"][:1]:
            self.rest.post(f"/holds/{hold['number']}/settle", {"way": way, "reason": "looked at"}, "YAR")

    @rule(reading=readings, sample=st.sampled_from([*SAMPLES, None]))
    def tie_by_hand(self, reading: int, sample: str | None) -> None:
        body: dict[str, Any] = {"readings": [reading], "reason": "wrong beaker"}
        self.rest.post("/ties", body if sample is None else {**body, "sample": sample})
        self.heard[reading] = sample

    @rule(one=readings, other=readings)
    def swap(self, one: int, other: int) -> None:
        body = {"readings": [one, other], "reason": "tray off by one"}
        answer = self.rest.send("POST", "/ties/swap", body)
        if answer.status_code == 200:
            self.heard[one], self.heard[other] = self.heard[other], self.heard[one]
        else:
            assert answer.json()["rule"] == "tie.nothing_to_swap"

    @rule(index=st.integers(0, 50), what=st.sampled_from(["releases", "rejections"]))
    def decide_on_a_result(self, index: int, what: str) -> None:
        found = self.results()
        if found:
            of = found[index % len(found)]
            answer = self.rest.send("POST", f"/{what}", {"results": [of["id"]], "reason": "seen"}, "YAR")
            assert answer.status_code == 200 or answer.json()["rule"].startswith("release.")

    @rule(factor=st.sampled_from([0.97, 0.99, 1.01]), days=st.sampled_from([1, 30]), keep=st.booleans())
    def suppose(self, factor: float, days: int, keep: bool) -> None:
        now_us = self.rest.now_us
        what = {
            "begin": at(now_us - days * 1440 * MINUTE_US),
            "end": at(now_us),
            "titrant": "N-0925",
            "factors": [{"at": "2025-10-01T00:00:00Z", "factor": factor}],
        }
        before = self.results()
        supposed = {one["result"]: one for one in self.rest.post("/what-if", what)["items"]}
        assert self.results() == before
        answer = self.rest.send("POST", "/amendments", {**what, "reason": "weak"}, "YAR")
        if answer.status_code == 409:
            assert (supposed, answer.json()["rule"]) == ({}, "amendment.changes_nothing")
            return
        made = answer.json()
        after = {one["id"]: one for one in self.results()}
        for one in before:
            new = supposed.get(one["id"], {"new": one["value"]})["new"]
            assert after[one["id"]]["value"] == new
        if keep:
            self.in_force.append(made["id"])
            return
        self.rest.post(f"/amendments/{made['id']}/undo", {"reason": "it was not"}, "YAR")
        assert views(self.results()) == views(before)

    @precondition(lambda self: self.in_force)
    @rule()
    def take_back_the_newest(self) -> None:
        self.rest.post(f"/amendments/{self.in_force.pop()}/undo", {"reason": "it was not"}, "YAR")

    # what must hold

    def results(self) -> list[Any]:
        found: list[Any] = self.rest.get("/results", limit=1000)["items"]
        return found

    def thread(self, number: int) -> Any:
        return self.rest.get(f"/results/{number}/thread")

    @invariant()
    def no_result_is_under_a_sample_that_nobody_set(self) -> None:
        for one in self.results():
            if one["hand"]:
                assert one["sample"] in SAMPLES
                continue
            (reading,) = self.sources(one["id"], "reading")
            assert one["sample"] == self.heard[reading]

    def sources(self, number: int, source: str) -> list[int]:
        if number not in self.stood_on:  # it never changes
            self.stood_on[number] = self.rest.get(f"/results/{number}/history")["stood_on"]
        return [one["id"] for one in self.stood_on[number] if one["source"] == source]

    @invariant()
    def nothing_in_an_open_hold_is_released_and_what_was_accepted_stays_marked(self) -> None:
        found = {one["id"]: one for one in self.results()}
        for hold in self.rest.get("/holds")["items"]:
            for number in hold["results"]:
                codes = {reason["code"] for reason in found[number]["reasons"]}
                if hold["settled"] == "accepted":
                    assert "hold.accepted" in codes
                else:
                    assert "check.failed" in codes
                    assert not found[number]["released"]
                    assert found[number]["standing"] == "do_not_use"

    @invariant()
    def values_move_only_by_amendments_and_come_out_of_their_inputs(self) -> None:
        for one in self.results():
            first = self.first_values.setdefault(one["id"], one["value"])
            if one["amendment"] is None:
                assert one["value"] == first
            assert one["amendment"] in (None, *self.in_force)
        for one in self.results()[-1:]:
            working = self.thread(one["id"])["working"]
            inputs = {part["name"]: part["value"] for part in working["inputs"]}
            mmol = inputs["titre_ml"] * inputs["titrant_mol_per_l"] * inputs["titrant_factor"]
            assert working["agrees"]
            assert one["value"] == pytest.approx(
                mmol / 2 * TARTARIC_G_PER_MOL / inputs["sample_ml"], rel=1e-5
            )

    @invariant()
    def every_reading_is_accounted_for_once(self) -> None:
        measured = [one["id"] for one in self.results() if not one["hand"]]
        used = [reading for number in measured for reading in self.sources(number, "reading")]
        assert len(used) == len(set(used))
        untied = [reading for reading, sample in self.heard.items() if sample is None]
        tied = [reading for reading, sample in self.heard.items() if sample is not None]
        assert set(tied) <= set(used)
        assert len(tied) + len(untied) == len(self.heard)

    @invariant()
    def nothing_of_ours_failed_on_the_way(self) -> None:
        with self.store.reader() as connection:
            assert faults_before(connection, before=None, limit=1) == []

    @invariant()
    def every_reason_can_be_explained(self) -> None:
        for one in self.results():
            assert (one["standing"] == "good") or one["reasons"]
            assert all(reason["words"] and reason["advice"] for reason in one["reasons"])


def play(new_store: NewStore, examples: int, steps: int, end: Callable[[AnyDay], None] | None = None) -> None:
    class Day(AnyDay):
        def teardown(self) -> None:
            if end is not None:
                end(self)
            super().teardown()

    Day.new_store = staticmethod(lambda: new_store("real"))
    run_state_machine_as_test(
        Day,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_what_must_hold_holds_on_any_day(new_store: NewStore) -> None:
    play(new_store, examples=6, steps=14)


@pytest.mark.soak
def test_what_must_hold_holds_on_many_days(new_store: NewStore) -> None:
    play(new_store, examples=100, steps=40)


def test_a_stranger_computes_every_thread_again_from_the_export(new_store: NewStore, tmp_path: Path) -> None:
    played = iter(range(1000))

    def from_export(day: AnyDay) -> None:
        folder = tmp_path / f"out-{next(played)}"
        export(day.store.place, folder)
        for one in day.results()[-2:]:
            answer = subprocess.run(
                [sys.executable, "-I", str(SCRIPT), str(folder), str(one["id"])],
                capture_output=True,
                text=True,
                check=False,
            )
            assert answer.returncode == 0, answer.stdout + answer.stderr
            assert json.loads(answer.stdout)["stored"] == one["value"]

    play(new_store, examples=2, steps=12, end=from_export)
