"""Every byte heard ends up in exactly one event, whatever the driver does."""

from collections.abc import Sequence

from hypothesis import event as note
from hypothesis import given
from hypothesis import strategies as st

from acquire.accounting import Account, merge_fillers
from acquire.events import Event, Filler, FrameRead, FrameRefused, Span
from acquire.reasons import DRIVER_FAULT, UNACCOUNTED
from tests.fakes.driver import AT, Answer, FakeFactory, LineDriver, ScriptedDriver


def account_of(script: Sequence[Answer]) -> Account:
    return Account(FakeFactory(lambda: ScriptedDriver(script)))


def ranges(events: Sequence[Event]) -> list[tuple[int, int]]:
    return [(event.span.offset, event.span.end) for event in events]


def test_passes_on_what_a_driver_says_of_the_bytes() -> None:
    account = account_of([[FrameRead(Span(0, 4))]])
    assert account.receive(b"abc\n", AT) == [FrameRead(Span(0, 4))]
    assert account.closed(AT) == []
    assert account.take_fault() is None


def test_bytes_between_two_frames_that_nobody_named_come_out_as_unaccounted() -> None:
    account = account_of([[FrameRead(Span(0, 2)), FrameRead(Span(5, 3))]])
    events = account.receive(b"12345678", AT)
    assert ranges(events) == [(0, 2), (2, 5), (5, 8)]
    assert isinstance(events[1], FrameRefused)
    assert events[1].reason == UNACCOUNTED


def test_bytes_that_nobody_named_before_the_end_come_out_at_the_end() -> None:
    account = account_of([])
    assert account.receive(b"lost", AT) == []
    (event,) = account.closed(AT)
    assert isinstance(event, FrameRefused)
    assert (event.span, event.reason) == (Span(0, 4), UNACCOUNTED)


def test_after_a_fault_a_fresh_driver_is_asked_what_it_wants_to_send() -> None:
    account = Account(FakeFactory(lambda: ScriptedDriver([RuntimeError("a bug")], to_send=b"?")))
    assert account.to_send() == b"?"
    account.receive(b"x", AT)
    assert account.to_send() == b"?"


def test_a_frame_that_overlaps_the_one_before_is_a_fault_and_not_passed_on() -> None:
    account = account_of([[FrameRead(Span(0, 3)), FrameRead(Span(2, 2))]])
    events = account.receive(b"1234", AT)
    assert ranges(events) == [(0, 3), (3, 4)]
    assert isinstance(events[1], FrameRefused)
    assert events[1].reason == DRIVER_FAULT
    assert "bytes 2 to 4 were named, but only bytes 3 to 4 were open" in str(account.take_fault())


def test_a_frame_beyond_the_bytes_heard_is_a_fault() -> None:
    account = account_of([[FrameRead(Span(0, 5))]])
    assert ranges(account.receive(b"1234", AT)) == [(0, 4)]
    assert "bytes 0 to 5" in str(account.take_fault())


def test_what_is_no_event_is_a_fault() -> None:
    account = Account(FakeFactory(lambda: ScriptedDriver([["words"]])))  # type: ignore[list-item] # hostile
    assert ranges(account.receive(b"1", AT)) == [(0, 1)]
    assert "str is no event" in str(account.take_fault())


def test_a_fault_refuses_what_was_pending_and_a_fresh_driver_goes_on_at_the_right_offset() -> None:
    factory = FakeFactory(LineDriver)
    account = Account(factory)
    assert account.receive(b"one\nhalf", AT) == [FrameRead(Span(0, 4))]
    (refused,) = account.receive(b"\nBUG\n", AT)
    assert isinstance(refused, FrameRefused)
    assert (refused.span, refused.reason) == (Span(4, 9), DRIVER_FAULT)
    assert account.receive(b"two\n", AT) == [FrameRead(Span(13, 4))]
    assert factory.made == 2


def test_a_fault_names_the_error_and_where_it_was_raised_once() -> None:
    account = Account(FakeFactory(LineDriver))
    account.receive(b"BUG\n", AT)
    assert str(account.take_fault()).startswith("RuntimeError: a bug of the driver at driver.py:")
    assert account.take_fault() is None


def test_a_fresh_driver_that_cannot_be_made_is_tried_again_with_the_next_bytes() -> None:
    account = Account(FakeFactory(LineDriver, errors=[None, OSError("no memory")]))
    account.receive(b"BUG\n", AT)
    (refused,) = account.receive(b"two\n", AT)
    assert isinstance(refused, FrameRefused)
    assert refused.reason == DRIVER_FAULT
    assert account.receive(b"three\n", AT) == [FrameRead(Span(8, 6))]


def test_neighbouring_fillers_become_one() -> None:
    account = account_of([[Filler(Span(0, 1)), Filler(Span(1, 2)), FrameRead(Span(3, 1))]])
    assert account.receive(b"\n\r\nx", AT) == [Filler(Span(0, 3)), FrameRead(Span(3, 1))]


def test_fillers_with_a_frame_between_them_stay_apart() -> None:
    events: list[Event] = [Filler(Span(0, 1)), FrameRead(Span(1, 1)), Filler(Span(2, 1))]
    assert merge_fillers(events) == events


def test_hands_on_the_wish_to_send_and_the_deadline() -> None:
    account = Account(FakeFactory(lambda: ScriptedDriver([], to_send=b"\x06", deadline_ns=7)))
    assert account.next_deadline_ns == 7
    assert (account.to_send(), account.to_send()) == (b"\x06", b"")
    assert account.tick(AT) == []
    assert account.next_deadline_ns is None


spans = st.builds(Span, st.integers(-3, 40), st.integers(-1, 20))
hostile_events = st.lists(
    st.one_of(
        st.builds(FrameRead, spans),
        st.builds(Filler, spans),
        st.builds(FrameRefused, spans, st.just("partial")),
    ),
    max_size=4,
)
answers = st.one_of(hostile_events, st.just(ValueError("a bug")))


@given(
    st.lists(st.lists(answers, max_size=6), min_size=1, max_size=4),
    st.lists(st.binary(max_size=9), max_size=8),
)
def test_the_spans_tile_the_bytes_heard_whatever_a_hostile_driver_says(
    scripts: list[list[Answer]], chunks: list[bytes]
) -> None:
    left = list(scripts)
    account = Account(FakeFactory(lambda: ScriptedDriver(left.pop(0) if left else [])))
    events = [event for chunk in chunks for event in account.receive(chunk, AT)]
    events += account.closed(AT)
    heard = sum(len(chunk) for chunk in chunks)
    note("no fault" if account.take_fault() is None else "a fault")
    ends = [0, *(event.span.end for event in events)]
    assert [event.span.offset for event in events] == ends[:-1]
    assert ends[-1] == heard == account.heard_bytes


@given(st.lists(st.sampled_from([b"one", b"", b"two words", b"BUG"]), max_size=8), st.data())
def test_lines_before_and_after_a_bug_are_read_however_they_are_cut(
    lines: list[bytes], data: st.DataObject
) -> None:
    heard = b"".join(line + b"\n" for line in lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(heard)), max_size=6)))
    account = Account(FakeFactory(LineDriver))
    events: list[Event] = []
    for begin, end in zip([0, *cuts], [*cuts, len(heard)], strict=True):
        events += account.receive(heard[begin:end], AT)
    events += account.closed(AT)
    note("with a bug" if b"BUG" in lines else "without a bug")
    assert sum(event.span.length for event in events) == len(heard)
