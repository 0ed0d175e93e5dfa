"""Where a line that is only looked at leaves what it heard: lines of text instead of a store."""

from collections.abc import Callable, Iterator

from acquire.pour import event_as_json
from acquire.sink import CaptureSink, Closing, Direction, Ending, Gap, Hearing, Opening
from tundish.commands.pour import in_words

BYTES_A_ROW = 16

Say = Callable[[str], object]


class Screen:
    """A sink that shows everything and keeps nothing."""

    def __init__(self, say: Say) -> None:
        self._say = say

    async def opened(self, opening: Opening) -> CaptureSink:
        """Show what was opened."""
        self._say(f"{opening.device} {opening.settings}".rstrip())
        return _Shown(self._say)

    async def gap(self, gap: Gap) -> None:
        """Show nothing: that the line was lost was said."""


class _Shown:
    def __init__(self, say: Say) -> None:
        self._say = say
        self._heard_bytes = 0

    async def heard(self, *hearings: Hearing) -> None:
        for hearing in hearings:
            self._show(hearing)

    def _show(self, hearing: Hearing) -> None:
        for chunk in hearing.chunks:
            if chunk.direction is Direction.HEARD:
                for row in hex_rows(chunk.data, self._heard_bytes):
                    self._say(row)
                self._heard_bytes += len(chunk.data)
        for event in hearing.events:
            self._say("          " + in_words(event_as_json(event)))
        if hearing.fault is not None:
            self._say(f"          the driver failed: {hearing.fault}")

    async def closed(self, closing: Closing) -> None:
        if closing.ending is not Ending.STOPPED:  # who stopped it knows
            self._say(f"{closing.ending}: {closing.why}")


def hex_rows(data: bytes, offset: int) -> Iterator[str]:
    """Yield bytes as rows of offset, hexadecimal digits and text. [bytes]"""
    for begin in range(0, len(data), BYTES_A_ROW):
        row = data[begin : begin + BYTES_A_ROW]
        digits = " ".join(f"{byte:02x}" for byte in row)
        text = "".join(chr(byte) if 32 <= byte < 127 else "·" for byte in row)
        yield f"{offset + begin:8d}  {digits:<{3 * BYTES_A_ROW}} {text}"
