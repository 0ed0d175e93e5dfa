"""The driver of Modbus RTU as a client: it asks for blocks of registers, and reads the answers."""

from collections.abc import Mapping
from typing import Final

from acquire.drivers.asking import Exchange, Schedule, in_ns
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Outcome, Status
from acquire.protocols.factory import ProtocolFactory
from acquire.protocols.modbus_frames import EXCEPTIONS, Answer, question, shape_of_answer
from acquire.protocols.modbus_options import ModbusOptions, ModbusPoll
from acquire.protocols.modbus_rehearsal import rehearsal_of
from acquire.protocols.modbus_values import failed_reading, reading_of
from acquire.protocols.options import checked_options
from acquire.protocols.window import Window
from acquire.reasons import NO_ANSWER, NOT_ASKED, OUT_OF_FRAME, PARTIAL, PLAIN_WORDS

NAME: Final = "modbus-rtu"
LOOKED_AT_BYTES: Final = 512  # of noise that is searched for an answer; more than the longest one [bytes]


def factory(options: Mapping[str, object]) -> ProtocolFactory[ModbusOptions]:
    """Return the factory for a line with these options; raise `DriverOptionError` with every fault."""
    return ProtocolFactory(NAME, checked_options(ModbusOptions, NAME, options), ModbusDriver, rehearsal_of)


class ModbusDriver:
    """Asks one device."""

    def __init__(self, options: ModbusOptions) -> None:
        self._polls = options.poll
        self._questions = [question(options.device, poll) for poll in options.poll]
        self._shapes = [shape_of_answer(options.device, poll) for poll in options.poll]
        self._pause_ns = in_ns(options.pause_s)
        self._echo = options.echo
        self._schedule = Schedule([in_ns(poll.every_s) for poll in options.poll])
        self._exchange = Exchange()
        self._window = Window()
        self._not_before_ns = 0
        self._asked = 0  # which poll
        self._echo_awaited = False
        self._ask(0)

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
        for begin in range(0, len(data), LOOKED_AT_BYTES):
            self._window.push(data[begin : begin + LOOKED_AT_BYTES])
            while self._step(at, events):
                pass
        return events

    def tick(self, at: Instant) -> list[Event]:
        """Give up an answer that is overdue; ask what is due."""
        self._note_time(at)
        events: list[Event] = []
        if self._exchange.is_overdue(at):
            events += self._rest(NO_ANSWER, "no answer with a sound CRC came in time")
            self._end(at, self._polls[self._asked].timeout_s)
        due = self._schedule.next_index(at)
        if due is not None and not self._exchange.is_open and at.monotonic_ns >= self._not_before_ns:
            events += self._rest(NOT_ASKED, PLAIN_WORDS[NOT_ASKED])
            self._ask(due)
            self._schedule.asked(due, at)
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
            self._schedule.asked(0, at)

    def _ask(self, index: int) -> None:
        poll = self._polls[index]
        self._exchange.ask(self._questions[index], in_ns(poll.timeout_s))
        self._asked, self._echo_awaited = index, self._echo

    def _end(self, at: Instant, pause_s: float) -> None:
        self._exchange.end()
        self._not_before_ns = at.monotonic_ns + max(self._pause_ns, in_ns(pause_s))

    def _step(self, at: Instant, events: list[Event]) -> bool:
        """Take the next thing out of the window; False if it is not whole yet."""
        if not self._exchange.is_open:
            return self._step_noise(events, NOT_ASKED, PLAIN_WORDS[NOT_ASKED])
        if self._echo_awaited:
            return self._step_echo(events)
        answer = self._shapes[self._asked].find(self._window.data[:LOOKED_AT_BYTES])
        if answer is None:
            return self._step_noise(events, OUT_OF_FRAME, "these bytes are no part of the answer")
        if answer.begin:
            span = self._window.take(answer.begin)
            events.append(FrameRefused(span, OUT_OF_FRAME, "these bytes are no part of the answer"))
        events.append(self._read(self._polls[self._asked], answer))
        self._end(at, 0.0)
        return True

    def _step_noise(self, events: list[Event], reason: str, detail: str) -> bool:
        if len(self._window) < LOOKED_AT_BYTES:
            return False
        events.append(FrameRefused(self._window.take(LOOKED_AT_BYTES // 2), reason, detail))
        return True

    def _step_echo(self, events: list[Event]) -> bool:
        """Take the question that came back; anything else is looked at as an answer."""
        echo = self._exchange.question
        if len(self._window) < len(echo) and echo.startswith(self._window.data):
            return False
        self._echo_awaited = False
        if self._window.data.startswith(echo):
            events.append(Filler(self._window.take(len(echo))))
        return True

    def _read(self, poll: ModbusPoll, answer: Answer) -> Event:
        span = self._window.take(answer.end - answer.begin)
        if answer.exception is None:
            return FrameRead(span, tuple(reading_of(field, answer.contents) for field in poll.fields))
        code = f"{answer.exception:02X}"
        words = EXCEPTIONS.get(answer.exception, "an exception that the protocol does not name")
        status = Status(code, Outcome.INSTRUMENT_ERROR, words)
        readings = tuple(failed_reading(field, f"exception {code}") for field in poll.fields)
        return FrameRead(span, readings, (status,))

    def _rest(self, reason: str, detail: str) -> list[Event]:
        length = len(self._window)
        return [FrameRefused(self._window.take(length), reason, detail)] if length else []
