"""Ask an instrument: when each question is due, and how long its answer may take.

Time comes in by `Instant` alone. A question waits, without any limit, until its bytes were taken to be sent;
only the moment that follows starts the time for its answer. So a store that is slow for a while makes no
answer late.
"""

from collections.abc import Sequence
from typing import Final

from acquire.events import Instant

NS_PER_S: Final = 1_000_000_000  # [ns/s], exact


class Schedule:
    """When each of several questions is to be asked next.

    A question that could not be asked in its time is asked once, as soon as it can be; what was missed is not
    made up for. One without an interval is asked once only, at the beginning.
    """

    def __init__(self, intervals_ns: Sequence[int | None]) -> None:
        self._intervals_ns = tuple(intervals_ns)
        self._due_ns: list[int | None] = []

    @property
    def has_begun(self) -> bool:
        """Whether it knows a moment to count from."""
        return bool(self._due_ns)

    @property
    def next_due_ns(self) -> int | None:
        """When the next question is due; None if none ever is. [ns]"""
        return min((due for due in self._due_ns if due is not None), default=None)

    def begin(self, at: Instant) -> None:
        """Let every question be due now."""
        self._due_ns = [at.monotonic_ns] * len(self._intervals_ns)

    def next_index(self, at: Instant) -> int | None:
        """Return which question has been due longest; of several the first."""
        due = [(when, index) for index, when in enumerate(self._due_ns) if when is not None]
        when, index = min(due, default=(0, None))
        return index if index is not None and when <= at.monotonic_ns else None

    def asked(self, index: int, at: Instant) -> None:
        """Let a question be due again after its interval, and no earlier than now."""
        interval_ns, due_ns = self._intervals_ns[index], self._due_ns[index]
        if interval_ns is None or due_ns is None:
            self._due_ns[index] = None
        else:
            self._due_ns[index] = max(due_ns + interval_ns, at.monotonic_ns)


class Exchange:
    """One question on its way to its answer."""

    def __init__(self) -> None:
        self.is_open = False
        """Whether an answer is awaited."""
        self.question = b""
        """What was asked last."""
        self.deadline_ns: int | None = None
        """When the answer is overdue; None while nothing is awaited, or before the question left. [ns]"""
        self._outgoing = b""
        self._timeout_ns = 0

    def ask(self, question: bytes, timeout_ns: int) -> None:
        """Let a question be sent. [ns]"""
        self.is_open, self.question, self._outgoing = True, question, question
        self._timeout_ns, self.deadline_ns = timeout_ns, None

    def to_send(self) -> bytes:
        """Return, once, the bytes of the question."""
        outgoing, self._outgoing = self._outgoing, b""
        return outgoing

    def told(self, at: Instant) -> None:
        """Take note of the time: it counts from the first moment after the question was taken."""
        if self.is_open and self.deadline_ns is None and not self._outgoing:
            self.deadline_ns = at.monotonic_ns + self._timeout_ns

    def is_overdue(self, at: Instant) -> bool:
        """Tell whether the answer may no longer come."""
        return self.deadline_ns is not None and at.monotonic_ns >= self.deadline_ns

    def end(self) -> None:
        """Await nothing any more."""
        self.is_open, self.deadline_ns, self._outgoing = False, None, b""


def in_ns(duration_s: float) -> int:
    """Return a duration in whole nanoseconds; the argument in seconds. [ns]"""
    return round(duration_s * NS_PER_S)
