"""Polls of a driver file: what is sent to an instrument that answers only when asked.

The answers need no name: the layout of the file says what each message is. But an answer that stopped
half-way must not be joined with the next one, and what comes late must not be taken for a whole. So when an
answer is overdue and bytes of it are here, they are refused, and what comes up to the next end mark is not
trusted.
"""

from collections.abc import Callable, Sequence
from typing import Annotated, Final

from pydantic import AfterValidator
from pydantic import Field as Setting

from acquire.driver import Driver
from acquire.drivers.asking import Exchange, Schedule, in_ns
from acquire.drivers.escapes import bytes_of
from acquire.drivers.strict import StrictModel
from acquire.events import Event, Filler, FrameRefused, Instant, Span
from acquire.reasons import NO_ANSWER, PARTIAL

_LATE: Final = "the answer stopped half-way and nothing more came in time"


def _sendable(text: str) -> str:
    if not bytes_of(text, "ascii"):
        raise ValueError("is empty")
    return text


class Poll(StrictModel):
    """One question of a driver file."""

    send: Annotated[str, AfterValidator(_sendable)]
    """ASCII with escapes, end mark and all."""
    every_s: float | None = Setting(default=None, ge=0.1, le=86_400)
    """Left out: once, when the line was opened. [s]"""
    timeout_s: float = Setting(default=2.0, ge=0.05, le=600)
    """How long an answer is waited for before anything else is asked. [s]"""


class PolledDriver:
    """A driver that only listens, and the questions that make its instrument speak."""

    def __init__(
        self, listen: Callable[[], Driver], listen_after_a_break: Callable[[], Driver], polls: Sequence[Poll]
    ) -> None:
        self._inner = listen()
        self._listen_after_a_break = listen_after_a_break
        self._questions = [bytes_of(poll.send, "ascii") for poll in polls]
        self._timeouts_ns = [in_ns(poll.timeout_s) for poll in polls]
        self._schedule = Schedule([None if poll.every_s is None else in_ns(poll.every_s) for poll in polls])
        self._exchange = Exchange()
        self._base = 0  # what the present inner driver calls offset 0 [bytes]
        self._heard = self._accounted = 0  # [bytes]
        self._ask(0)

    @property
    def next_deadline_ns(self) -> int | None:
        """When silence ends a frame, an answer is overdue, or a question is due. [ns]"""
        own = self._exchange.deadline_ns if self._exchange.is_open else self._schedule.next_due_ns
        return min((due for due in (own, self._inner.next_deadline_ns) if due is not None), default=None)

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes and return the events that they complete; the first of them is the answer."""
        self._note_time(at)
        self._heard += len(data)
        return self._noted(self._inner.receive(data, at))

    def tick(self, at: Instant) -> list[Event]:
        """Say what silence completes; give up an answer that is overdue; ask what is due."""
        self._note_time(at)
        events: list[Event] = []
        inner_due_ns = self._inner.next_deadline_ns
        if inner_due_ns is not None and inner_due_ns <= at.monotonic_ns:
            events += self._noted(self._inner.tick(at))
        if self._exchange.is_overdue(at):
            self._exchange.end()
            events += self._break_off(at)
        due = self._schedule.next_index(at)
        if due is not None and not self._exchange.is_open:
            self._ask(due)
            self._schedule.asked(due, at)
        return events

    def closed(self, at: Instant) -> list[Event]:
        """Return what is unfinished, refused."""
        return self._noted(self._inner.closed(at))

    def to_send(self) -> bytes:
        """Return, once, the question that is due."""
        return self._exchange.to_send()

    def _note_time(self, at: Instant) -> None:
        self._exchange.told(at)
        if not self._schedule.has_begun:  # the first question was put before any time was known
            self._schedule.begin(at)
            self._schedule.asked(0, at)

    def _ask(self, index: int) -> None:
        self._exchange.ask(self._questions[index], self._timeouts_ns[index])

    def _noted(self, events: Sequence[Event]) -> list[Event]:
        shifted = [self._shifted(event) for event in events]
        if shifted:
            self._accounted = shifted[-1].span.end
        if any(not isinstance(event, Filler) for event in shifted):
            self._exchange.end()
        return shifted

    def _break_off(self, at: Instant) -> list[Event]:
        """Refuse the beginning of an answer that stopped, and begin to listen anew."""
        if self._accounted == self._heard:
            return []
        left = self._noted(self._inner.closed(at))
        self._inner, self._base = self._listen_after_a_break(), self._heard
        return [
            FrameRefused(event.span, NO_ANSWER, _LATE)
            if isinstance(event, FrameRefused) and event.reason == PARTIAL
            else event
            for event in left
        ]

    def _shifted(self, event: Event) -> Event:
        if not self._base:
            return event
        return event._replace(span=Span(event.span.offset + self._base, event.span.length))
