"""Readers of the fields beside the values: each takes its text and notes what it says."""

from collections.abc import Callable, Collection, Mapping

from acquire.drivers.fields import StatusField
from acquire.drivers.message import Facts
from acquire.drivers.refusal import Refusal, shown
from acquire.drivers.times import TimeForm
from acquire.drivers.zones import Zone
from acquire.reasons import UNKNOWN_CODE, UNKNOWN_MODE, WRONG_INSTRUMENT, WRONG_LAYOUT

FactReader = Callable[[str, Facts], None]
"""Takes the stripped text of a field and notes what it says; raises `Refusal`."""


def note_sample(text: str, facts: Facts) -> None:
    """Note the id of the sample; an empty one is none."""
    facts.sample = text or None


def sequence_reader(digits: int | None) -> FactReader:
    """Return the reader of a sequence, of as many digits if that is declared."""

    def note_sequence(text: str, facts: Facts) -> None:
        if not text or (
            digits is not None and not (len(text) == digits and text.isascii() and text.isdigit())
        ):
            wanted = "some text" if digits is None else f"{digits} digits"
            raise Refusal(WRONG_LAYOUT, f"the sequence is {shown(text)}, wanted {wanted}")
        facts.sequence = text

    return note_sequence


def time_reader(form: TimeForm, zone: Zone | None = None) -> FactReader:
    """Return the reader of a time; a date and a time of day from two fields become one."""

    def note_time(text: str, facts: Facts) -> None:
        if not text:
            return
        time = form.read(text)
        other = facts.instrument_time
        if other is not None:
            time = f"{time}T{other}" if form.has_date else f"{other}T{time}"
        facts.instrument_time = zone.applied(time) if zone is not None and "T" in time else time

    return note_time


def mode_reader(texts: Collection[str]) -> FactReader:
    """Return the reader of a mode, one of those texts if there are any."""
    known = frozenset(texts)
    listed = ", ".join(texts)

    def note_mode(text: str, facts: Facts) -> None:
        if known and text not in known:
            raise Refusal(UNKNOWN_MODE, f"wanted one of {listed}, got {shown(text)}")
        facts.mode = text or None

    return note_mode


def stable_reader(stability: Mapping[str, bool]) -> FactReader:
    """Return the reader of a stability mark."""
    listed = ", ".join(stability)

    def note_stable(text: str, facts: Facts) -> None:
        if text not in stability:
            raise Refusal(WRONG_LAYOUT, f"the stability mark is {shown(text)}, wanted one of {listed}")
        facts.stable = stability[text]

    return note_stable


def status_reader(field: StatusField) -> FactReader:
    """Return the reader of a status code."""
    listed = ", ".join(field.codes)

    def note_status(text: str, facts: Facts) -> None:
        outcome = field.codes.get(text)
        if outcome is None:
            raise Refusal(UNKNOWN_CODE, f"the status code is {shown(text)}, wanted one of {listed}")
        facts.note_code(text, outcome, field.words.get(text, ""))

    return note_status


def identity_reader(texts: Collection[str]) -> FactReader:
    """Return the reader of what the instrument says it is, one of those texts if there are any."""
    listed = " or ".join(map(repr, texts))

    def note_identity(text: str, facts: Facts) -> None:
        if texts and text not in texts:
            raise Refusal(WRONG_INSTRUMENT, f"it says it is {shown(text)}, this driver is for {listed}")
        if text:
            facts.identities += (text,)

    return note_identity


def constant_reader(wanted: str) -> FactReader:
    """Return the reader of a text that is always the same."""

    def check_constant(text: str, _facts: Facts) -> None:
        if text != wanted:
            raise Refusal(WRONG_LAYOUT, f"wanted {wanted!r}, got {shown(text)}")

    return check_constant
