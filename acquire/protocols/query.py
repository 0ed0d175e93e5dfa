"""The driver of query and answer in the manner of IEEE 488.2: one question at a time, each with its time.

An answer bears no name, so a late one could be taken for the answer to the next question. After any trouble
(no answer, one that cannot be read, bytes that nobody asked for) the instrument is therefore asked who it is:
answers come in the order of the questions, so whatever comes before its identity is old, and refused. If
another instrument answers, nothing is read until the right one does. An instrument that does not know the
question gets one poll only, and the first answer after an opening or a trouble is not trusted.
"""

from collections.abc import Mapping
from typing import Final

from acquire.drivers.asking import Exchange, Schedule, in_ns
from acquire.drivers.escapes import bytes_of
from acquire.drivers.refusal import Refusal
from acquire.events import Event, Filler, FrameRead, FrameRefused, Identity, Instant, Span
from acquire.protocols.factory import ProtocolFactory
from acquire.protocols.options import checked_options
from acquire.protocols.query_answers import AnswerParser, looks_like_identity
from acquire.protocols.query_options import QueryOptions
from acquire.protocols.window import Window
from acquire.reasons import NO_ANSWER, NOT_ASKED, OUT_OF_FRAME, PARTIAL, PLAIN_WORDS, TOO_LONG

NAME: Final = "query-answer"
IDENTIFY: Final = b"*IDN?"
MOST_BYTES: Final = 4096  # of an answer with its end mark [bytes]
BLANK: Final = b" \t\r\n\0"


def factory(options: Mapping[str, object]) -> ProtocolFactory[QueryOptions]:
    """Return the factory for a line with these options; raise `DriverOptionError` with every fault."""
    return ProtocolFactory(NAME, checked_options(QueryOptions, NAME, options), QueryDriver)


