"""The bytes of a capture that a driver has not yet named, with their offsets."""

from acquire.events import Span


class Window:
    """Grows at its end and shrinks at its beginning."""

    def __init__(self) -> None:
        self.data = b""
        """The bytes that no event has named."""
        self._offset = 0  # of the first of them in the capture [bytes]

    def __len__(self) -> int:
        return len(self.data)

    def push(self, data: bytes) -> None:
        """Take bytes in."""
        self.data += data

    def take(self, length: int) -> Span:
        """Let the first bytes go and return where they lie. [bytes]"""
        span = Span(self._offset, length)
        self.data = self.data[length:]
        self._offset += length
        return span
