"""What is known beside results that are judged together: each thing is asked of the store once.

Good until something is entered: whoever enters begins another one.
"""

from collections.abc import Callable, Hashable, Iterable
from functools import partial
from typing import Any, Final, TypeVar

from sqlalchemy import Connection

from bench.control_records import IN_CONTROL, StateAt, state_at
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method, Reagent
from bench.parts import parts_of_all
from bench.records import Record, by_id, held_at
from storage.queries.control_records import ControlRecord, Source, latest_control_record
from storage.queries.holds import Hold, holds
from storage.queries.records import links_of
from storage.queries.results import CurrentResult, results_of_samples
from storage.queries.runs import Run, RunNote, RunWarning, run_notes, run_of, run_warnings

PASSED: Final = tuple(verdict.value for verdict in IN_CONTROL)

Answer = TypeVar("Answer")


class Beside:
    """Answers the questions of those who judge; what many of `results` have in common is asked for all."""

    def __init__(self, connection: Connection, results: Iterable[CurrentResult] = ()) -> None:
        self.connection = connection
        self._results = list(results)
        self._answers: dict[Hashable, Any] = {}
        self._of_samples: dict[int, list[CurrentResult]] = {}
        self._parts: dict[int, list[tuple[Source, CurrentResult]]] | None = None

    def widen(self, results: Iterable[CurrentResult]) -> None:
        """Judge further results too."""
        self._results += results
        self._parts = None

    def _once(self, key: Hashable, ask: Callable[[], Answer]) -> Answer:
        if key not in self._answers:
            self._answers[key] = ask()
        answer: Answer = self._answers[key]
        return answer

    def method(self, of: CurrentResult) -> Record[Method]:
        """Return the version of the method that a result was made by."""
        key = (of.method_id, of.method_version)
        return self._once(("method", *key), partial(by_id, self.connection, Method, *key))

    def linked(self, method: Record[Method], role: str) -> list[int]:
        """Return the ids of the records that a version of a method names in a role."""
        key = (method.record_id, method.version.version)
        links = self._once(("links", *key), partial(links_of, self.connection, *key))
        return [target for named, target in links if named == role]

    def reagent(self, record_id: int, at_us: int) -> Record[Reagent] | None:
        """Return a bottle as it was at a moment. [µs]"""
        key = (record_id, at_us)
        return self._once(("reagent", *key), partial(held_at, self.connection, Reagent, *key))

    def titrant(self, method: Record[Method]) -> int | None:
        """Return the id of the titrant that a version of a method names."""
        return next(iter(self.linked(method, "titrant")), None)

    def state(self, kind: str, of: CurrentResult) -> StateAt:
        """Return what the newest record of a kind said of a result's instrument when it was measured."""
        ask = partial(state_at, self.connection, kind, of.at_us, instrument=of.instrument)
        return self._once(("state", kind, of.instrument, of.at_us), ask)

    def passed(self, material_id: int, of: CurrentResult) -> ControlRecord | None:
        """Return the last check of a material that passed on a result's instrument before it was measured."""
        ask = partial(
            latest_control_record,
            self.connection,
            "check",
            of.at_us,
            instrument=of.instrument,
            subject_id=material_id,
            verdicts=PASSED,
        )
        return self._once(("passed", material_id, of.instrument, of.at_us), ask)

    def holds(self) -> list[Hold]:
        """Return every hold as it stands."""
        return self._once("holds", partial(holds, self.connection))

    def of_sample(self, sample_id: int) -> list[CurrentResult]:
        """Return every result of a sample as it stands, in the order of their ids."""
        if sample_id not in self._of_samples:
            asked = {one.sample_id for one in self._results if one.sample_id is not None}
            wanted = ({sample_id} | asked) - set(self._of_samples)
            self._of_samples |= results_of_samples(self.connection, wanted)
        return self._of_samples[sample_id]

    def parts(self, of: CurrentResult) -> list[tuple[Source, CurrentResult]]:
        """Return the results that one of the results stands on, as they stand; none for a measured one."""
        if self._parts is None:
            self._parts = parts_of_all(self.connection, self._results)
        return self._parts.get(of.result_id, [])

    def lot(self, sample_id: int) -> str | None:
        """Return the code of the lot that a sample is of."""
        sample = self._once(("sample", sample_id), partial(by_id, self.connection, Sample, sample_id))
        return sample.body.lot

    def run(self, number: int) -> Run | None:
        """Return a run."""
        return self._once(("run", number), partial(run_of, self.connection, number))

    def run_warnings(self, number: int) -> list[RunWarning]:
        """Return what the checks of a running curve found, oldest first."""
        return self._once(("warnings", number), partial(run_warnings, self.connection, number))

    def run_notes(self, number: int) -> list[RunNote]:
        """Return what people said of a run, oldest first."""
        return self._once(("notes", number), partial(run_notes, self.connection, number))
