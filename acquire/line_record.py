"""The running record of a line: its newest state, and what of it is worth a log entry."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final

import structlog

from acquire.events import Event, FrameRead, FrameRefused, Instant
from acquire.gate import FITS_AFTER, STRANGE, STRANGE_AFTER
from acquire.line_state import Condition, LineState
from acquire.reasons import WRONG_INSTRUMENT

OnChange = Callable[[LineState], None]

SILENT_AFTER: Final = 3  # sendings without a byte in return, after which the state says so


class LineRecord:
    """Counts, and says each thing once. The counters are plain numbers: they move with every chunk."""

    def __init__(self, first: LineState, on_change: OnChange) -> None:
        self._state = first
        self._on_change = on_change
        self._last_byte_at: Instant | None = None
        self._last_contact_at: Instant | None = None
        self._bytes_heard = self._overflow_bytes = self._unkept_bytes = 0
        self._frames_read = self._frames_refused = 0
        self._unanswered = 0  # sendings since the last byte
        self._strange = 0  # refusals since the last frame that was read
        self._last_refusal: FrameRefused | None = None
        self._refusals: Counter[str] = Counter()
        self._log = structlog.get_logger().bind(line=first.line, driver=first.driver)

    @property
    def state(self) -> LineState:
        """How the line is doing now."""
        return replace(
            self._state,
            last_byte_at=self._last_byte_at,
            last_contact_at=self._last_contact_at,
            bytes_heard=self._bytes_heard,
            frames_read=self._frames_read,
            frames_refused=self._frames_refused,
            last_refusal=_words(self._last_refusal) if self._last_refusal else None,
            overflow_bytes=self._overflow_bytes,
            unkept_bytes=self._unkept_bytes,
        )

    def enter(self, condition: Condition, at: Instant, why: str = "", device: str | None = None) -> None:
        """Enter a condition and tell whoever wants to know."""
        device = device or self._state.device
        same = self._state.state is condition and self._state.why == why
        since = self._state.since if same else at
        self._state = replace(self._state, state=condition, since=since, why=why, device=device)
        self._on_change(self.state)

    def heard(self, size: int, at: Instant) -> None:
        """Count bytes that were kept. [bytes]"""
        self._bytes_heard += size
        self._last_byte_at = at
        if self._unanswered >= SILENT_AFTER and self._state.state is Condition.OPEN:
            self.enter(Condition.OPEN, at)
        self._unanswered = 0

    def contact(self, at: Instant) -> None:
        """Take note that a far bench said something."""
        self._last_contact_at = at

    def asked(self, at: Instant) -> None:
        """Count a sending; the state says so when several in a row brought nothing."""
        self._unanswered += 1
        if self._unanswered == SILENT_AFTER and self._state.state is Condition.OPEN:
            self.say("warning", "line.silent", asked=self._unanswered)
            self.enter(Condition.OPEN, at, _SILENT)

    def decoded(self, events: Sequence[Event], at: Instant) -> None:
        """Count frames; of refusals the first, tenth, hundredth and so on of each reason is logged."""
        for event in events:
            if isinstance(event, FrameRead):
                self._frames_read += 1
                self._strange = 0
                if self._state.state is Condition.UNRECOGNISED:
                    self.say("info", "line.recognised")
                    self.enter(Condition.OPEN, at)
            elif isinstance(event, FrameRefused):
                self._refused(event)
                why = self._why_unrecognised(event)
                if why and why != self._state.why:
                    self.say("error", "line.unrecognised", why=why)
                    self.enter(Condition.UNRECOGNISED, at, why)

    def overflowed(self, size: int) -> None:
        """Count bytes for which there was no room. [bytes]"""
        self._overflow_bytes += size
        self.say("error", "line.overflowed", lost_bytes=size, overflow_bytes=self._overflow_bytes)

    def unkept(self, size: int) -> None:
        """Count bytes that the store could not take. [bytes]"""
        self._unkept_bytes += size

    def say(self, level: str, event: str, **keys: Any) -> None:
        """Write a log entry about this line."""
        getattr(self._log, level)(event, **keys)

    def _why_unrecognised(self, event: FrameRefused) -> str:
        """Return why another instrument seems to be on this line; empty while none does."""
        if event.reason == WRONG_INSTRUMENT:
            return event.detail
        if event.reason in STRANGE:
            self._strange += 1
        return _STRANGE if self._strange == STRANGE_AFTER and self._state.state is Condition.OPEN else ""

    def _refused(self, event: FrameRefused) -> None:
        self._frames_refused += 1
        self._last_refusal = event
        self._refusals[event.reason] += 1
        count = self._refusals[event.reason]
        if is_power_of_ten(count):
            span = event.span
            keys = {"reason": event.reason, "detail": event.detail, "count": count}
            self.say("warning", "line.refused", offset=span.offset, length=span.length, **keys)


_SILENT: Final = (
    f"it was asked {SILENT_AFTER} times and said nothing; is it switched on, and is this its line and speed?"
)


_STRANGE: Final = (
    f"{STRANGE_AFTER} messages in a row do not fit the driver of this line, and nothing is taken until "
    f"{FITS_AFTER} in a row fit; is this its instrument, and are speed, data bits and parity right?"
)


def _words(refused: FrameRefused) -> str:
    return f"{refused.reason}: {refused.detail}" if refused.detail else refused.reason


def is_power_of_ten(count: int) -> bool:
    """Tell whether a count is 1, 10, 100 and so on: how repeated faults are thinned."""
    return count > 0 and str(count).strip("0") == "1"
