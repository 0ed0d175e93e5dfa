"""A dissolved-oxygen probe that answers Modbus RTU. It stands for a class, not for a make.

Device 17 at 9600 8E1. ``docs/simulators.md`` gives the map of its registers. It speaks only when asked, and
is silent to questions for others and to damaged ones.

Buttons: ``busy`` lets the next question be answered by "server device busy".

Not simulated: writing of registers, diagnostics, several devices on one wire, the gaps between frames.
"""

import math
import struct
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream

LINE: Final = LineSettings(9600, 8, "E", 1)
DEVICE: Final = 17
HOLDING, INPUT = 3, 4
QUESTION_BYTES: Final = 8  # device, function, first, count, CRC [bytes]
SERIAL_NUMBER: Final = 70_042
NO_TEMPERATURE: Final = -32_768  # what stands for no value
SLOW_S: Final = 5.0  # [s], by which a slow answer is late

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, FAILURE, BUSY = 1, 2, 4, 6


class ModbusDevice:
    """The device: questions in, registers out.

    Its oxygen falls from 8 mg/L towards 0.4 mg/L as yeast eats it, over some hours of work.
    """

    def __init__(self, name: str, seed: int = 0) -> None:
        self.name = name
        self._random = stream(seed, name)
        self._pending = b""
        self._is_busy = False
        self._ailing: set[str] = set()
        self._late: list[tuple[float, Message]] = []

    @property
    def manner(self) -> Manner:
        """It says nothing by itself."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"over_range", "fouled_probe", "slow_answers", "exception", "another_serial"})

    @property
    def next_due_s(self) -> float:
        """Work time at which a late answer leaves. [s]"""
        return min((due_s for due_s, _ in self._late), default=float("inf"))

    def advance(self, to_s: float) -> list[Message]:
        """Return the answers that were late and are due. [s]"""
        due = [message for due_s, message in self._late if due_s <= to_s]
        self._late = [one for one in self._late if one[0] > to_s]
        return due

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        """Answer a question, if it is whole, sound and meant for this device. [s]"""
        self._pending = (self._pending + data)[-256:]
        said: list[Message] = []
        for begin in range(len(self._pending) - QUESTION_BYTES + 1):
            question = self._pending[begin : begin + QUESTION_BYTES]
            if crc(question[:-2]) == question[-2:]:
                self._pending = self._pending[begin + QUESTION_BYTES :]
                said = [self._answer(question, now_s)] if question[0] == DEVICE else []
                break
        if said and "slow_answers" in self._ailing:
            self._late += [(now_s + SLOW_S, message) for message in said]
            return []
        return said

    def restart(self) -> list[Message]:
        """Lose power: a question that was half heard is gone."""
        self._pending, self._late = b"", []
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Press a button."""
        if words != ["busy"]:
            raise ValueError(f"no button {' '.join(words)!r}; there is: busy")
        self._is_busy = True
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        return []

    def _answer(self, question: bytes, now_s: float) -> Message:
        function, first, count = struct.unpack(">BHH", question[1:6])
        trouble = self._trouble(function)
        true_mg_l = 0.4 + 7.6 * math.exp(-now_s / 3600.0)
        if trouble is None:
            contents, shown = self._registers(function, true_mg_l)
            if 1 <= count <= 125 and (first + count) * 2 <= len(contents):
                part = contents[first * 2 : (first + count) * 2]
                meaning = {"kind": "registers", "first": first, "true_do_mg_l": round(true_mg_l, 4), **shown}
                return Message(framed(bytes([DEVICE, function, len(part)]) + part), meaning)
            trouble = ILLEGAL_ADDRESS
        data = framed(bytes([DEVICE, function | 0x80, trouble]))
        return Message(data, {"kind": "exception", "code": trouble})

    def _trouble(self, function: int) -> int | None:
        if function not in (HOLDING, INPUT):
            return ILLEGAL_FUNCTION
        if "exception" in self._ailing:
            return FAILURE
        if self._is_busy:
            self._is_busy = False
            return BUSY
        return None

    def _registers(self, function: int, true_mg_l: float) -> tuple[bytes, dict[str, object]]:
        """Return all registers of a kind, and what they show."""
        if function == HOLDING:
            serial = SERIAL_NUMBER + ("another_serial" in self._ailing)
            return struct.pack(">I", serial) + b"\0\x05", {"serial": serial}
        oxygen = true_mg_l * (0.6 if "fouled_probe" in self._ailing else 1.0) + self._random.gauss(0.0, 0.01)
        if "over_range" in self._ailing:
            oxygen = math.inf
        tenths = round((14.2 + self._random.gauss(0.0, 0.05)) * 10)
        if "fouled_probe" in self._ailing:
            tenths = NO_TEMPERATURE
        high, low = struct.pack(">f", oxygen)[:2], struct.pack(">f", oxygen)[2:]
        shown = struct.unpack(">f", high + low)[0]
        return low + high + struct.pack(">hH", tenths, round(true_mg_l * 100)), {
            "shown_do_mg_l": None if math.isinf(shown) else shown,
            "shown_tenths_c": tenths,
        }


def crc(data: bytes) -> bytes:
    """Return the CRC of Modbus, bit by bit, low byte first."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")


def framed(body: bytes) -> bytes:
    """Return a frame: the body and its CRC."""
    return body + crc(body)
