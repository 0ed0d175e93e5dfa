"""What an answer says: who the instrument is, or numbers.

``*IDN?`` is answered by four parts with commas between them: maker, model, serial number, firmware
(IEEE 488.2, section 10.14). Numbers come as NR1 ``3``, NR2 ``3.41`` or NR3 ``3.41E+00``. What stands for
infinity and for no number (9.9E37, -9.9E37, 9.91E37) is from memory of SCPI-99.
"""

import re
from decimal import Decimal
from typing import Final

from acquire.drivers.refusal import Refusal, shown
from acquire.drivers.text import TextReader
from acquire.events import Outcome, Reading
from acquire.protocols.options import QuantityOptions
from acquire.protocols.query_options import ExpectedIdentity, QueryOptions, QueryPoll
from acquire.reasons import WRONG_INSTRUMENT, WRONG_LAYOUT

IDENTITY_PARTS: Final = 4
INFINITY: Final = Decimal("9.9E37")
NOT_A_NUMBER_MARK: Final = Decimal("9.91E37")


class AnswerParser:
    """Read the answers of one instrument."""

    def __init__(self, options: QueryOptions) -> None:
        self._text = TextReader("ascii")
        self._answers = options.reader
        self._identity = options.identity
        self._split = re.compile(f"[{re.escape(options.separators)}]").split

    def text(self, body: bytes) -> str:
        """Return the characters of an answer; refuse what is no text."""
        return self._text.read(body).strip()

    def readings(self, body: bytes, poll: QueryPoll) -> tuple[Reading, ...]:
        """Return the readings of the answer to a poll."""
        parts = [part.strip() for part in self._split(self.text(body))]
        if len(parts) != len(poll.fields):
            raise Refusal(
                WRONG_LAYOUT, f"wanted {len(poll.fields)} parts, got {len(parts)}: {shown(self.text(body))}"
            )
        return tuple(
            self._reading(field, part)
            for field, part in zip(poll.fields, parts, strict=True)
            if isinstance(field, QuantityOptions)
        )

    def check_identity(self, text: str) -> None:
        """Refuse the answer to ``*IDN?`` of an instrument that is not the expected one."""
        parts = [part.strip() for part in text.split(",")]
        pairs = zip(self._identity.parts, parts, strict=True)
        if not all(wanted is None or wanted == got for wanted, got in pairs):
            raise Refusal(WRONG_INSTRUMENT, _not_expected(self._identity, text))

    def _reading(self, field: QuantityOptions, text: str) -> Reading:
        outcome, value = self._answers.read(text)
        if outcome is Outcome.VALUE and value is not None and abs(value) in (INFINITY, NOT_A_NUMBER_MARK):
            outcome, value = _beyond(value), None
        return Reading(field.quantity, outcome, text, value, field.codes[0])


def looks_like_identity(text: str) -> bool:
    """Tell whether an answer has the four parts that an identity has."""
    return text.count(",") == IDENTITY_PARTS - 1


def _beyond(value: Decimal) -> Outcome:
    if abs(value) == NOT_A_NUMBER_MARK:
        return Outcome.NO_VALUE
    return Outcome.ABOVE_RANGE if value > 0 else Outcome.BELOW_RANGE


def _not_expected(wanted: ExpectedIdentity, got: str) -> str:
    return f"this line expects {wanted}, but what answers there calls itself {shown(got)}"
