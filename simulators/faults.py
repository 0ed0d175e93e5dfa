"""Faults of a line, switched on by name: by a schedule, or on demand.

Fault times are wall seconds since the bench was switched on: a cable knows nothing of the speed at which an
instrument works. A fault without a duration strikes once, at the next message (a cut cable and a silence
then last `DEFAULT_DURATION_S`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from random import Random
from typing import Final

from simulators.instrument import Message

DEFAULT_DURATION_S: Final = 5.0  # [s], of a cut cable, a silence or a power blip that names none
GARBAGE_BYTES: Final = (3, 40)  # [bytes], least and most in one burst

AILMENTS: Final = {
    "resent_memory": "the instrument sends again what it has in its memory",
    "wrong_clock": "the instrument's clock stands at the first second of the year 2000",
    "over_range": "what is measured lies beyond what the instrument can show",
    "wrong_mode": "somebody has left the panel in another mode than the work asks for",
    "air_in_burette": "a bubble sits in the burette: what it shows as dosed is air for a while",
    "stuck_stirrer": "the stirrer stands still: what is dosed mixes slowly",
    "fouled_probe": "the probe is dirty: slow, and flatter than it was calibrated",
    "another_serial": "another specimen of the same instrument stands there: the cables were swapped",
    "slow_answers": "answers come later than anybody waits",
    "exception": "the device answers every question with an exception",
}
"""Faults of the instrument itself; each instrument can have some of them. They last until they end."""

FAULTS: Final = {
    "cut_cable": "the port vanishes, and comes back under the same name when the fault ends",
    "silence": "the instrument works, but nothing leaves its port",
    "power_blip": "silence, then the instrument starts anew; what was under way is lost",
    "garbage": "a burst of random bytes before the message",
    "half_line": "the second half of the message never comes",
    "flipped_bit": "one bit of one byte of the message is turned over",
    "parity_bit": "the eighth bit carries even parity, as when 7E1 is read as 8N1",
    "break": "a NUL byte before the message, as a break on the line reads",
    "wrong_baud": "the message reads as it does at another speed: other bytes, and fewer",
    "echo": "what the reader sends comes back to it",
    "hold_up": "the instrument sends XOFF, and XON when the fault ends",
    **AILMENTS,
}
LASTING: Final = frozenset({"cut_cable", "silence", "power_blip", "hold_up"})
UNTIL_ENDED: Final = frozenset(AILMENTS)


STRIKING: Final = frozenset(FAULTS) - LASTING - UNTIL_ENDED - {"echo"}
"""What is done to a message; without a duration, once."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in the schedule."""

    name: str
    start_s: float
    """Wall seconds since switching on. [s]"""
    duration_s: float | None = None
    """None: once, at the next message. [s]"""
    instrument: str | None = None
    """None: every line of the bench."""

    def __post_init__(self) -> None:
        if self.name not in FAULTS:
            raise ValueError(f"unknown fault {self.name!r}; there are: {', '.join(FAULTS)}")
        if not self.start_s >= 0 or (self.duration_s is not None and not self.duration_s > 0):
            raise ValueError(f"fault {self.name}: the start must be 0 s or later, the duration above 0 s")
        if self.duration_s is None and self.name in LASTING:
            object.__setattr__(self, "duration_s", DEFAULT_DURATION_S)

    @property
    def end_s(self) -> float:
        """When it ends by itself; infinite if it ends with the message it strikes. [s]"""
        return float("inf") if self.duration_s is None else self.start_s + self.duration_s


def parse_fault(text: str) -> Fault:
    """Read ``[INSTRUMENT/]NAME@SECONDS[:DURATION]``; raise `ValueError` saying what is wrong."""
    where, slash, rest = text.rpartition("/")
    name, _, times = rest.partition("@")
    start, colon, duration = times.partition(":")
    try:
        start_s, duration_s = float(start), float(duration) if colon else None
    except ValueError:
        message = f"fault {text!r} is not understood; write [INSTRUMENT/]NAME@SECONDS[:DURATION]"
        raise ValueError(message) from None
    return Fault(name, start_s, duration_s, where if slash else None)


class FaultBox:
    """The faults of one line: which are on, and what they do to a message."""

    def __init__(self, faults: Iterable[Fault], random: Random) -> None:
        self._waiting = sorted(faults, key=lambda fault: fault.start_s)
        self._active: list[Fault] = []
        self._random = random

    @property
    def next_change_s(self) -> float:
        """Wall time of the next scheduled beginning or end; infinite if there is none. [s]"""
        starts = [fault.start_s for fault in self._waiting[:1]]
        return min(starts + [fault.end_s for fault in self._active], default=float("inf"))

    def add(self, fault: Fault) -> None:
        """Put one more fault into the schedule."""
        self._waiting = sorted([*self._waiting, fault], key=lambda one: one.start_s)

    def turn(self, wall_s: float) -> tuple[list[Fault], list[Fault]]:
        """Let time pass; return the faults that began and those that ended. [s]"""
        began = [fault for fault in self._waiting if fault.start_s <= wall_s]
        self._waiting = [fault for fault in self._waiting if fault.start_s > wall_s]
        self._active += began
        ended = [fault for fault in self._active if fault.end_s <= wall_s]
        self._active = [fault for fault in self._active if fault.end_s > wall_s]
        return began, ended

    def is_on(self, *names: str) -> bool:
        """Tell whether a fault of one of these names is on."""
        return any(fault.name in names for fault in self._active)

    def mangle(self, message: Message) -> Message:
        """Return what the line makes of a message; a fault that strikes once is then over."""
        struck = [fault.name for fault in self._active if fault.name in STRIKING]
        data = message.data
        for name in struck:
            data = self._strike(name, data) if data else data
        self._active = [
            fault for fault in self._active if fault.duration_s is not None or fault.name not in STRIKING
        ]
        return Message(data, {**message.meaning, "faults": struck}) if struck else message

    def _strike(self, name: str, data: bytes) -> bytes:
        match name:
            case "garbage":
                return self._random.randbytes(self._random.randint(*GARBAGE_BYTES)) + data
            case "half_line":
                return data[: len(data) // 2]
            case "flipped_bit":
                return self._flip(data)
            case "wrong_baud":
                return bytes(self._random.choice((0x00, 0x80, 0xE6, 0xFE)) ^ byte for byte in data[::2])
            case "parity_bit":
                return bytes(byte & 0x7F | (byte & 0x7F).bit_count() % 2 << 7 for byte in data)
            case _:
                return b"\0" + data

    def _flip(self, data: bytes) -> bytes:
        place = self._random.randrange(len(data))
        return data[:place] + bytes([data[place] ^ 1 << self._random.randrange(8)]) + data[place + 1 :]
