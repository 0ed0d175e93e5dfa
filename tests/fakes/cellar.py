"""A small cellar with results, for tests of sheets: what stands in each cell is known beforehand."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final, TypeVar

from bench import judging, records, results
from bench.actor import Actor
from bench.amendments import Supposed, WhatIf, begin, put_in_force, stage, undo
from bench.canonical_json import to_text
from bench.control_records import About, enter
from bench.kinds.cellar import Lot, Sample
from bench.kinds.laboratory import Method
from bench.left_to_judge import Extent, judge_newest
from bench.records import find
from bench.results import Measured, make_result
from storage.bench_rows import AdditionRow, AdditionStepRow
from storage.ledger import ActorKind
from storage.queries.results import results_by_id
from storage.rows import Row
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US

Answer = TypeVar("Answer")
BY: Final = Actor("MAL", ActorKind.PERSON, NOON_US)
HOUR_US: Final = 3_600_000_000
METHODS: Final = {"SO2": "free_so2", "PH": "ph"}


class Cellar:
    """Enters lots, samples and results in a store."""

    def __init__(self, store: Store) -> None:
        self.store = store
        for lot in ("L1", "L2"):
            self.record("lot", lot, name=lot)
        for code, quantity in METHODS.items():
            self.record("method", code, name=code, quantity=quantity)
        self.record("method", "TA2", name="two people", quantity="ta_ph_8_2", release="second_person")

    def record(self, kind: str, code: str, **fields: Any) -> int:
        """Enter a record and return its id."""
        return self._do(lambda tx: records.make(tx, BY, kind, code, fields, valid_from_us=NOON_US))

    def sample(self, code: str, lot: str | None = "L1") -> None:
        """Enter a sample."""
        self.record("sample", code, lot=lot)

    def result(
        self, sample: str, method: str, value: float | None, at_us: int = NOON_US, outcome: str = "value"
    ) -> int:
        """Enter a result and return its id."""

        def work(tx: Transaction) -> int:
            held = find(tx.connection, Sample, sample)
            measured = Measured(value, outcome, at_us, "burette-1", held.record_id)
            return make_result(tx, BY, find(tx.connection, Method, method), measured)

        return self._do(work)

    def reject(self, result_id: int) -> None:
        """Keep a result from use."""
        self._do(lambda tx: results.reject(tx, replace(BY, reason="wrong flask"), result_id))

    def amend(self, result_id: int, value: float) -> int:
        """Put another value in force and return the amendment."""
        why = replace(BY, reason="aliquot was 10 mL")

        def work(tx: Transaction) -> int:
            (of,) = results_by_id(tx.connection, [result_id])
            number = begin(tx, why, WhatIf(NOON_US, NOON_US + HOUR_US, method="SO2", sample_ml=10.0), 1)
            stage(tx, why, number, [Supposed(of, value, None, of.inputs)])
            put_in_force(tx, why, number)
            judge_newest(tx, why, Extent(amendment_id=number))
            return number

        return self._do(work)

    def take_back(self, amendment: int) -> None:
        """Undo an amendment."""
        why = replace(BY, reason="it was 20 mL after all")

        def work(tx: Transaction) -> None:
            undo(tx, why, amendment)
            judge_newest(tx, why, Extent(amendment_id=amendment))

        self._do(work)

    def mass_check(self, shown_g: float, at_us: int = NOON_US) -> int:
        """Enter the check of a balance with 100 g."""
        judged = judging.mass_check(shown_g, 100.0, {})
        return self._do(
            lambda tx: enter(tx, BY, About("mass_check", at_us, "balance-1"), judged, evidence=[])
        )

    def check(self, value: float, at_us: int = NOON_US) -> int:
        """Enter a measured control material."""
        judged = judging.check(value, "mg/L", "free_so2", earlier=(), limits=None, rule_set="nordtest")
        return self._do(lambda tx: enter(tx, BY, About("check", at_us, "burette-1"), judged, evidence=[]))

    def addition(self, lot: str, mass_g: float) -> int:
        """Enter an addition as it was planned and weighed, and return its number."""
        substance = self.record("reagent", "KMBS", name="salt", reagent_kind="substance", strength=0.576)
        plan = {"volume_l": 1000.0, "salt_g": mass_g, "added_mg_l": 57.6, "free_mg_l": 30.5}

        def work(tx: Transaction) -> int:
            row = AdditionRow(
                find(tx.connection, Lot, lot).record_id, None, substance, "free_so2", to_text(plan)
            )
            number = _enter(tx, "addition.planned", addition=row)
            step = AdditionStepRow(number, "weighed", NOON_US + HOUR_US, mass_g, None, "{}")
            _enter(tx, "addition.weighed", addition_step=step)
            return number

        return self._do(work)

    def _do(self, work: Callable[[Transaction], Answer]) -> Answer:
        return self.store.writer.submit(work).result(30)


def _enter(tx: Transaction, action: str, **rows: Row) -> int:
    """Enter one row of each table that is named."""
    return tx.enter(
        action,
        at_us=BY.at_us,
        actor=BY.name,
        actor_kind=BY.kind,
        rows={table: [row] for table, row in rows.items()},
    )
