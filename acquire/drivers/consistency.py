"""What a driver file must be beyond the type of each key: its parts fit together, and nothing can be misread.

Every fault names its key path, and all of them are found at once.
"""

from collections.abc import Iterator, Sequence
from itertools import takewhile

from acquire.drivers.definition import Definition, Delimited, Labelled
from acquire.drivers.escapes import bytes_of, characters_of
from acquire.drivers.field_faults import field_faults
from acquire.drivers.fields import ConstantField, Field
from acquire.drivers.times import TimeForm
from evaluate.units import UnitError, unit


def faults_of(definition: Definition) -> list[str]:
    """Return every fault of a driver file, each with its key path; empty if it can be used."""
    undecodable = list(_escape_faults(definition))
    if undecodable:
        return undecodable
    return [
        *_framing_faults(definition),
        *_word_faults(definition),
        *_layout_faults(definition),
        *_check_faults(definition),
        *_example_faults(definition),
    ]


def _escape_faults(definition: Definition) -> Iterator[str]:
    framing = definition.framing
    texts = {f"framing.ends.{at}": mark for at, mark in enumerate(framing.ends)}
    texts |= {"framing.start": framing.start, "framing.filler": framing.filler}
    texts |= {f"examples.{at}.raw": example.raw for at, example in enumerate(definition.examples)}
    if definition.check is not None:
        texts["check.mark"] = definition.check.mark
    if definition.delimited is not None:
        texts["delimited.separator"] = definition.delimited.separator
    if definition.labelled is not None:
        texts["labelled.between"] = definition.labelled.between
        texts["labelled.label_end"] = definition.labelled.label_end
    for path, text in texts.items():
        try:
            bytes_of(text, framing.encoding)
        except ValueError as error:
            yield f"{path}: {error}"


def _framing_faults(definition: Definition) -> Iterator[str]:
    framing = definition.framing
    ends = [bytes_of(mark, framing.encoding) for mark in framing.ends]
    start = bytes_of(framing.start, framing.encoding)
    for at, mark in enumerate(ends):
        if not mark:
            yield f"framing.ends.{at}: an end mark needs at least one byte"
        if any(other and other != mark and other in mark[:-1] for other in ends):
            yield f"framing.ends.{at}: another end mark ends inside {mark!r}, so it would never be seen"
    if max(map(len, ends)) + len(start) >= framing.max_length:
        yield f"framing.max_length: {framing.max_length} bytes have no room for more than the marks"
    if start and framing.distrust_first:
        yield "framing.distrust_first: with a start mark, every beginning is sure; leave it out"
    if any(ord(character) > 0x7F for character in characters_or_none(framing.filler, definition)):
        yield "framing.filler: only ASCII characters can be filler"


def characters_or_none(text: str, definition: Definition) -> str:
    """Return the characters of a text, or a character that is no ASCII if its bytes are no text."""
    try:
        return characters_of(text, definition.framing.encoding)
    except UnicodeDecodeError:
        return "\ufffd"


def _word_faults(definition: Definition) -> Iterator[str]:
    if definition.numbers.decimal == definition.numbers.thousands:
        yield "numbers.thousands: the same as the decimal mark"
    tokens = [text for _, texts in definition.tokens for text in texts]
    for text in sorted({text for text in tokens if tokens.count(text) > 1}):
        yield f"tokens: {text!r} is listed twice"
    marks = [*definition.range_marks.above, *definition.range_marks.below]
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


def _layout_faults(definition: Definition) -> Iterator[str]:
    if (definition.delimited is None) == (definition.labelled is None):
        yield "delimited, labelled: a driver file has exactly one of these tables"
    elif definition.delimited is not None:
        yield from _delimited_faults(definition, definition.delimited)
        for at, record in enumerate(definition.delimited.records):
            yield from field_faults(record.columns, definition, f"delimited.records.{at}.columns")
    elif definition.labelled is not None:
        yield from _labelled_faults(definition.labelled)
        yield from field_faults(definition.labelled.fields, definition, "labelled.fields")


def _delimited_faults(definition: Definition, layout: Delimited) -> Iterator[str]:
    separator = characters_or_none(layout.separator, definition)
    if not separator or "\ufffd" in separator:
        yield "delimited.separator: it must be at least one character"
    if separator in (definition.numbers.decimal, definition.numbers.thousands) and not layout.quoted:
        yield f"delimited.separator: {separator!r} also stands inside numbers"
    if layout.quoted and (len(separator) != 1 or layout.runs):
        yield "delimited.quoted: quoted columns need a separator of one character, without runs"
    if layout.runs and layout.trailing:
        yield "delimited.trailing: with runs, separators at the end of a row are ignored already"
    firsts = [record.columns[0] for record in layout.records]
    marks = [field.text if isinstance(field, ConstantField) else None for field in firsts]
    for mark in sorted({str(mark) for mark in marks if marks.count(mark) > 1}):
        yield f"delimited.records: two records begin with {mark}; constant first columns tell records apart"
    yield from _header_faults(layout)


def _header_faults(layout: Delimited) -> Iterator[str]:
    if layout.header and len(layout.records) > 1:
        yield "delimited.header: with a header row there can be one record only"
    for number, record in enumerate(layout.records):
        path = f"delimited.records.{number}.columns"
        yield from _label_faults(record.columns, path, wanted=layout.header)
        for at, field in enumerate(record.columns):
            if not field.required:
                yield f"{path}.{at}.required: only labelled fields may be missing"


def _labelled_faults(layout: Labelled) -> Iterator[str]:
    if not layout.between:
        yield "labelled.between: it must be at least one character"
    yield from _label_faults(layout.fields, "labelled.fields", wanted=True)


def _label_faults(fields: Sequence[Field], path: str, *, wanted: bool) -> Iterator[str]:
    labels = [field.label for field in fields]
    for at, label in enumerate(labels):
        if wanted and not (label and label == label.strip()):
            yield f"{path}.{at}.label: a label is wanted, without blanks around it"
        elif not wanted and label is not None:
            yield f"{path}.{at}.label: labels of columns need header = true"
        elif label is not None and labels.index(label) < at:
            yield f"{path}.{at}.label: {label!r} is used twice"


def _check_faults(definition: Definition) -> Iterator[str]:
    check = definition.check
    if check is None:
        return
    if check.includes_start and not definition.framing.start:
        yield "check.includes_start: there is no start mark"
    if check.skip_bytes > _unread_bytes(definition):
        yield (
            f"check.skip_bytes: a check covers every field that is read, but {check.skip_bytes} bytes are "
            "left out at the beginning; only constant columns may stand there"
        )
    if check.includes_start and check.skip_bytes:
        yield "check.skip_bytes: bytes behind a start mark that is covered cannot be left out"


def _unread_bytes(definition: Definition) -> int:
    """Return how many bytes at the beginning of every frame belong to constant columns. [bytes]"""
    if definition.delimited is None or definition.delimited.header:
        return 0
    separator = characters_or_none(definition.delimited.separator, definition)
    lengths = []
    for fields in definition.records:
        constants = [
            field.text
            for field in takewhile(lambda field: isinstance(field, ConstantField), fields)
            if isinstance(field, ConstantField)
        ]
        lengths.append(sum(len(text) + len(separator) for text in constants))
    return min(lengths)


def _example_faults(definition: Definition) -> Iterator[str]:
    if not any(example.expect and not isinstance(example.expect, str) for example in definition.examples):
        yield "examples: at least one example must expect a reading"
