"""A result at another end point, from the stored curve of a run: worked out anew, the original untouched."""

from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.actor import Actor
from bench.control_records import Evidence
from bench.evaluation import Evaluated, evaluate
from bench.kinds.laboratory import Method
from bench.records import Record, find_usable, held_at
from bench.refused import Fault, RefusedError
from bench.results import Measured, enter_result
from bench.run_acts import known_run
from evaluate.curve import Curve, clean_curve
from evaluate.end_point import EndPoint
from evaluate.end_point_derivative import first_derivative_end_points
from evaluate.end_point_fixed import fixed_value_end_point
from evaluate.errors import EvaluateError
from evaluate.units import quantity
from storage.queries.result_statements import ResultFilter
from storage.queries.results import CurrentResult, results_after, results_by_id
from storage.queries.runs import Run, points_of_run, results_of_run
from storage.transaction import Transaction

LEAST_POINTS: Final = 2  # [1]; an end point lies between two


class FromCurve(NamedTuple):
    """What the curve of a run amounts to by a method."""

    method: Record[Method]
    run: Run
    end_point: EndPoint
    evaluated: Evaluated


def from_curve(connection: Connection, number: int, method_code: str) -> FromCurve:
    """Return what a run gives by a method that finds its end point on the stored curve; nothing is written.

    Raises
    ------
    RefusedError
        If the method does not say how to find the end point, the run goes on, or the curve shows none.
    """
    run = known_run(connection, number)
    newest = find_usable(connection, Method, method_code)
    method = held_at(connection, Method, newest.record_id, run.started_at_us) or newest
    if method.body.curve_end == "none":
        detail = f"method {method_code} does not find its end point on a curve: give it a curve_end"
        raise RefusedError("run.no_curve_end", detail, Fault("method", detail))
    if run.how is None:
        raise RefusedError("run.goes_on", f"run {number} goes on: wait for its end")
    try:
        point = _end_point(curve_of(connection, run, method.body.signal), method.body)
    except EvaluateError as error:
        raise RefusedError(
            "run.no_end_point", f"run {number}: {error}", Fault("method", str(error))
        ) from error
    found = evaluate(connection, method, point.volume_ml, run.started_at_us, run.instrument)
    return FromCurve(method, run, point, found)


def unit_of(found: FromCurve) -> str:
    """Return the unit of what was found."""
    return quantity(found.method.body.quantity).unit


def curve_of(connection: Connection, run: Run, signal: str) -> Curve:
    """Return the cleaned curve of a run by one signal; the first that it has if none is named."""
    points = points_of_run(connection, run)
    wanted = signal or next((one.signal_quantity for one in points), "")
    of_signal = [one for one in points if one.signal_quantity == wanted]
    return clean_curve([one.volume_ml for one in of_signal], [one.signal for one in of_signal])


def _end_point(curve: Curve, method: Method) -> EndPoint:
    if method.curve_end == "inflection":
        return first_derivative_end_points(curve).only()
    return fixed_value_end_point(curve, method.curve_end_value or 0.0).only()


def make_from_curve(tx: Transaction, actor: Actor, number: int, method_code: str) -> int:
    """Enter the result of a run at another end point; it stands on the run and on the run's own result."""
    found = from_curve(tx.connection, number, method_code)
    original = _original(tx.connection, found)
    evidence = [Evidence("curve", "run", number)]
    if original is not None:
        evidence.append(Evidence("original", "result", original.result_id, original.version))
    sample_id = found.run.sample_id if original is None else original.sample_id
    measured = Measured(
        found.end_point.volume_ml,
        "value",
        found.run.started_at_us if original is None else original.at_us,
        found.run.instrument,
        sample_id,
        run_id=number,
        evidence=tuple(evidence),
    )
    if _made_before(tx.connection, found, sample_id):
        detail = f"run {number} has a result by {method_code} already"
        raise RefusedError("run.result_made", detail, Fault("method", detail))
    return enter_result(tx, actor, found.method, measured, found.evaluated)


def _original(connection: Connection, found: FromCurve) -> CurrentResult | None:
    made = results_by_id(connection, results_of_run(connection, found.run.number))
    others = [one for one in made if one.method_id != found.method.record_id]
    return others[0] if others else None


def _made_before(connection: Connection, found: FromCurve, sample_id: int | None) -> bool:
    if sample_id is None:
        return found.method.record_id in {
            one.method_id for one in results_by_id(connection, results_of_run(connection, found.run.number))
        }
    wanted = ResultFilter(sample_ids=(sample_id,), method_id=found.method.record_id)
    return any(one.run_id == found.run.number for one in results_after(connection, wanted))
