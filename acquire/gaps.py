"""What a line did not hear: gathered until the sink takes it."""

from dataclasses import replace

from acquire.events import Instant
from acquire.sink import Gap, Sink


class OpenGap:
    """At most one gap a line: one that begins before the last was kept becomes part of it."""

    def __init__(self, line: str, instrument: str) -> None:
        self._line = line
        self._instrument = instrument
        self._gap: Gap | None = None

    @property
    def since(self) -> Instant | None:
        """When it began; None while there is none."""
        return self._gap.begin if self._gap else None

    def begin(self, at: Instant, why: str, lost_bytes: int | None = None) -> None:
        """Note that from this moment nothing was heard, or that bytes were lost. [bytes]"""
        if self._gap is None:
            self._gap = Gap(self._line, self._instrument, at, at, why, lost_bytes)
        elif lost_bytes is not None:
            self._gap = replace(self._gap, lost_bytes=(self._gap.lost_bytes or 0) + lost_bytes)

    async def settle(self, sink: Sink, at: Instant) -> None:
        """Keep the gap, if there is one, as ended now. Raises `SinkFullError`; call again later then."""
        if self._gap is not None:
            begin = self._gap.begin
            await sink.gap(replace(self._gap, end=max(begin, at, key=lambda moment: moment.monotonic_ns)))
            self._gap = None
