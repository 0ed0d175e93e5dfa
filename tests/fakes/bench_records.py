"""One record of each kind, a tray, a judged check that failed and a result, for tests that only look."""

from dataclasses import replace
from typing import Any, Final

from bench import additions, judging, records, tray
from bench.actor import Actor
from bench.addition_plan import Asked
from bench.amendments import Supposed, WhatIf, begin, stage
from bench.control_records import About, enter
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.movements import NewMovement, NewPart, move
from bench.records import find
from bench.results import Measured, make_result
from bench.runs import RunWatch
from bench.tray import NewItem
from storage.ledger import ActorKind
from storage.queries.results import results_by_id
from storage.queries.runs import runs_after
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US, Filler
from tests.fakes.running_burette import RunningBurette, acid_curve

CODE: Final = "X1"
BY: Final = Actor("MAL", ActorKind.PERSON, NOON_US)

FIELDS: Final[dict[str, dict[str, Any]]] = {
    "lot": {"name": "Riesling", "wine_class": "white", "volume_l": 1000},
    "vessel": {"vessel_kind": "tank", "capacity_l": 5000},
    "sample": {"lot": CODE},
    "alias": {"source": "outside", "name": "PN 1", "lot": CODE},
    "reagent": {"name": "check wine", "reagent_kind": "control_material"},
    "method": {"name": "free SO2", "quantity": "free_so2"},
    "instrument": {"name": "burette"},
    "limit_set": {
        "material": CODE,
        "quantity": "free_so2",
        "centre": 26.0,
        "sd": 0.9,
        "centre_origin": "assigned",
        "sd_origin": "given",
    },
    "acceptance": {"applies_to": "calibration"},
    "person": {"name": "Mallow"},
}


def fill_records(store: Store) -> dict[str, int]:
    """Enter them all, and return the numbers of those that have no code, by name."""
    numbers = store.writer.submit(_fill).result(10)
    return {**numbers, "run": _fill_run(store)}


def _fill_run(store: Store) -> int:
    """Let a burette titrate, and return the number of its run."""
    fields = {"name": "end on the curve", "quantity": "ph", "curve_end": "value", "curve_end_value": 7.0}
    store.writer.submit(
        lambda tx: records.make(tx, BY, "method", "X3", fields, valid_from_us=NOON_US)
    ).result(10)
    burette = RunningBurette(Filler(store), "running", "burette-9")
    burette.draw(acid_curve(step_ml=1.0))
    burette.end()
    RunWatch(store, lambda: NOON_US, "tundish").step()
    with store.reader() as connection:
        return runs_after(connection)[-1].number


def _fill(tx: Transaction) -> dict[str, int]:
    for kind, fields in FIELDS.items():
        records.make(tx, BY, kind, CODE, fields, valid_from_us=NOON_US)
    tray.put(tx, BY, "burette-1", [NewItem("sample", CODE, tests=(CODE,))])
    failed = judging.mass_check(99.0, 100.0, {})
    control = enter(tx, BY, About("mass_check", NOON_US, "balance-1"), failed, evidence=[])
    sample, method = find(tx.connection, Sample, CODE), find(tx.connection, Method, CODE)
    measured = Measured(28.4, "value", NOON_US, "burette-1", sample.record_id)
    result = make_result(tx, BY, method, measured)
    numbers = {"control": control, "hold": control + 1, "result": result, "amendment": _amend(tx, result)}
    return {**numbers, **_fill_cellar(tx, sample.record_id)}


def _fill_cellar(tx: Transaction, sample_id: int) -> dict[str, int]:
    """Enter a total beside the free, and a movement into the lot."""
    fields = {"name": "total SO2", "quantity": "total_so2"}
    records.make(tx, BY, "method", "X2", fields, valid_from_us=NOON_US)
    total = find(tx.connection, Method, "X2")
    make_result(tx, BY, total, Measured(98.0, "value", NOON_US, "burette-1", sample_id))
    movement = move(tx, BY, NewMovement("fill", NOON_US, CODE, (NewPart(1000.0),)))
    salt = {"name": "metabisulfite", "reagent_kind": "substance", "strength": 0.576}
    records.make(tx, BY, "reagent", "X2", salt, valid_from_us=NOON_US)
    asked = Asked(CODE, "X2", dose_mg_l=10, volume_l=1000, limit_mg_l=200)
    addition = additions.plan(tx, replace(BY, reason="to have one"), asked)
    return {"movement": movement, "addition": addition}


def _amend(tx: Transaction, result: int) -> int:
    """Enter an amendment of one result that is not in force yet."""
    (of,) = results_by_id(tx.connection, [result])
    what = WhatIf(NOON_US, NOON_US, method=CODE, sample_ml=10.0)
    amendment = begin(tx, replace(BY, reason="to have one"), what, 1)
    stage(tx, BY, amendment, [Supposed(of, 28.5, None, of.inputs)])
    return amendment
