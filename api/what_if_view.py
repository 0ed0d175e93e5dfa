"""What the what-if sheet shows: old beside new, which decision changes, and amendments that may be undone."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection

from api.routes.results import rounded
from bench.amendments import FactorFrom, WhatIf, suppose
from bench.decisions import Change, Decider
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Reagent
from bench.records import find, find_usable, read
from bench.refused import Fault, MalformedError, NotThereError, RefusedError
from storage.queries.amendments import (
    AskedAmendment,
    amendment_by_number,
    newest_amendments,
    values_of_amendment,
)
from storage.queries.control_records import ControlRecord, control_records
from storage.queries.records import records_of_kind
from storage.queries.results import (
    CurrentResult,
    original_result,
    results_by_id,
    results_standing_on,
)

KINDS: Final = ("titrant", "aliquot")
"""Amendments that are asked for on the sheet."""
NEWEST: Final = 20
MOST: Final = 1000
SHOWN: Final = 500
"""Results of one preview that are drawn; all are counted."""


@dataclass(frozen=True, slots=True)
class Row:
    """One result, old beside new."""

    of: CurrentResult
    sample: str | None
    lot: str | None
    new_sample: str | None
    """The sample that it would belong to; None where it stays with its own."""
    old: str | None
    """Rounded as people read it. [unit of the result]"""
    new: str | None
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Choices:
    """What may be supposed otherwise."""

    titrants: tuple[str, ...]
    methods: tuple[str, ...]
    samples: tuple[str, ...]
    factors: tuple[ControlRecord, ...]
    """Standardisations of the titrant that was chosen, newest first."""


@dataclass(frozen=True, slots=True)
class Preview:
    """What a supposition would change."""

    rows: tuple[Row, ...]
    count: int
    decisions: int
    """How many decisions change."""


@dataclass(frozen=True, slots=True)
class WhatIfView:
    """The sheet."""

    choices: Choices
    preview: Preview | None
    why_not: str
    faults: Mapping[str, str]
    newest: tuple[AskedAmendment, ...]


@dataclass(frozen=True, slots=True)
class AmendmentView:
    """One amendment with each of its results."""

    of: AskedAmendment
    rows: tuple[tuple[CurrentResult, str | None, str | None, str | None], ...]
    """The result as it stands now, its sample, its original and its value by this amendment, rounded."""


@dataclass(frozen=True, slots=True)
class OtherSample:
    """A reading that is supposed to belong to another sample."""

    reading: int
    sample: str


def read_sheet(connection: Connection, what: WhatIf | OtherSample | None, titrant: str | None) -> WhatIfView:
    """Return the sheet with what a supposition would change; nothing is written."""
    choices = _choices(connection, titrant)
    newest = tuple(newest_amendments(connection, KINDS, NEWEST))
    if what is None:
        return WhatIfView(choices, None, "", {}, newest)
    try:
        preview = _preview(connection, what)
    except RefusedError as refused:
        return WhatIfView(choices, None, refused.detail, _by_field(refused.faults), newest)
    return WhatIfView(choices, preview, "", {}, newest)


def _by_field(faults: tuple[Fault, ...]) -> dict[str, str]:
    return {one.field: one.detail for one in faults if one.field}


def _choices(connection: Connection, titrant: str | None) -> Choices:
    bottles = [read(one, Reagent) for one in records_of_kind(connection, "reagent", limit=MOST)]
    titrants = {one.code: one.record_id for one in bottles if one.body.reagent_kind == "titrant"}
    known = titrants.get(titrant or "")
    factors = (
        []
        if known is None
        else control_records(connection, kind="standardisation", subject_id=known, limit=MOST)
    )
    return Choices(
        tuple(titrants),
        tuple(one.code for one in records_of_kind(connection, "method", limit=MOST)),
        tuple(one.code for one in records_of_kind(connection, "sample", limit=MOST)),
        tuple(sorted(factors, key=lambda one: -one.at_us)),
    )


def factors_found(connection: Connection, titrant: str) -> tuple[FactorFrom, ...]:
    """Return the factors that standardisations of a titrant found, in the order of time."""
    subject_id = find(connection, Reagent, titrant).record_id
    found = control_records(connection, kind="standardisation", subject_id=subject_id, limit=MOST)
    passed = [one for one in found if one.value is not None and one.verdict != "fail"]
    return tuple(FactorFrom(one.at_us, one.value or 1.0) for one in sorted(passed, key=lambda one: one.at_us))


def _preview(connection: Connection, what: WhatIf | OtherSample) -> Preview:
    decider = Decider(connection)
    if isinstance(what, OtherSample):
        rows = _moved(connection, decider, what)
        return Preview(tuple(rows), len(rows), sum(len(one.changes) for one in rows))
    found = [(one, decider.changes(one.of, one.value)) for one in suppose(connection, what)]
    drawn = [_drawn(decider, one.of, one.value, changes) for one, changes in found[:SHOWN]]
    return Preview(tuple(drawn), len(found), sum(len(changes) for _, changes in found))


def _moved(connection: Connection, decider: Decider, what: OtherSample) -> list[Row]:
    sample = find_usable(connection, Sample, what.sample)
    found = results_by_id(connection, results_standing_on(connection, "reading", [what.reading]))
    if not found:
        detail = f"no result stands on reading {what.reading}"
        raise NotThereError("result.unknown", detail, Fault("reading", detail))
    if all(one.sample_id == sample.record_id for one in found):
        detail = f"reading {what.reading} belongs to {what.sample} already"
        raise MalformedError("amendment.changes_nothing", detail, Fault("sample", detail))
    return [
        _drawn(
            decider,
            of,
            of.value,
            [] if of.value is None else decider.changes(of, of.value, sample.record_id),
            what.sample,
        )
        for of in found
    ]


def _drawn(
    decider: Decider,
    of: CurrentResult,
    value: float | None,
    changes: list[Change],
    new_sample: str | None = None,
) -> Row:
    method = decider.method_of(of)
    named = None if of.sample_id is None else decider.lot_of(of.sample_id)
    return Row(
        of,
        decider.code_of(of.sample_id),
        None if named is None else named[0],
        new_sample,
        rounded(of, method),
        None if value is None else f"{value:.{method.decimals}f}",
        tuple(changes),
    )


def read_amendment(connection: Connection, number: int) -> AmendmentView:
    """Return one amendment; raise `NotThereError` if there is none."""
    of = amendment_by_number(connection, number)
    if of is None:
        raise NotThereError("amendment.unknown", f"there is no amendment {number}")
    decider = Decider(connection)
    values = values_of_amendment(connection, number)
    rows = []
    for one in results_by_id(connection, list(values)[:SHOWN]):
        decimals = decider.method_of(one).decimals
        original = original_result(connection, one.result_id)
        told = [None if original is None else original.value, values[one.result_id]]
        old, new = (None if value is None else f"{value:.{decimals}f}" for value in told)
        rows.append((one, decider.code_of(one.sample_id), old, new))
    return AmendmentView(of, tuple(rows))
