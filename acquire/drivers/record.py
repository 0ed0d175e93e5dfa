"""A record made ready for reading: which field is what."""

from collections.abc import Sequence

from acquire.drivers.definition import Definition
from acquire.drivers.facts import (
    FactReader,
    constant_reader,
    mode_reader,
    note_sample,
    sequence_reader,
    stable_reader,
    time_reader,
)
from acquire.drivers.fields import (
    ConstantField,
    Field,
    ModeField,
    SampleField,
    SequenceField,
    StableField,
    TimeField,
    UnitField,
    ValueField,
)
from acquire.drivers.numbers import AnswerReader, Answers, Spelling
from acquire.drivers.times import TimeForm
from acquire.drivers.values import Facts, Texts, UnitTable, ValueReader
from acquire.events import Reading


class RecordReader:
    """Read the texts of one kind of message."""

    def __init__(self, fields: Sequence[Field], definition: Definition) -> None:
        self.width = len(fields)
        self._facts = [
            (index, reader)
            for index, field in enumerate(fields)
            if (reader := _fact_reader(field, fields, definition)) is not None
        ]
        self._values = _value_readers(fields, definition)

    def read(self, texts: Texts) -> tuple[Reading, ...]:
        """Return the readings of a message; raise `Refusal` if any field is not as declared."""
        facts = Facts()
        for index, note in self._facts:
            text = texts[index]
            if text is not None:
                note(text, facts)
        readings = [value.read(texts, facts) for value in self._values]
        return tuple([reading for reading in readings if reading is not None])


def stability_marks(stable: Sequence[str], drifting: Sequence[str]) -> dict[str, bool]:
    """Return what each stability mark says."""
    return dict.fromkeys(stable, True) | dict.fromkeys(drifting, False)


def answer_reader(definition: Definition) -> AnswerReader:
    """Return the reader of the numbers of this instrument."""
    spelling = Spelling(**definition.numbers.model_dump())
    return AnswerReader(spelling, Answers(definition.tokens.outcomes(), definition.range_marks.outcomes()))


def _fact_reader(field: Field, fields: Sequence[Field], definition: Definition) -> FactReader | None:
    match field:
        case SampleField():
            return note_sample
        case SequenceField():
            return sequence_reader(field.digits)
        case TimeField():
            return time_reader(TimeForm(field.form or (definition.time.form if definition.time else "")))
        case ModeField():
            return mode_reader(field.texts or _modes(fields))
        case StableField():
            return stable_reader(stability_marks(field.stable, field.drifting))
        case ConstantField():
            return constant_reader(field.text)
        case _:
            return None


def _modes(fields: Sequence[Field]) -> tuple[str, ...]:
    """Return the modes that decide a quantity; all values agree on them, or the mode field lists its own."""
    return tuple(
        dict.fromkeys(
            mode for field in fields if isinstance(field, ValueField) for mode in field.quantity_by_mode
        )
    )


def _value_readers(fields: Sequence[Field], definition: Definition) -> list[ValueReader]:
    answers = answer_reader(definition)
    readers = []
    for index, field in enumerate(fields):
        if isinstance(field, ValueField):
            unit_index = unit_field_of(index, fields)
            reader = ValueReader(
                index,
                answers,
                UnitTable(field.unit_codes, definition.units),
                field.quantity,
                field.quantity_by_mode,
                unit_index,
                glued_unit=bool(field.units) and unit_index is None,
                stability=stability_marks(field.stable, field.drifting),
            )
            readers.append(reader)
    return readers


def unit_field_of(index: int, fields: Sequence[Field]) -> int | None:
    """Return where the unit of a value stands: the next unit field before another value."""
    for at in range(index + 1, len(fields)):
        if isinstance(fields[at], UnitField):
            return at
        if isinstance(fields[at], ValueField):
            return None
    return None
