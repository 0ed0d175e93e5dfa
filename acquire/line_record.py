"""The running record of a line: its newest state, and what of it is worth a log entry."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import structlog

from acquire.events import Event, FrameRead, FrameRefused, Instant
from acquire.line_state import Condition, LineState

OnChange = Callable[[LineState], None]


class LineRecord:
    """Counts, and says each thing once."""

    def __init__(self, first: LineState, on_change: OnChange) -> None:
        self.state = first
        self._on_change = on_change
        self._refusals: Counter[str] = Counter()
        self._log = structlog.get_logger().bind(line=first.line, driver=first.driver)

    def enter(self, condition: Condition, at: Instant, why: str = "", device: str | None = None) -> None:
        """Enter a condition and tell whoever wants to know."""
        device = device or self.state.device
        same = self.state.state is condition and self.state.why == why
        self._set(state=condition, since=self.state.since if same else at, why=why, device=device)
        self._on_change(self.state)

    def heard(self, size: int, at: Instant) -> None:
        """Count bytes that were kept. [bytes]"""
        self._set(bytes_heard=self.state.bytes_heard + size, last_byte_at=at)

    def decoded(self, events: Iterable[Event]) -> None:
        """Count frames; of refusals the first, tenth, hundredth and so on of each reason is logged."""
        frames = tuple(events)
        read = sum(isinstance(event, FrameRead) for event in frames)
        self._set(frames_read=self.state.frames_read + read)
        for event in frames:
            if isinstance(event, FrameRefused):
                self._refused(event)

    def overflowed(self, size: int) -> None:
        """Count bytes for which there was no room. [bytes]"""
        self._set(overflow_bytes=self.state.overflow_bytes + size)
        self._log.error("line.overflowed", lost_bytes=size, overflow_bytes=self.state.overflow_bytes)

    def unkept(self, size: int) -> None:
        """Count bytes that the store could not take. [bytes]"""
        self._set(unkept_bytes=self.state.unkept_bytes + size)

    def say(self, level: str, event: str, **keys: Any) -> None:
        """Write a log entry about this line."""
        getattr(self._log, level)(event, **keys)

    def _refused(self, event: FrameRefused) -> None:
        words = f"{event.reason}: {event.detail}" if event.detail else event.reason
        self._set(frames_refused=self.state.frames_refused + 1, last_refusal=words)
        self._refusals[event.reason] += 1
        count = self._refusals[event.reason]
        if is_power_of_ten(count):
            self._log.warning(
                "line.refused",
                reason=event.reason,
                detail=event.detail,
                offset=event.span.offset,
                length=event.span.length,
                count=count,
            )

    def _set(self, **changes: Any) -> None:
        self.state = replace(self.state, **changes)


def is_power_of_ten(count: int) -> bool:
    """Tell whether a count is 1, 10, 100 and so on: how repeated faults are thinned."""
    return count > 0 and str(count).strip("0") == "1"
