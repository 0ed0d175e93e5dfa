"""The account of a capture: every byte heard is in exactly one event, whatever the driver does.

A driver is trusted with meaning, never with the count. What it says is held against the bytes heard; bytes
that it left out, and bytes that it was holding when it failed, come out as refused. Here, and nowhere else in
hearing, any exception is caught: this is the border behind which other people's code runs.
"""

import traceback
from collections.abc import Callable, Iterable
from pathlib import PurePath
from typing import Final

from acquire.driver import Driver, DriverFactory
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Span
from acquire.gate import Gate
from acquire.reasons import DRIVER_FAULT, PLAIN_WORDS, UNACCOUNTED

_EVENTS: Final = (FrameRead, FrameRefused, Filler)


class _BrokenPromiseError(Exception):
    """The driver named bytes that it cannot name."""


class Account:
    """Run a driver over one capture so that the spans of its events tile the bytes heard.

    An error in the driver stops nothing: what it had not yet accounted for comes out as refused, the error
    waits in :meth:`take_fault`, and a fresh driver goes on with the next bytes. The first driver is made at
    once, so that one which cannot be made is an error of the caller.
    """

    def __init__(self, factory: DriverFactory, gate: Gate | None = None) -> None:
        """Take what makes drivers; behind a gate nothing of another instrument counts as read."""
        self._factory = factory
        self._gate = gate
        self._driver: Driver | None = factory()
        self._base = 0  # what the present driver calls offset 0 [bytes]
        self._heard = 0  # [bytes]
        self._accounted = 0  # end of the last span [bytes]
        self._fault: str | None = None

    @property
    def heard_bytes(self) -> int:
        """How many bytes were heard so far. [bytes]"""
        return self._heard

    @property
    def next_deadline_ns(self) -> int | None:
        """Monotonic time at which :meth:`tick` wants to be called; None if never. [ns]"""
        try:
            return None if self._driver is None else self._driver.next_deadline_ns
        except Exception as error:
            self._note(error)
            return None

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Hand bytes to the driver and return the events that they complete."""
        self._heard += len(data)
        return self._run(lambda driver: driver.receive(data, at))

    def tick(self, at: Instant) -> list[Event]:
        """Tell the driver that time has passed and return what silence completes."""
        return self._run(lambda driver: driver.tick(at))

    def closed(self, at: Instant) -> list[Event]:
        """Tell the driver that the line is gone; afterwards the events tile all bytes. Call once, last."""
        events = self._run(lambda driver: driver.closed(at))
        if self._accounted < self._heard:
            events.append(self._refuse_up_to(self._heard, UNACCOUNTED))  # no reason to close a gate
        return merge_fillers(events)

    def to_send(self) -> bytes:
        """Return, once, the bytes that the driver wants on the wire."""
        try:
            if self._driver is None:
                self._driver = self._factory()  # one that asks must be asked what it wants to say
            return self._driver.to_send()
        except Exception as error:
            self._note(error)
            return b""

    def take_fault(self) -> str | None:
        """Return, once, the driver's error since the last call: type, message and where."""
        fault, self._fault = self._fault, None
        return fault

    def _run(self, call: Callable[[Driver], Iterable[Event]]) -> list[Event]:
        events: list[Event] = []
        try:
            if self._driver is None:
                self._driver = self._factory()
            for event in call(self._driver):
                self._enter(event, events)
        except Exception as error:
            self._note(error)
            self._start_afresh(events)
        return merge_fillers(events if self._gate is None else self._gate.sift(events))

    def _enter(self, event: Event, events: list[Event]) -> None:
        shifted = self._shifted(event)
        span = shifted.span
        if span.length < 1 or span.offset < self._accounted or span.end > self._heard:
            raise _BrokenPromiseError(
                f"bytes {span.offset} to {span.end} were named, "
                f"but only bytes {self._accounted} to {self._heard} were open"
            )
        if span.offset > self._accounted:
            events.append(self._refuse_up_to(span.offset, UNACCOUNTED))
        events.append(shifted)
        self._accounted = span.end

    def _shifted(self, event: Event) -> Event:
        if not isinstance(event, _EVENTS):
            raise _BrokenPromiseError(f"{type(event).__name__} is no event")
        if not self._base:
            return event
        return event._replace(span=Span(event.span.offset + self._base, event.span.length))

    def _refuse_up_to(self, end: int, reason: str, detail: str = "") -> FrameRefused:
        span = Span(self._accounted, end - self._accounted)
        self._accounted = end
        return FrameRefused(span, reason, detail or PLAIN_WORDS[reason])

    def _start_afresh(self, events: list[Event]) -> None:
        if self._accounted < self._heard:
            events.append(self._refuse_up_to(self._heard, DRIVER_FAULT, self._fault or ""))
        self._base = self._heard
        self._driver = None  # a fresh one is made when there is something to tell it, or to send

    def _note(self, error: Exception) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        where = f" at {PurePath(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
        if self._fault is None:  # what follows a first fault is mostly its echo
            self._fault = f"{type(error).__name__}: {error}{where}"


def merge_fillers(events: Iterable[Event]) -> list[Event]:
    """Return the events with neighbouring fillers joined into one."""
    merged: list[Event] = []
    for event in events:
        last = merged[-1] if merged else None
        if isinstance(event, Filler) and isinstance(last, Filler) and last.span.end == event.span.offset:
            merged[-1] = Filler(Span(last.span.offset, last.span.length + event.span.length))
        else:
            merged.append(event)
    return merged