class QueryDriver:
    """Asks one instrument."""

    def __init__(self, options: QueryOptions) -> None:
        self._options = options
        self._parser = AnswerParser(options)
        self._send_end = bytes_of(options.send_end, "ascii")
        self._answer_end = bytes_of(options.answer_end, "ascii")
        self._questions = [bytes_of(poll.send, "ascii") for poll in options.poll]
        self._schedule = Schedule([in_ns(poll.every_s) for poll in options.poll])
        self._exchange = Exchange()
        self._window = Window()
        self._not_before_ns = 0
        self._trusted_until_ns = 0  # up to then it is still the one that said who it is [ns]
        self._asked: int | None = None  # which poll; None for the identity
        self._distrusts_next = not options.identify  # the next answer may be an old one
        self._ask(None if options.identify else 0)

    @property
    def next_deadline_ns(self) -> int | None:
        """When an answer is overdue or the next question is due. [ns]"""
        due_ns = self._schedule.next_due_ns
        if self._exchange.is_open or due_ns is None:
            return self._exchange.deadline_ns
        return max(due_ns, self._not_before_ns)

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes and return the events that they complete."""
        self._note_time(at)
        events: list[Event] = []
        for begin in range(0, len(data), MOST_BYTES):
            self._window.push(data[begin : begin + MOST_BYTES])
            while (event := self._step(at)) is not None:
                events.append(event)
        return events

    def tick(self, at: Instant) -> list[Event]:
        """Give up an answer that is overdue; ask what is due."""
        self._note_time(at)
        events: list[Event] = []
        if self._exchange.is_overdue(at):
            events += self._rest(NO_ANSWER, "no end mark came in time")
            self._trouble(at)
        due = self._schedule.next_index(at)
        if due is not None and not self._exchange.is_open and at.monotonic_ns >= self._not_before_ns:
            events += self._rest(NOT_ASKED, PLAIN_WORDS[NOT_ASKED])
            self._ask_next(due, at)
        return events

    def closed(self, at: Instant) -> list[Event]:  # noqa: ARG002 - the end is the end, whenever it comes
        """Return what is unfinished, refused."""
        return self._rest(PARTIAL, PLAIN_WORDS[PARTIAL])

    def to_send(self) -> bytes:
        """Return, once, the question that is due."""
        return self._exchange.to_send()

    def _note_time(self, at: Instant) -> None:
        self._exchange.told(at)
        if not self._schedule.has_begun:  # the first question was put before any time was known
            self._schedule.begin(at)
            if self._asked is not None:
                self._schedule.asked(self._asked, at)

    def _ask_next(self, due: int, at: Instant) -> None:
        if self._options.identify and at.monotonic_ns > self._trusted_until_ns:
            self._ask(None)
            return
        self._ask(due)
        self._schedule.asked(due, at)

    def _ask(self, index: int | None) -> None:
        text = IDENTIFY if index is None else self._questions[index]
        options = self._options
        timeout_s = options.identity_timeout_s if index is None else options.poll[index].timeout_s
        self._exchange.ask(text + self._send_end, in_ns(timeout_s))
        self._asked = index

    def _answered(self, at: Instant) -> None:
        self._exchange.end()
        self._not_before_ns = at.monotonic_ns
        self._trusted_until_ns = at.monotonic_ns + in_ns(self._options.trust_s)

    def _trouble(self, at: Instant) -> None:
        self._exchange.end()
        self._trusted_until_ns = 0
        self._distrusts_next = not self._options.identify
        self._not_before_ns = at.monotonic_ns + in_ns(self._options.retry_s)

    def _step(self, at: Instant) -> Event | None:
        """Take the next answer out of the window; None if none is whole yet."""
        place = self._window.data.find(self._answer_end, 0, MOST_BYTES)
        if place >= 0:
            body = self._window.data[:place]
            return self._read(body, self._window.take(place + len(self._answer_end)), at)
        if len(self._window) < MOST_BYTES:
            return None
        self._trouble(at)
        return FrameRefused(
            self._window.take(MOST_BYTES), TOO_LONG, f"{PLAIN_WORDS[TOO_LONG]} of {MOST_BYTES} bytes"
        )

    def _read(self, body: bytes, span: Span, at: Instant) -> Event:
        body = body.strip(BLANK)
        if not body or (self._options.echo and self._is_echo(body)):
            return Filler(span)
        if not self._exchange.is_open:
            self._trusted_until_ns = 0
            return FrameRefused(span, NOT_ASKED, PLAIN_WORDS[NOT_ASKED])
        try:
            event = (
                self._identity(body, span) if self._asked is None else self._answer(self._asked, body, span)
            )
        except Refusal as refusal:
            if refusal.reason == OUT_OF_FRAME:
                self._answered(at)
            else:
                self._trouble(at)
            return FrameRefused(span, refusal.reason, refusal.detail)
        if isinstance(event, FrameRead):
            self._answered(at)
        return event

    def _is_echo(self, body: bytes) -> bool:
        return self._exchange.is_open and body == self._exchange.question.strip(BLANK)

    def _answer(self, asked: int, body: bytes, span: Span) -> Event:
        if self._distrusts_next:
            self._distrusts_next = False
            raise Refusal(OUT_OF_FRAME, "the first answer after an opening or a trouble may be an old one")
        return FrameRead(span, self._parser.readings(body, self._options.poll[asked]))

    def _identity(self, body: bytes, span: Span) -> Event:
        """Return who it is; an answer to an older question is refused, and the identity still awaited."""
        text = self._parser.text(body)
        if not looks_like_identity(text):
            return FrameRefused(span, NOT_ASKED, "an answer to an earlier question, which came too late")
        self._parser.check_identity(text)
        return FrameRead(span, (), (Identity(text),))

    def _rest(self, reason: str, detail: str) -> list[Event]:
        length = len(self._window)
        if not length:
            return []
        is_blank = not self._window.data.strip(BLANK)
        span = self._window.take(length)
        return [Filler(span) if is_blank else FrameRefused(span, reason, detail)]
