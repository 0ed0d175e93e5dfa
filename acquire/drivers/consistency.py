"""What a driver file must be beyond the type of each key: its parts fit together, and nothing can be misread.

Every fault names its key path, and all of them are found at once.
"""

from collections.abc import Iterator

from acquire.drivers.consistency_framing import framing_faults
from acquire.drivers.consistency_layout import layout_faults
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import bytes_of
from acquire.drivers.times import TimeForm
from acquire.drivers.zones import zone_fault
from evaluate.units import UnitError, unit


def faults_of(definition: Definition) -> list[str]:
    """Return every fault of a driver file, each with its key path; empty if it can be used."""
    undecodable = list(_escape_faults(definition))
    if undecodable:
        return undecodable
    return [
        *framing_faults(definition),
        *_word_faults(definition),
        *layout_faults(definition),
        *_example_faults(definition),
    ]


def _escape_faults(definition: Definition) -> Iterator[str]:
    for path, text in _escaped_texts(definition):
        try:
            bytes_of(text, definition.framing.encoding)
        except ValueError as error:
            yield f"{path}: {error}"


def _escaped_texts(definition: Definition) -> Iterator[tuple[str, str]]:
    """Yield every text that stands for bytes, with its key path."""
    framing = definition.framing
    for key in ("start", "filler", "ignore"):
        yield f"framing.{key}", getattr(framing, key)
    for key in ("ends", "prompts", "ignore_lines"):
        for at, text in enumerate(getattr(framing, key)):
            yield f"framing.{key}.{at}", text
    for name, keys in _ESCAPED.items():
        table = getattr(definition, name)
        for key in keys if table is not None else ():
            yield f"{name}.{key}", getattr(table, key)
    for at, example in enumerate(definition.examples):
        yield f"examples.{at}.raw", example.raw


_ESCAPED = {
    "block": ("begin", "end"),
    "check": ("mark",),
    "delimited": ("separator", "rows"),
    "fixed": ("rows",),
    "labelled": ("between", "label_end"),
}
"""Keys of other tables whose texts stand for bytes."""


def _word_faults(definition: Definition) -> Iterator[str]:
    if definition.numbers.decimal == definition.numbers.thousands:
        yield "numbers.thousands: the same as the decimal mark"
    tokens = [text for _, texts in definition.tokens for text in texts]
    for text in sorted({text for text in tokens if tokens.count(text) > 1}):
        yield f"tokens: {text!r} is listed twice"
    marks = [text for _, texts in definition.range_marks for text in texts]
    for text in sorted({text for text in marks if marks.count(text) > 1 or not text.strip()}):
        yield f"range_marks: {text!r} is empty or listed twice"
    for text, code in definition.units.items():
        try:
            unit(code)
        except UnitError as error:
            yield f"units.{text}: {error}"
    if definition.time is not None:
        try:
            TimeForm(definition.time.form)
        except ValueError as error:
            yield f"time.form: {error}"
        zone = definition.time.zone
        if zone is not None and (fault := zone_fault(zone)):
            yield f"time.zone: {fault}"


def _example_faults(definition: Definition) -> Iterator[str]:
    if not any(
        (example.expect or example.notices) and not isinstance(example.expect, str)
        for example in definition.examples
    ):
        yield "examples: at least one example must expect a reading or a notice"
    for at, example in enumerate(definition.examples):
        if isinstance(example.expect, str) and example.notices:
            yield f"examples.{at}.notices: a refused frame gives none"
