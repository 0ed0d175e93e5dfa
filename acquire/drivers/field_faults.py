"""Faults of the fields of one record: what each names exists, and they fit together."""

from collections.abc import Iterator, Sequence
from typing import Final

from acquire.drivers.definition import Definition
from acquire.drivers.fields import (
    Field,
    ModeField,
    QualifierField,
    StableField,
    StatusField,
    TimeField,
    UnitField,
    ValueField,
)
from acquire.drivers.layout_tables import Labelled, Record
from acquire.drivers.record import qualifier_field_of, unit_field_of
from acquire.drivers.times import TimeForm
from evaluate.units import UnitError, fits

_AT_MOST_ONE: Final = ("sample", "sequence", "mode", "stable")


def field_faults(record: Record | Labelled, definition: Definition, path: str) -> Iterator[str]:
    """Yield every fault of the fields of one record, each with its key path."""
    fields = record.columns
    kinds = [field.kind for field in fields]
    for kind in _AT_MOST_ONE:
        if kinds.count(kind) > 1:
            yield f"{path}: a record has at most one field of kind {kind}"
    for at, field in enumerate(fields):
        match field:
            case ValueField():
                yield from _value_faults(at, fields, f"{path}.{at}")
            case UnitField() if not _has_value(at, fields):
                yield f"{path}.{at}: a unit needs a value field before it, with no other unit between"
            case QualifierField() if not _has_marked_value(at, fields):
                yield f"{path}.{at}: a qualifier needs a value field behind it, with no other between"
            case StatusField() if set(field.words) - set(field.codes):
                yield f"{path}.{at}.words: only codes that are listed have words"
            case StableField() if set(field.stable) & set(field.drifting):
                yield f"{path}.{at}: a mark cannot say both stable and drifting"
            case _:
                pass
    yield from _time_faults(fields, definition, path)
    if record.means != "readings" and "value" not in kinds:
        yield f"{path}: a record that means {record.means} needs values"


def _value_faults(at: int, fields: Sequence[Field], path: str) -> Iterator[str]:
    field = fields[at]
    assert isinstance(field, ValueField)  # noqa: S101 - for the type checker
    if bool(field.quantity) == bool(field.quantity_by_mode):
        yield f"{path}: a value names quantity or quantity_by_mode"
    if bool(field.unit) == bool(field.units):
        yield f"{path}: a value names unit (when it never changes) or units (when the instrument says it)"
    if field.quantity_by_mode and not any(isinstance(other, ModeField) for other in fields):
        yield f"{path}.quantity_by_mode: the record has no field of kind mode"
    if set(field.stable) & set(field.drifting):
        yield f"{path}: a mark cannot say both stable and drifting"
    for code in field.quantities:
        for unit_code in field.unit_codes:
            yield from _unit_faults(code, unit_code, path)


def _unit_faults(quantity_code: str, unit_code: str, path: str) -> Iterator[str]:
    try:
        if not fits(quantity_code, unit_code):
            yield f"{path}: {quantity_code} is never given in {unit_code}"
    except UnitError as error:
        yield f"{path}: {error}"


def _has_value(at: int, fields: Sequence[Field]) -> bool:
    return any(
        isinstance(field, ValueField) and unit_field_of(index, fields) == at
        for index, field in enumerate(fields)
    )


def _has_marked_value(at: int, fields: Sequence[Field]) -> bool:
    return any(
        isinstance(field, ValueField) and qualifier_field_of(index, fields) == at
        for index, field in enumerate(fields)
    )


def _time_faults(fields: Sequence[Field], definition: Definition, path: str) -> Iterator[str]:
    forms = []
    for at, field in enumerate(fields):
        if not isinstance(field, TimeField):
            continue
        text = field.form or (definition.time.form if definition.time is not None else None)
        if text is None:
            yield f"{path}.{at}.form: a time needs its form here or in the table time"
            continue
        try:
            forms.append(TimeForm(text))
        except ValueError as error:
            yield f"{path}.{at}.form: {error}"
    apart = sorted((form.has_date, form.has_time) for form in forms) == [(False, True), (True, False)]
    if len(forms) > 1 and not apart:
        yield f"{path}: a record has one time, or a date and a time of day in two fields"
