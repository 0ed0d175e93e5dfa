"""Nothing of another instrument is taken, and nothing of the right one is lost."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from acquire.accounting import Account
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Span
from acquire.gate import FITS_AFTER, STRANGE_AFTER, Gate
from acquire.reasons import PARTIAL, UNRECOGNISED, WRONG_CHECK
from acquire.registry import DriverRegistry

AT = Instant(0, 0)
GOOD, BAD = b"N|00000001|27.125|mg/L\r\n", b"pH 3,412 S T 21,4C\r\n"


def read(at: int) -> FrameRead:
    return FrameRead(Span(at, 1))


def strange(at: int, reason: str = WRONG_CHECK) -> FrameRefused:
    return FrameRefused(Span(at, 1), reason)


def kinds(events: list[Event]) -> str:
    """R for what is read, u for what the gate refused, x for what the driver refused, . for filler."""
    marks = {FrameRead: "R", Filler: "."}
    return "".join(
        "u"
        if isinstance(event, FrameRefused) and event.reason == UNRECOGNISED
        else marks.get(type(event), "x")
        for event in events
    )


def sifted(pattern: str) -> str:
    events: list[Event] = [
        read(at) if mark == "R" else Filler(Span(at, 1)) if mark == "." else strange(at)
        for at, mark in enumerate(pattern)
    ]
    return kinds(Gate().sift(events))


def test_a_few_messages_that_do_not_fit_stop_nothing() -> None:
    assert sifted("x" * 19 + "R" + "x" * 19 + "R") == "x" * 19 + "R" + "x" * 19 + "R"


def test_after_twenty_nothing_is_taken_until_three_in_a_row_fit() -> None:
    assert sifted("x" * 20 + "RRRRR") == "x" * 20 + "uuuRR"


def test_one_that_does_not_fit_begins_the_proof_anew() -> None:
    assert sifted("x" * 20 + "RRxRRRR") == "x" * 20 + "uuxuuuR"


def test_filler_proves_nothing_and_breaks_nothing() -> None:
    assert sifted("x" * 20 + "R.R.R.R") == "x" * 20 + "u.u.u.R"


def test_half_messages_at_the_end_of_a_line_are_no_other_instrument() -> None:
    gate = Gate()
    gate.sift([strange(at, PARTIAL) for at in range(50)])
    assert not gate.is_closed


@given(st.lists(st.sampled_from([GOOD, BAD, b"\r\n"]), max_size=60), st.lists(st.integers(1, 400)))
def test_how_bytes_are_cut_does_not_matter_and_every_byte_is_accounted_for(
    messages: list[bytes], places: list[int]
) -> None:
    data = b"".join(messages)
    whole = heard([data])
    ends = sorted({0, len(data), *(place for place in places if place < len(data))})
    pieces = [data[begin:end] for begin, end in pairwise(ends)]
    assert [one for one in heard(pieces) if not isinstance(one, Filler)] == [
        one for one in whole if not isinstance(one, Filler)
    ]
    assert sum(one.span.length for one in whole) == len(data)


def heard(pieces: list[bytes]) -> list[Event]:
    account = Account(DriverRegistry([]).factory("load-lines"), Gate())
    events = [event for piece in pieces for event in account.receive(piece, AT)]
    return [*events, *account.closed(AT)]


@given(st.text(alphabet="xR.", max_size=120))
def test_only_what_was_read_is_ever_refused_and_never_without_cause(pattern: str) -> None:
    told = sifted(pattern)
    assert told.replace("u", "R") == pattern
    if "u" in told:
        assert "x" * STRANGE_AFTER in pattern[: told.index("u")].replace(".", "")
    assert "u" * (FITS_AFTER + 1) not in told.replace(".", "")
