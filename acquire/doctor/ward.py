"""The doctor of all lines of a program: looks over their shoulders, and says what is wrong with one."""

from collections import defaultdict
from dataclasses import dataclass

from acquire.config import data_bits_of
from acquire.doctor.collector import Collector
from acquire.doctor.evidence import Evidence, Signals
from acquire.doctor.examine import examine
from acquire.doctor.hints import Hint
from acquire.events import Instant
from acquire.line_state import Condition, LineState
from acquire.sink import CaptureSink, Closing, Direction, Gap, Hearing, Opening, Sink


@dataclass(frozen=True, slots=True)
class Examination:
    """What was seen of a line, and what it looks like."""

    evidence: Evidence
    hints: tuple[Hint, ...]


class Ward:
    """Gathers evidence of every line. Put it before a sink, and let it be told every change of a line."""

    def __init__(self) -> None:
        self._collectors: defaultdict[str, Collector] = defaultdict(Collector)

    def before(self, sink: Sink) -> Sink:
        """Return a sink that hands everything on and lets the doctor see it."""
        return _WatchedSink(sink, self._collectors)

    def changed(self, state: LineState) -> None:
        """Take note of the state of a line."""
        if state.state is Condition.WAITING:
            self._collectors[state.line].lost(state.since, state.why)

    def examine(self, line: str, at: Instant, signals: Signals | None = None) -> Examination:
        """Return what is known of a line now, and what it looks like."""
        collector = self._collectors[line]
        collector.shows(signals)
        evidence = collector.evidence(at)
        return Examination(evidence, examine(evidence))


class _WatchedSink:
    def __init__(self, sink: Sink, collectors: defaultdict[str, Collector]) -> None:
        self._sink = sink
        self._collectors = collectors

    async def opened(self, opening: Opening) -> CaptureSink:
        collector = self._collectors[opening.line]
        collector.opened(opening.at, data_bits_of(opening.settings))
        return _WatchedCapture(await self._sink.opened(opening), collector)

    async def gap(self, gap: Gap) -> None:
        await self._sink.gap(gap)


class _WatchedCapture:
    def __init__(self, capture: CaptureSink, collector: Collector) -> None:
        self._capture = capture
        self._collector = collector

    async def heard(self, *hearings: Hearing) -> None:
        for hearing in hearings:
            for chunk in hearing.chunks:
                if chunk.direction is Direction.HEARD:
                    self._collector.heard(chunk.data)
                else:
                    self._collector.sent(chunk.data)
            self._collector.events(hearing.events)
        await self._capture.heard(*hearings)

    async def closed(self, closing: Closing) -> None:
        await self._capture.closed(closing)
