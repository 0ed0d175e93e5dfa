"""A whole driver in the making, and what it makes of bytes."""

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import ValidationError

from acquire.accounting import Account
from acquire.drivers.consistency import faults_of
from acquire.drivers.data_only import DataOnlyFactory
from acquire.drivers.definition import Definition
from acquire.drivers.escapes import Encoding
from acquire.events import Event, FrameRead, FrameRefused
from acquire.learning.checking import FoundCheck
from acquire.learning.frames import FramingDraft
from acquire.learning.layouts import LayoutDraft
from acquire.learning.report import Claim, Question, Refused, Score
from acquire.pour import NO_TIME

EXAMPLE_BYTES: Final = 120  # of a refused frame that are shown [bytes]
PIECE_BYTES: Final = 65_536  # fed at a time [bytes]
_NO_EXAMPLE: Final = [{"raw": "?", "expect": "wrong_layout"}]


@dataclass(slots=True)
class Candidate:
    """Framing, check and layout together."""

    encoding: Encoding
    framing: FramingDraft
    check: FoundCheck | None
    layout: LayoutDraft
    extra: dict[str, Any] = field(default_factory=dict)
    """More keys of the table ``[framing]``: what means nothing."""
    ignore_lines: list[str] = field(default_factory=list)
    worth: float = 0.0
    """By which candidates are compared."""

    def tables(self, *, stand_in: bool = False) -> dict[str, Any]:
        """Return all tables of the driver file but its examples."""
        framing = self.framing.table()
        if self.encoding != "ascii":
            framing["encoding"] = self.encoding
        framing |= self.extra
        lines = list(
            dict.fromkeys([*self.framing.ignore_lines, *self.layout.ignore_lines, *self.ignore_lines])
        )
        if lines:
            framing["ignore_lines"] = lines
        tables: dict[str, Any] = {"framing": framing}
        if self.framing.block is not None:
            tables["block"] = self.framing.block
        if self.check is not None:
            tables["check"] = self.check.table
        return tables | self.layout.tables(stand_in=stand_in)

    def claims(self, encoding: Claim) -> list[Claim]:
        """Return all claims, from the bytes up."""
        check = [] if self.check is None else [self.check.claim]
        lines = [
            Claim("lines", f"lines that begin with {text!r} carry nothing", 0.6, "they came again and again")
            for text in self.ignore_lines
        ]
        return [encoding, self.framing.claim(), *check, *lines, *self.layout.all_claims()]

    def questions(self) -> list[Question]:
        """Return what bytes cannot tell."""
        return self.layout.all_questions()

    @property
    def has_value(self) -> bool:
        """Whether it reads any number."""
        return any(guess.kind == "value" for guess in self.layout.guesses)

    @property
    def has_stand_in(self) -> bool:
        """Whether it could read a number if somebody said what it is."""
        return any(guess.stand_in is not None for guess in self.layout.guesses)


def definition_of(tables: dict[str, Any]) -> tuple[Definition | None, tuple[str, ...]]:
    """Return the definition that tables give, or None and what is wrong with them; examples are not tried."""
    whole = {"name": "learnt", "version": "1", **tables, "examples": _NO_EXAMPLE}
    try:
        definition = Definition.model_validate_json(json.dumps(whole))
    except (ValidationError, UnicodeEncodeError) as error:
        return None, (str(error),)
    faults = tuple(fault for fault in faults_of(definition) if not fault.startswith("examples"))
    return (None, faults) if faults else (definition, ())


def events_of(definition: Definition, data: bytes) -> list[Event]:
    """Return what a driver makes of bytes; every byte is in exactly one event."""
    account = Account(DataOnlyFactory(definition, ""))
    events: list[Event] = []
    for at in range(0, len(data), PIECE_BYTES):
        events += account.receive(data[at : at + PIECE_BYTES], NO_TIME)
    return events + account.closed(NO_TIME)


def score_of(events: Iterable[Event], data: bytes, begin: int = 0) -> Score:
    """Return the score of the events that lie behind a place. [bytes]"""
    counts: Counter[str] = Counter()
    refused: dict[str, list[FrameRefused]] = {}
    for event in events:
        if event.span.offset < begin:
            continue
        if isinstance(event, FrameRead):
            counts["frames"] += 1
            counts["readings"] += len(event.readings)
            counts["read"] += event.span.length
        elif isinstance(event, FrameRefused):
            refused.setdefault(event.reason, []).append(event)
            counts["refused"] += event.span.length
        else:
            counts["filler"] += event.span.length
    kinds = sorted(refused.values(), key=len, reverse=True)
    return Score(
        counts["frames"],
        counts["readings"],
        counts["read"],
        counts["refused"],
        counts["filler"],
        tuple(_refused(kind, data) for kind in kinds),
    )


def _refused(kind: Sequence[FrameRefused], data: bytes) -> Refused:
    first = kind[0]
    begin = first.span.offset
    example = data[begin : begin + min(first.span.length, EXAMPLE_BYTES)]
    return Refused(first.reason, len(kind), first.detail, example)
