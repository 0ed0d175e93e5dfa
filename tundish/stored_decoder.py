"""A driver over what the store holds of a capture, told of it in the way in which it was heard."""

from collections.abc import Sequence

from acquire.accounting import Account
from acquire.decoding import decode
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused, Instant, Reading
from acquire.gate import Gate
from acquire.instants import NS_PER_US
from acquire.sink import Chunk, Direction
from bench.poured import PouredFrame, PouredReading
from storage.queries import ChunkRecord


class StoredDecoder:
    """Turns stored chunks into frames.

    The store keeps the times of chunks by the host's clock. Where that was put back, time stands still for
    the driver until it has caught up: it never runs backwards.
    """

    def __init__(self, factory: DriverFactory, *, gated: bool = False) -> None:
        """Take what makes drivers; gated, it takes as little of another instrument as hearing does."""
        self._account = Account(factory, Gate() if gated else None)
        self._last = Instant(0, 0)

    def feed(self, chunks: Sequence[ChunkRecord]) -> list[PouredFrame]:
        """Take the next chunks, heard and sent, and return the frames that they complete."""
        frames: list[PouredFrame] = []
        for chunk in chunks:
            at = self._instant(chunk.at_us)
            piece = Chunk(at, chunk.data, Direction(chunk.direction))
            frames += _frames(decode(self._account, (piece,), at), chunk.at_us)
        return frames

    def finish(self, ended_at_us: int) -> list[PouredFrame]:
        """Say that the line was closed or lost then, and return what that completes. [µs since 1970 UTC]"""
        at = self._instant(ended_at_us)
        events = decode(self._account, (), at) + self._account.closed(at)
        return _frames(events, ended_at_us)

    def _instant(self, at_us: int) -> Instant:
        self._last = Instant(at_us, max(self._last.monotonic_ns, at_us * NS_PER_US))
        return self._last


def _frames(events: Sequence[Event], at_us: int) -> list[PouredFrame]:
    return [_frame(event, at_us) for event in events]


def _frame(event: Event, at_us: int) -> PouredFrame:
    offset, length = event.span
    if isinstance(event, FrameRead):
        readings = tuple(map(_reading, event.readings))
        return PouredFrame(offset, length, "read", at_us, readings=readings)
    if isinstance(event, FrameRefused):
        return PouredFrame(offset, length, "refused", at_us, event.reason, event.detail or None)
    return PouredFrame(offset, length, "filler", at_us)


def _reading(one: Reading) -> PouredReading:
    return PouredReading(
        one.quantity,
        one.outcome.value,
        one.text,
        None if one.value is None else f"{one.value:f}",
        None if one.value is None else float(one.value),
        one.unit,
        one.sample,
        one.sequence,
        one.instrument_time,
        one.mode,
        None if one.stable is None else int(one.stable),
    )
