"""Gathers evidence while a line is heard, within bounds."""

from collections import Counter, deque
from collections.abc import Iterable
from typing import Final

from acquire.doctor.evidence import Evidence, Exchange, Loss, Signals
from acquire.events import Event, FrameRead, FrameRefused, Instant
from acquire.instants import seconds_between
from acquire.reasons import NOT_TEXT

SAMPLE_BYTES: Final = 4096  # [bytes] enough for every rule, and little to look at
EXCHANGES: Final = 8
LOSSES: Final = 8


class Collector:
    """What the doctor knows of one line. Costs little, so that every line can have one."""

    def __init__(self) -> None:
        self._open_since: Instant | None = None
        self._data_bits: int | None = None
        self._sample = bytearray()
        self._heard_bytes = self._sent_bytes = self._frames_read = 0
        self._exchanges: deque[Exchange] = deque(maxlen=EXCHANGES)
        self._refusals: Counter[str] = Counter()
        self._details: dict[str, str] = {}
        self._losses: deque[Loss] = deque(maxlen=LOSSES)
        self._signals: Signals | None = None

    @property
    def undecodable_frames(self) -> int:
        """Frames with bytes that are no text."""
        return self._refusals[NOT_TEXT]

    def opened(self, at: Instant, data_bits: int | None) -> None:
        """Take note that the line is open, with so many data bits if it has any."""
        self._open_since = self._open_since or at
        self._data_bits = data_bits

    def heard(self, data: bytes) -> None:
        """Take note of bytes that came."""
        self._heard_bytes += len(data)
        self._sample += data
        if len(self._sample) > 2 * SAMPLE_BYTES:
            del self._sample[:-SAMPLE_BYTES]
        if self._exchanges:
            last = self._exchanges[-1]
            room = 2 * len(last.sent) - len(last.heard)
            if room > 0:
                self._exchanges[-1] = Exchange(last.sent, last.heard + data[:room])

    def sent(self, data: bytes) -> None:
        """Take note of bytes that left."""
        self._sent_bytes += len(data)
        self._exchanges.append(Exchange(data[:SAMPLE_BYTES], b""))

    def events(self, events: Iterable[Event]) -> None:
        """Take note of what the driver made of the bytes."""
        for event in events:
            if isinstance(event, FrameRead):
                self._frames_read += 1
            elif isinstance(event, FrameRefused):
                self._refusals[event.reason] += 1
                self._details[event.reason] = event.detail

    def lost(self, at: Instant, why: str) -> None:
        """Take note that the line was lost, or could not be opened."""
        self._losses.append(Loss(at, why))
        self._open_since = None

    def shows(self, signals: Signals | None) -> None:
        """Take note of the control lines."""
        self._signals = signals

    def evidence(self, at: Instant) -> Evidence:
        """Return what is known now."""
        since = self._open_since or at
        return Evidence(
            listened_s=seconds_between(since, at),
            heard_bytes=self._heard_bytes,
            sample=bytes(self._sample[-SAMPLE_BYTES:]),
            sent_bytes=self._sent_bytes,
            exchanges=tuple(one for one in self._exchanges if one.heard),
            frames_read=self._frames_read,
            refusals=dict(self._refusals),
            details=dict(self._details),
            losses=tuple(self._losses),
            data_bits=self._data_bits,
            signals=self._signals,
        )
