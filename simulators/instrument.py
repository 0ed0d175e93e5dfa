"""What every simulated instrument is to the line it sits on: a thing that works and speaks.

An instrument opens no port and reads no clock. It is told how long it has worked and answers with the
messages that fall into that time, so that a test can run a day of it in a moment.
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol, runtime_checkable

from simulators.wirelog import Meaning


@dataclass(frozen=True, slots=True)
class Message:
    """Bytes that an instrument speaks, with what they truly mean."""

    data: bytes
    meaning: Meaning = field(default_factory=dict)


class Manner(Enum):
    """Whether an instrument cares if anybody listens."""

    PUSHES = "it speaks whether anybody listens or not, as bench instruments do"
    WAITS_ONCE = "its first message waits for the first listener, then it pushes"
    FOLLOWS_READER = "it speaks as fast as the reader takes it and pauses while nobody listens"


@dataclass(frozen=True, slots=True)
class LineSettings:
    """How the instrument's serial port is set; the names are those of pySerial."""

    baudrate: int = 9600
    bytesize: int = 8
    parity: str = "N"
    stopbits: int = 1


class Instrument(Protocol):
    """The contract between an instrument and its line."""

    @property
    def name(self) -> str:
        """The instrument's id on the bench, such as ``bur-1``."""

    @property
    def manner(self) -> Manner:
        """Whether it waits for a listener."""

    @property
    def next_due_s(self) -> float:
        """Work time at which it wants to be advanced next; infinite when it has nothing more to say. [s]"""

    def advance(self, to_s: float) -> list[Message]:
        """Work until this time and return what was said on the way. [s]"""

    def restart(self) -> list[Message]:
        """Go through a loss of power and return what is said at power-on; what was under way is lost."""

    def command(self, words: list[str]) -> list[Message]:
        """Press a button of the front panel; raise `ValueError` if there is no such."""


@runtime_checkable
class Answers(Protocol):
    """An instrument that a reader can speak to."""

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        """Take bytes that the reader sent and return the answers; the time is that of the work. [s]"""


@runtime_checkable
class Ailing(Protocol):
    """An instrument that can have faults of its own, beside those of its line."""

    @property
    def ailments(self) -> frozenset[str]:
        """Names in `simulators.faults.AILMENTS` that it can have."""

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end; return what is said by it."""
