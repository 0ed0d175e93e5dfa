"""Frames of Modbus RTU: device, function, contents, CRC with its low byte first.

Silence cannot be timed through an adapter and an operating system, so an answer is known by its length, its
beginning and its CRC of 16 bits.
"""

from dataclasses import dataclass
from typing import Final

from acquire.drivers.crc import crc16
from acquire.protocols.modbus_options import REGISTER_BYTES, ModbusPoll

FUNCTIONS: Final = {"holding": 3, "input": 4}
EXCEPTION_BIT: Final = 0x80
EXCEPTION_BYTES: Final = 5  # device, function, code, CRC [bytes]
LEAD_BYTES: Final = 3  # device, function, count [bytes]
CRC_BYTES: Final = 2  # [bytes]

EXCEPTIONS: Final = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "server device failure",
    5: "acknowledge: it takes longer",
    6: "server device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target device failed to respond",
}
"""MODBUS Application Protocol Specification V1.1b3, section 7."""


def with_crc(body: bytes) -> bytes:
    """Return a frame: the body and its CRC."""
    return body + crc16(body, "crc16-modbus").to_bytes(CRC_BYTES, "little")


def question(device: int, poll: ModbusPoll) -> bytes:
    """Return the frame that asks for the registers of a poll."""
    head = bytes([device, FUNCTIONS[poll.registers]])
    return with_crc(head + poll.first.to_bytes(2, "big") + poll.count.to_bytes(2, "big"))


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer, and where it lies among the bytes that were looked at."""

    begin: int
    end: int
    contents: bytes
    """The registers; of an exception nothing."""
    exception: int | None = None
    """Code of the exception, if it is one."""


@dataclass(frozen=True, slots=True)
class AnswerShape:
    """What an answer to one question looks like."""

    device: int
    function: int
    count_bytes: int
    """Of the registers. [bytes]"""

    def find(self, data: bytes) -> Answer | None:
        """Return the first answer; None if there is none yet.

        A beginning that may still become an answer is waited for, so that the pieces in which bytes arrive
        make no difference.
        """
        begin = data.find(self.device)
        while begin >= 0:
            length = self._length(data[begin : begin + LEAD_BYTES])
            if length is None or (length and len(data) - begin < length):
                return None
            end = begin + (length or 0)
            if length and with_crc(data[begin : end - CRC_BYTES]) == data[begin:end]:
                return self._answer(data, begin, end)
            begin = data.find(self.device, begin + 1)
        return None

    def _length(self, lead: bytes) -> int | None:
        """Return the length of the answer that begins so; 0 if none does, None if that is not known yet."""
        if len(lead) < 2:
            return None
        if lead[1] == self.function | EXCEPTION_BIT:
            return EXCEPTION_BYTES
        if lead[1] != self.function:
            return 0
        if len(lead) < LEAD_BYTES:
            return None
        return LEAD_BYTES + self.count_bytes + CRC_BYTES if lead[2] == self.count_bytes else 0

    def _answer(self, data: bytes, begin: int, end: int) -> Answer:
        if data[begin + 1] & EXCEPTION_BIT:
            return Answer(begin, end, b"", data[begin + 2])
        return Answer(begin, end, data[begin + LEAD_BYTES : end - CRC_BYTES])


def shape_of_answer(device: int, poll: ModbusPoll) -> AnswerShape:
    """Return what an answer to the question of a poll looks like."""
    return AnswerShape(device, FUNCTIONS[poll.registers], poll.count * REGISTER_BYTES)
