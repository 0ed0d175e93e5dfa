"""UTF-16 with a byte order mark: the first two bytes of a capture say how to read all others."""

from acquire.drivers.definition import Definition
from acquire.drivers.engine import DataOnlyDriver
from acquire.events import Event, Filler, FrameRefused, Instant, Span
from acquire.reasons import NOT_TEXT

MARK_BYTES = 2
"""Of a byte order mark. [bytes]"""
BYTE_ORDER_MARKS = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}
_ENCODINGS = {mark: encoding for encoding, mark in BYTE_ORDER_MARKS.items()}


class ByteOrderDriver:
    """Waits for the byte order mark, then reads by it; without one, everything is refused."""

    next_deadline_ns: int | None = None

    def __init__(self, definition: Definition) -> None:
        self._definition = definition
        self._head = b""
        self._read = 0  # bytes that came before, when there is no mark [bytes]
        self._driver: DataOnlyDriver | None = None

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes and return the events that they complete."""
        if self._driver is not None:
            return self._driver.receive(data, at)
        self._head += data
        if len(self._head) < MARK_BYTES:
            return []
        mark, rest = self._head[:MARK_BYTES], self._head[MARK_BYTES:]
        if self._read or mark not in _ENCODINGS:
            return self._refuse_in_pieces()
        self._driver = DataOnlyDriver(in_order(self._definition, _ENCODINGS[mark]), MARK_BYTES)
        return [Filler(Span(0, MARK_BYTES)), *self._driver.receive(rest, at)]

    def tick(self, at: Instant) -> list[Event]:  # noqa: ARG002 - silence ends no frame of a file
        """Return nothing."""
        return []

    def closed(self, at: Instant) -> list[Event]:
        """Return what was left without an end, refused."""
        if self._driver is not None:
            return self._driver.closed(at)
        return [self._refusal(len(self._head))] if self._head else []

    def to_send(self) -> bytes:
        """Return nothing: such an instrument is only listened to."""
        return b""

    def _refuse_in_pieces(self) -> list[Event]:
        """Refuse what came, in pieces that do not depend on how it came."""
        most = self._definition.framing.max_length
        refused: list[Event] = []
        while len(self._head) >= most:
            refused.append(self._refusal(most))
            self._head = self._head[most:]
        return refused

    def _refusal(self, size: int) -> FrameRefused:
        span = Span(self._read, size)
        self._read += size
        return FrameRefused(span, NOT_TEXT, "no byte order mark (FF FE or FE FF) stands at the beginning")


def in_order(definition: Definition, encoding: str) -> Definition:
    """Return a driver file of UTF-16 with its byte order decided."""
    framing = definition.framing.model_copy(update={"encoding": encoding})
    return definition.model_copy(update={"framing": framing})
