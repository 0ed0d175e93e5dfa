"""What one message said, gathered while it is read, and the content that is made of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from acquire.drivers.layout_tables import Meaning, Run
from acquire.events import (
    CalibrationReport,
    CurvePoint,
    Identity,
    Notice,
    Outcome,
    Reading,
    RunEnded,
    RunStarted,
    Status,
)


@dataclass(slots=True)
class Facts:
    """What a message says besides its values."""

    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None
    stable: bool | None = None
    outcome: Outcome = Outcome.VALUE
    """What the status codes make of the numbers."""
    codes: tuple[tuple[str, Outcome, str], ...] = ()
    """Status codes: the code, what it makes of the numbers, its words."""
    identities: tuple[str, ...] = ()
    """What the instrument says it is."""

    def inherit(self, before: "Facts") -> None:
        """Take what was not said here from the rows before in the same frame."""
        self.sample = self.sample or before.sample
        self.sequence = self.sequence or before.sequence
        self.instrument_time = self.instrument_time or before.instrument_time
        self.mode = self.mode or before.mode
        if self.stable is None:
            self.stable = before.stable

    def note_code(self, code: str, outcome: Outcome, words: str) -> None:
        """Note a status code."""
        if outcome is not Outcome.VALUE:
            self.outcome = outcome
        self.codes += ((code, outcome, words),)


class Content(NamedTuple):
    """What was read in one row, or in one frame."""

    readings: tuple[Reading, ...]
    notices: tuple[Notice, ...]
    facts: Facts


def withheld(readings: Iterable[Reading], outcome: Outcome) -> tuple[Reading, ...]:
    """Return readings whose numbers a status code makes worthless; their texts stay."""
    return tuple(reading._replace(outcome=outcome, value=None) for reading in readings)


def content_of(values: tuple[Reading, ...], facts: Facts, means: Meaning, run: Run | None) -> Content:
    """Return what a message gives that may be more than readings."""
    said: dict[str, str | None] = {
        "sample": facts.sample,
        "sequence": facts.sequence,
        "instrument_time": facts.instrument_time,
        "mode": facts.mode,
    }
    notices: list[Notice] = [Status(code, outcome, words, **said) for code, outcome, words in facts.codes]
    notices += [Identity(text, **said) for text in facts.identities]
    if run == "starts":
        notices.append(RunStarted(**said))
    if means == "curve_point":
        notices.append(CurvePoint(values, **said))
    elif means == "calibration_report":
        notices.append(CalibrationReport(values, **said))
    if run in ("ends", "aborts"):
        aborted = run == "aborts" or any(value.outcome is Outcome.ABORTED for value in values)
        notices.append(RunEnded(aborted=aborted, **said))
    return Content(values if means == "readings" else (), tuple(notices), facts)


def joined(rows: Sequence[Content]) -> Content:
    """Return the content of a frame with several rows.

    A status code in a row without numbers of its own counts for the whole frame.
    """
    readings = tuple([reading for row in rows for reading in row.readings])
    for row in rows:
        if row.facts.outcome is not Outcome.VALUE and not row.readings:
            readings = withheld(readings, row.facts.outcome)
    notices: list[Notice] = []
    for notice in (notice for row in rows for notice in row.notices):
        last = notices[-1] if notices else None
        if isinstance(notice, CalibrationReport) and isinstance(last, CalibrationReport):
            notices[-1] = replace(notice, values=last.values + notice.values)
        else:
            notices.append(notice)
    return Content(readings, tuple(notices), rows[-1].facts if rows else Facts())
