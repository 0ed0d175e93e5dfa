"""Faults in the layout of a driver file: its columns, labels and records."""

from collections.abc import Iterator, Sequence

from acquire.drivers.columns import place_of
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import characters_of
from acquire.drivers.field_faults import field_faults
from acquire.drivers.fields import ConstantField, Field
from acquire.drivers.layout_tables import Delimited, Fixed, Labelled


def layout_faults(definition: Definition) -> Iterator[str]:
    """Yield every fault of the layout, each with its key path."""
    if not definition.records or (definition.delimited is not None and definition.fixed is not None):
        yield "delimited, fixed, labelled: a driver file has one of these tables, or labelled beside rows"
        return
    if definition.delimited is not None:
        yield from _delimited_faults(definition, definition.delimited)
    if definition.fixed is not None:
        yield from _fixed_faults(definition, definition.fixed)
    if definition.labelled is not None:
        yield from _labelled_faults(definition, definition.labelled)
        yield from _beside_faults(definition)
    for at, record in enumerate(definition.records):
        yield from field_faults(record, definition, _path(definition, at))


def _path(definition: Definition, number: int) -> str:
    if definition.records[number] is definition.labelled:
        return "labelled.fields"
    name = "delimited" if definition.delimited is not None else "fixed"
    return f"{name}.records.{number}.columns"


def _beside_faults(definition: Definition) -> Iterator[str]:
    """Yield the faults of rows from which a labelled message could not be told."""
    rows = definition.delimited or definition.fixed
    if rows is None:
        return
    if not all(isinstance(record.columns[0], ConstantField) for record in rows.records):
        yield "labelled: beside rows that all begin with a constant, so that the two can be told apart"
    if rows.rows or (isinstance(rows, Delimited) and rows.header):
        yield "labelled: it cannot stand beside frames of several rows, or a table with a header row"


def _delimited_faults(definition: Definition, layout: Delimited) -> Iterator[str]:
    separator = _characters_or_none(layout.separator, definition)
    if not separator or "\ufffd" in separator:
        yield "delimited.separator: it must be at least one character"
    if separator in (definition.numbers.decimal, definition.numbers.thousands) and not layout.quoted:
        yield f"delimited.separator: {separator!r} also stands inside numbers"
    if layout.quoted and (len(separator) != 1 or layout.runs):
        yield "delimited.quoted: quoted columns need a separator of one character, without runs"
    if layout.runs and layout.trailing:
        yield "delimited.trailing: with runs, separators at the end of a row are ignored already"
    if layout.rows and layout.rows == layout.separator:
        yield "delimited.rows: rows end with what separates columns"
    yield from _record_faults(layout, "delimited.records")
    yield from _header_faults(layout)
    for number, record in enumerate(layout.records):
        path = f"delimited.records.{number}.columns"
        yield from _label_faults(record.columns, path, wanted=layout.header)
        yield from _place_faults(record.columns, path, wanted=False)
        if not layout.header:
            yield from _missing_faults(record.columns, path)


def _record_faults(layout: Delimited | Fixed, path: str) -> Iterator[str]:
    """Yield the faults of records that a row could not be told to belong to."""
    firsts = [record.columns[0] for record in layout.records]
    marks = [field.text if isinstance(field, ConstantField) else None for field in firsts]
    for mark in sorted({str(mark) for mark in marks if marks.count(mark) > 1}):
        yield f"{path}: two records begin with {mark}; constant first columns tell records apart"


def _header_faults(layout: Delimited) -> Iterator[str]:
    if layout.header:
        if len(layout.records) > 1:
            yield "delimited.header: with a header row there can be one record only"
        if not any(field.required for field in layout.records[0].columns):
            yield "delimited.header: without a required column, no row is known to be the header row"
        return
    for key in ("preamble", "units_row", "footer"):
        if getattr(layout, key):
            yield f"delimited.{key}: it belongs to a table with header = true"


def _fixed_faults(definition: Definition, layout: Fixed) -> Iterator[str]:
    if " " in definition.framing.filler:
        yield "framing.filler: blanks keep fixed columns in their places"
    yield from _record_faults(layout, "fixed.records")
    for number, record in enumerate(layout.records):
        path = f"fixed.records.{number}.columns"
        yield from _label_faults(record.columns, path, wanted=False)
        yield from _missing_faults(record.columns, path)
        yield from _place_faults(record.columns, path, wanted=True)
        places = [(at, place_of(field)) for at, field in enumerate(record.columns)]
        for at, place in places:
            if place.stop > layout.width:
                yield f"{path}.{at}.at: it ends at {place.stop}, behind the width of {layout.width}"
            if any(place.start < other.stop and other.start < place.stop for _, other in places[:at]):
                yield f"{path}.{at}.at: it overlaps another column"


def _place_faults(fields: Sequence[Field], path: str, *, wanted: bool) -> Iterator[str]:
    for at, field in enumerate(fields):
        if wanted and (field.at is None or not 1 <= field.at[0] <= field.at[1]):
            yield f"{path}.{at}.at: a column needs its first and last character, counted from 1: at = [1, 8]"
        elif not wanted and field.at is not None:
            yield f"{path}.{at}.at: places of characters belong to fixed columns"


def _labelled_faults(definition: Definition, layout: Labelled) -> Iterator[str]:
    if not layout.between:
        yield "labelled.between: it must be at least one character"
    if layout.several and layout.between == " ":
        yield "labelled.several: with blanks between pairs, there always may be several; leave it out"
    if "." in layout.leader and definition.numbers.bare_point:
        yield "labelled.leader: a point before a number could be its decimal mark"
    if set(layout.leader) & set("+-\u2212,0123456789"):
        yield "labelled.leader: it could be part of a number"
    yield from _label_faults(layout.fields, "labelled.fields", wanted=True)
    yield from _place_faults(layout.fields, "labelled.fields", wanted=False)


def _label_faults(fields: Sequence[Field], path: str, *, wanted: bool) -> Iterator[str]:
    labels = [field.label for field in fields]
    for at, label in enumerate(labels):
        if wanted and not (label and label == label.strip()):
            yield f"{path}.{at}.label: a label is wanted, without blanks around it"
        elif not wanted and label is not None:
            yield f"{path}.{at}.label: labels of columns need header = true"
        elif label is not None and labels.index(label) < at:
            yield f"{path}.{at}.label: {label!r} is used twice"


def _missing_faults(fields: Sequence[Field], path: str) -> Iterator[str]:
    for at, field in enumerate(fields):
        if not field.required:
            yield f"{path}.{at}.required: only labelled fields may be missing"


def _characters_or_none(text: str, definition: Definition) -> str:
    """Return the characters of a text, or a character that no text has if its bytes are no text."""
    try:
        return characters_of(text, definition.framing.encoding)
    except UnicodeDecodeError:
        return "\ufffd"
