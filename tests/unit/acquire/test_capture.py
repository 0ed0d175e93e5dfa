import pytest

from acquire.accounting import Account
from acquire.capture import OpenCapture
from acquire.events import Event, FrameRefused, Instant, Span
from acquire.lines.transport import End
from acquire.reasons import PARTIAL
from acquire.sink import Chunk, Closing, Ending, Hearing, SinkFullError
from tests.fakes.line_driver import FakeLineDrivers

AT = Instant(1_000_000, 1_000_000_000)
END = End(Ending.LOST, "gone", AT)


class MoodySink:
    """A capture's sink that refuses the next calls for which it is told to."""

    def __init__(self) -> None:
        self.refuses_heard = 0
        self.refuses_closed = 0
        self.events: list[Event] = []
        self.closings: list[Closing] = []

    async def heard(self, *hearings: Hearing) -> None:
        self.refuses_heard -= 1
        if self.refuses_heard >= 0:
            raise SinkFullError
        self.events += [event for hearing in hearings for event in hearing.events]

    async def closed(self, closing: Closing) -> None:
        self.refuses_closed -= 1
        if self.refuses_closed >= 0:
            raise SinkFullError
        self.closings.append(closing)


async def _half_heard() -> tuple[MoodySink, OpenCapture]:
    sink = MoodySink()
    capture = OpenCapture(sink, Account(FakeLineDrivers()))
    await capture.hear((Chunk(AT, b"pH 3."),), AT, may_send=False)
    return sink, capture


async def test_what_the_driver_said_last_is_kept_when_the_sink_takes_it_at_the_second_attempt() -> None:
    sink, capture = await _half_heard()
    sink.refuses_heard = 1
    with pytest.raises(SinkFullError):
        await capture.finish(END)
    await capture.finish(END)
    assert sink.events == [FrameRefused(Span(0, 5), PARTIAL)]
    assert len(sink.closings) == 1


async def test_last_events_are_not_kept_twice_when_only_the_closing_failed() -> None:
    sink, capture = await _half_heard()
    sink.refuses_closed = 1
    with pytest.raises(SinkFullError):
        await capture.finish(END)
    await capture.finish(END)
    assert sink.events == [FrameRefused(Span(0, 5), PARTIAL)]
    assert len(sink.closings) == 1


async def test_a_broken_capture_asks_for_no_more_time() -> None:
    sink = MoodySink()
    capture = OpenCapture(sink, Account(FakeLineDrivers(silence_ns=1)))
    sink.refuses_heard = 1
    with pytest.raises(SinkFullError):
        await capture.hear((Chunk(AT, b"pH 3."),), AT, may_send=False)
    assert capture.broken
    assert capture.next_deadline_ns is None


async def test_a_quiet_turn_is_no_commit() -> None:
    sink = MoodySink()
    sink.refuses_heard = 1
    await OpenCapture(sink, Account(FakeLineDrivers())).hear((), AT, may_send=True)
    assert sink.refuses_heard == 1
