r"""Records of CLSI LIS02-A2: header, patient, order, result, comment, terminator, and what they say.

The header names the delimiters, such as ``H|\^&``: field, repeat, component, escape. Under an order stand its
results; the order's specimen id is their sample. Letters and codes that no published vector covers are from
memory: escapes ``&F& &S& &R& &E&``, status letters, the flags ``<`` and ``>``, the terminator codes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, NamedTuple

from acquire.drivers.refusal import Refusal, shown
from acquire.drivers.text import TextReader
from acquire.drivers.times import TimeForm
from acquire.events import Identity, Outcome, Reading
from acquire.protocols.lis_message import Said, Spoken
from acquire.protocols.lis_options import Lis01Options
from acquire.reasons import UNFINISHED, UNKNOWN_TEST, WRONG_INSTRUMENT, WRONG_LAYOUT

WITHOUT_READINGS: Final = frozenset("POCQSML")
"""Patient, order, comment, query, scientific, manufacturer, terminator."""
COUNTING_ENDS: Final = ("", "N", "F")  # nothing said, normal, last request processed
FLAG_OUTCOMES: Final = {"<": Outcome.BELOW_RANGE, ">": Outcome.ABOVE_RANGE}
STATUS_OUTCOMES: Final = {"X": Outcome.NO_VALUE, "W": Outcome.INSTRUMENT_ERROR}
"""What a result that is not final stands for; any other letter: not stable, for more will come."""
EXPLICITLY_NOTHING: Final = '""'
TIME_FORMS: Final = {
    8: TimeForm("YYYYMMDD"),
    12: TimeForm("YYYYMMDDhhmm"),
    14: TimeForm("YYYYMMDDhhmmss"),
}
"""By the number of digits."""


class Delimiters(NamedTuple):
    """What stands between the parts of a record."""

    field: str
    repeat: str
    component: str
    escape: str


class _Header(NamedTuple):
    delimiters: Delimiters
    message_id: str
    sender: str


class RecordReader:
    """Read whole messages of one instrument."""

    def __init__(self, options: Lis01Options) -> None:
        self._options = options
        self._text = TextReader(options.encoding)
        self._answers = options.reader
        self._units = {code: test.table for code, test in options.tests.items()}

    def read(self, records: Sequence[bytes]) -> list[Said]:
        """Return what each record says; nothing counts if header or terminator are not as they should be."""
        try:
            header = self._header(self._text.read(records[0]))
            self._check_end(self._text.read(records[-1]).split(header.delimiters.field))
        except Refusal as refusal:
            return [refusal] * len(records)
        order = _Order()
        return [self._said(record, order, header) for record in records]

    def _header(self, text: str) -> _Header:
        if not text.startswith("H"):
            raise Refusal(WRONG_LAYOUT, f"the message begins with {shown(text)}, wanted its header record")
        fields = text.split(text[1:2]) if len(text) >= 5 else []
        delimiters = text[1:5]
        if len(fields) < 2 or len(set(delimiters)) < 4 or any(mark.isalnum() for mark in delimiters):
            raise Refusal(WRONG_LAYOUT, f"wanted a header with four delimiters, got {shown(text)}")
        marks = Delimiters(*delimiters)
        wanted, sender = self._options.sender, _at(fields, 4).split(marks.component)[0]
        if wanted is not None and sender != wanted:
            raise Refusal(
                WRONG_INSTRUMENT, f"this line expects {wanted!r}, the message is from {shown(sender)}"
            )
        return _Header(marks, _unescaped(_at(fields, 2), marks), _unescaped(_at(fields, 4), marks))

    def _check_end(self, fields: Sequence[str]) -> None:
        code = _at(fields, 2)
        if code not in COUNTING_ENDS:
            raise Refusal(UNFINISHED, f"the instrument broke the message off: terminator code {shown(code)}")

    def _said(self, record: bytes, order: "_Order", header: _Header) -> Said:
        try:
            fields = self._text.read(record).split(header.delimiters.field)
            order.notice(fields)
            return self._spoken(fields, order.fields, header)
        except Refusal as refusal:
            order.doubt(record)
            return refusal

    def _spoken(self, fields: Sequence[str], order: Sequence[str], header: _Header) -> Spoken:
        kind = fields[0]
        if kind == "H":
            return Spoken((), (Identity(header.sender),) if header.sender else ())
        if kind in WITHOUT_READINGS:
            return Spoken()
        if kind != "R":
            raise Refusal(WRONG_LAYOUT, f"no record begins with {shown(kind)}")
        marks = header.delimiters
        code = _at(_at(fields, 2).split(marks.component), self._options.code_component - 1)
        if code in self._options.ignored_tests:
            return Spoken()
        if code not in self._options.tests:
            listed = ", ".join(self._options.tests)
            raise Refusal(UNKNOWN_TEST, f"the result is of test {shown(code)}; configured: {listed}")
        return Spoken((self._reading(code, fields, order, header),))

    def _reading(self, code: str, fields: Sequence[str], order: Sequence[str], header: _Header) -> Reading:
        marks = header.delimiters
        text = _unescaped(_at(fields, 3), marks).strip()
        outcome, value = self._answer(text, fields, marks)
        written = _unescaped(_at(fields, 4), marks).strip()
        units = self._units[code]
        return Reading(
            quantity=self._options.tests[code].quantity,
            outcome=outcome,
            text=text,
            value=value,
            unit=units.code_of(written) if written else units.default,
            sample=_sample(order, marks),
            sequence=_sequence(header.message_id, order, fields),
            instrument_time=_time(_at(fields, 12)),
            mode=code,
        )

    def _answer(self, text: str, fields: Sequence[str], marks: Delimiters) -> tuple[Outcome, Decimal | None]:
        status = _at(fields, 8)
        if status not in self._options.final_status:
            return STATUS_OUTCOMES.get(status, Outcome.NOT_STABLE), None
        if text in ("", EXPLICITLY_NOTHING):
            return Outcome.NO_VALUE, None
        outcome, value = self._answers.read(text)
        flags = _at(fields, 6).split(marks.repeat)
        beyond = [FLAG_OUTCOMES[flag] for flag in flags if flag in FLAG_OUTCOMES]
        return (beyond[0], value) if beyond and outcome is Outcome.VALUE else (outcome, value)


@dataclass(slots=True)
class _Order:
    """The order above the present record; results under one that cannot be read have no sample to go to."""

    fields: Sequence[str] = ()
    doubtful: bool = False

    def notice(self, fields: Sequence[str]) -> None:
        """Take note of a record; a patient begins without an order."""
        if fields[0] in ("O", "P"):
            self.fields, self.doubtful = (fields if fields[0] == "O" else ()), False
        elif fields[0] == "R" and self.doubtful:
            raise Refusal(WRONG_LAYOUT, "the order above this result could not be read: whose number is it?")

    def doubt(self, record: bytes) -> None:
        """Take note of a record that could not be read."""
        self.doubtful = self.doubtful or record[:1] in (b"O", b"P")


def _at(fields: Sequence[str], index: int) -> str:
    """Return a field; fields that were left out at the end of a record say nothing."""
    return fields[index] if index < len(fields) else ""


def _sample(order: Sequence[str], marks: Delimiters) -> str | None:
    for index in (2, 3):  # the specimen id, else the instrument's own
        sample = _unescaped(_at(order, index).split(marks.component)[0], marks).strip()
        if sample:
            return sample
    return None


def _sequence(message_id: str, order: Sequence[str], fields: Sequence[str]) -> str | None:
    """Return what names this result among all of the instrument; None without a message id to begin with."""
    if not message_id:
        return None
    return "/".join([message_id, *(one for one in (_at(order, 1), _at(fields, 1)) if one)])


def _time(text: str) -> str | None:
    if not text:
        return None
    return TIME_FORMS.get(len(text), TIME_FORMS[14]).read(text)


def _unescaped(text: str, marks: Delimiters) -> str:
    if marks.escape not in text:
        return text
    pieces = text.split(marks.escape)
    meant = {"F": marks.field, "S": marks.component, "R": marks.repeat, "E": marks.escape}
    for at in range(1, len(pieces) - 1, 2):
        pieces[at] = meant.get(pieces[at], f"{marks.escape}{pieces[at]}{marks.escape}")
    odd_one_out = len(pieces) % 2 == 0
    return "".join(pieces[:-1]) + (marks.escape if odd_one_out else "") + pieces[-1]
