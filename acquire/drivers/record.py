"""A record made ready for reading: which field is what."""

from collections.abc import Sequence

from acquire.drivers.definition import Definition, Time
from acquire.drivers.facts import (
    FactReader,
    constant_reader,
    identity_reader,
    mode_reader,
    note_sample,
    sequence_reader,
    stable_reader,
    status_reader,
    time_reader,
)
from acquire.drivers.fields import (
    ConstantField,
    Field,
    IdentityField,
    ModeField,
    QualifierField,
    SampleField,
    SequenceField,
    StableField,
    StatusField,
    TimeField,
    UnitField,
    ValueField,
)
from acquire.drivers.layout_tables import Labelled, Record
from acquire.drivers.message import Content, Facts, content_of, withheld
from acquire.drivers.numbers import AnswerReader, Answers, Spelling
from acquire.drivers.times import TimeForm
from acquire.drivers.values import Texts, UnitTable, ValueReader
from acquire.drivers.zones import Zone
from acquire.events import Outcome


class RecordReader:
    """Read the texts of one kind of message."""

    def __init__(
        self,
        record: Record | Labelled,
        definition: Definition,
        *,
        units_row: bool = False,
        first_is_known: bool = False,
    ) -> None:
        """Take a record.

        Parameters
        ----------
        record : Record or Labelled
            What its fields are.
        definition : Definition
            The whole driver file.
        units_row : bool
            Texts come with the unit of each field behind them.
        first_is_known : bool
            Whoever asks has looked at the constant first field already.
        """
        fields = record.columns
        self.width = len(fields)
        self._facts = [
            (index, reader)
            for index, field in enumerate(fields)
            if (index or not first_is_known)
            and (reader := _fact_reader(field, fields, definition)) is not None
        ]
        self._values = _value_readers(fields, definition, units_row=units_row)
        self._means = record.means
        self._run = record.run
        self._readings_alone = (
            record.means == "readings"
            and record.run is None
            and not any(isinstance(field, StatusField | IdentityField) for field in fields)
        )

    def read(self, texts: Texts, before: Facts | None = None) -> Content:
        """Return what a message says; raise `Refusal` if any field is not as declared.

        What rows before it in the same frame said of sample, sequence, time and mode holds for it too.
        """
        facts = Facts()
        for index, note in self._facts:
            text = texts[index]
            if text is not None:
                note(text, facts)
        if before is not None:
            facts.inherit(before)
        found = [value.read(texts, facts) for value in self._values]
        readings = tuple([reading for reading in found if reading is not None])
        if self._readings_alone:
            return Content(readings, (), facts)
        if facts.outcome is not Outcome.VALUE:
            readings = withheld(readings, facts.outcome)
        return content_of(readings, facts, self._means, self._run)

    def units_of(self, texts: Texts) -> list[str | None]:
        """Return the unit of each field of a row of units; an empty one is that of a silent instrument."""
        codes: list[str | None] = [None] * self.width
        for value in self._values:
            text = texts[value.index]
            if text is not None:
                codes[value.index] = value.units.code_of(text or value.silent_unit)
        return codes


def stability_marks(stable: Sequence[str], drifting: Sequence[str]) -> dict[str, bool]:
    """Return what each stability mark says."""
    return dict.fromkeys(stable, True) | dict.fromkeys(drifting, False)


def answer_reader(definition: Definition) -> AnswerReader:
    """Return the reader of the numbers of this instrument."""
    spelling = Spelling(**definition.numbers.model_dump())
    return AnswerReader(spelling, Answers(definition.tokens.outcomes(), definition.range_marks.outcomes()))


def _fact_reader(field: Field, fields: Sequence[Field], definition: Definition) -> FactReader | None:
    reader: FactReader | None = None
    match field:
        case SampleField():
            reader = note_sample
        case SequenceField():
            reader = sequence_reader(field.digits)
        case TimeField():
            reader = _time_reader(field, definition.time)
        case ModeField():
            reader = mode_reader(field.texts or _modes(fields))
        case StableField():
            reader = stable_reader(stability_marks(field.stable, field.drifting))
        case StatusField():
            reader = status_reader(field)
        case IdentityField():
            reader = identity_reader(field.texts)
        case ConstantField():
            reader = constant_reader(field.text)
        case _:
            pass
    return reader


def _time_reader(field: TimeField, time: Time | None) -> FactReader:
    form = field.form or (time.form if time is not None else "")
    zone = Zone(time.zone) if time is not None and time.zone is not None else None
    return time_reader(TimeForm(form), zone)


def _modes(fields: Sequence[Field]) -> tuple[str, ...]:
    """Return the modes that decide a quantity; all values agree on them, or the mode field lists its own."""
    return tuple(
        dict.fromkeys(
            mode for field in fields if isinstance(field, ValueField) for mode in field.quantity_by_mode
        )
    )


def _value_readers(fields: Sequence[Field], definition: Definition, *, units_row: bool) -> list[ValueReader]:
    answers = answer_reader(definition)
    readers = []
    for index, field in enumerate(fields):
        if isinstance(field, ValueField):
            unit_index = len(fields) + index if units_row else unit_field_of(index, fields)
            reader = ValueReader(
                index,
                answers,
                UnitTable(field.unit_codes, definition.units),
                field.quantity,
                field.quantity_by_mode,
                unit_index,
                qualifier_field_of(index, fields),
                silent_unit=field.unit or "",
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


def qualifier_field_of(index: int, fields: Sequence[Field]) -> int | None:
    """Return where the mark of a value stands: the qualifier field between it and the value before."""
    for at in range(index - 1, -1, -1):
        if isinstance(fields[at], QualifierField):
            return at
        if isinstance(fields[at], ValueField):
            return None
    return None
