"""What people do with a run: stop watching it, note something, reject it, take that back."""

from typing import Final

from sqlalchemy import Connection

from bench.actor import Actor
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from bench.results import judge
from storage.bench_rows import RunEndRow, RunNoteRow
from storage.queries.runs import Run, last_point, results_of_run, run_notes, run_of
from storage.transaction import Transaction

LONGEST: Final = 4000  # characters of a note


def known_run(connection: Connection, number: int) -> Run:
    """Return a run; raise `NotThereError` if there is none."""
    found = run_of(connection, number)
    if found is None:
        raise NotThereError("run.unknown", f"there is no run {number}")
    return found


def note(tx: Transaction, actor: Actor, number: int, text: str) -> int:
    """Write a note on a run."""
    known_run(tx.connection, number)
    if not text.strip() or len(text) > LONGEST:
        detail = f"a note has 1 to {LONGEST} characters"
        raise MalformedError("run.note_empty", detail, Fault("text", detail))
    return _enter_note(tx, actor, RunNoteRow(number, "note", text.strip()))


def reject(tx: Transaction, actor: Actor, number: int) -> int:
    """Reject a run: what it gave is not to be used, and stays readable; a reason is wanted."""
    known_run(tx.connection, number)
    if is_rejected(tx.connection, number):
        raise RefusedError("run.rejected_already", f"run {number} was rejected already")
    return _marked(tx, actor, number, "rejected")


def take_back(tx: Transaction, actor: Actor, number: int) -> int:
    """Take the rejection of a run back; a reason is wanted."""
    known_run(tx.connection, number)
    if not is_rejected(tx.connection, number):
        raise RefusedError("run.not_rejected", f"run {number} is not rejected")
    return _marked(tx, actor, number, "taken_back")


def is_rejected(connection: Connection, number: int) -> bool:
    """Tell whether a run is rejected now."""
    marks = [one.kind for one in run_notes(connection, number) if one.kind != "note"]
    return bool(marks) and marks[-1] == "rejected"


def _marked(tx: Transaction, actor: Actor, number: int, kind: str) -> int:
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why", Fault("reason", "is empty"))
    entered = _enter_note(tx, actor, RunNoteRow(number, kind, actor.reason))
    judge(tx, actor, results_of_run(tx.connection, number))
    return entered


def abort(tx: Transaction, actor: Actor, number: int) -> int:
    """Enter that a run was stopped at the bench and will send no more; a reason is wanted.

    It stops nothing: nothing is ever sent to an instrument for it.
    """
    run = known_run(tx.connection, number)
    if run.how is not None:
        raise RefusedError("run.over", f"run {number} was {run.how} already")
    if not actor.reason:
        raise MalformedError("act.reason_wanted", "say why it was stopped", Fault("reason", "is empty"))
    row = RunEndRow(number, actor.at_us, "aborted", *last_point(tx.connection, run), actor.reason)
    entered = tx.enter(
        "run.ended",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"run_end": [row]},
    )
    judge(tx, actor, results_of_run(tx.connection, number))
    return entered


def _enter_note(tx: Transaction, actor: Actor, row: RunNoteRow) -> int:
    return tx.enter(
        f"run.{row.kind}",
        at_us=actor.at_us,
        actor=actor.name,
        actor_kind=actor.kind,
        reason=actor.reason,
        rows={"run_note": [row]},
    )
