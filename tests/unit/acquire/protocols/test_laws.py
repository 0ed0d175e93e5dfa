"""Laws of the drivers made of code, beside those of the battery that all drivers stand."""

from collections.abc import Sequence
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.driver import DriverFactory
from acquire.events import FrameRead
from acquire.protocols import lis01, modbus, query
from tests.fakes import lis
from tests.fakes.driver import AT
from tests.unit.acquire.drivers import battery
from tests.unit.acquire.protocols.test_modbus import answer, field


@dataclass(frozen=True)
class Subject:
    """A driver and what it can read."""

    factory: DriverFactory
    lead: bytes
    """What must come before."""
    frame: bytes
    """What gives a reading."""
    pieces: Sequence[bytes]
    """Of which conversations are made up."""


def lis_subject() -> Subject:
    sent = lis.frames((r"H|\^&|7", "O|1|W-1", "R|1|^^^PH|3.41||||F", "L|1"))
    others = (lis.ENQ, lis.EOT, lis.frames(lis.message(lis.result()))[3], b"\x02", b"\n", b"\x021R|1\x17")
    return Subject(lis01.factory(lis.OPTIONS), lis.ENQ, b"".join(sent), (*sent, *others))


def modbus_subject() -> Subject:
    fields = [field("uint16"), field("float32", at=1)]
    block = {"registers": "holding", "first": 0, "count": 3, "every_s": 1.0, "fields": fields}
    frame = answer(341, 0x405A, 0x3D71)
    return Subject(
        modbus.factory({"device": 17, "poll": [block]}),
        b"",
        frame,
        (frame, b"\x11\x03\x06", b"\x11\x83", b"\x11"),
    )


def query_subject() -> Subject:
    poll = {"send": "READ?", "every_s": 1.0, "fields": [{"quantity": "ph", "unit": "pH"}]}
    identity = b"Cask and Bung,PM-1,0042,1.3\r\n"
    return Subject(
        query.factory({"poll": [poll]}), b"", identity, (identity, b"3.41\r\n", b",,,\n", b"3.", b"\n")
    )


LIS, MODBUS, QUERY = lis_subject(), modbus_subject(), query_subject()
ALL = [
    pytest.param(LIS, id="lis01"),
    pytest.param(MODBUS, id="modbus-rtu"),
    pytest.param(QUERY, id="query-answer"),
]


@pytest.mark.parametrize("subject", ALL)
@given(data=st.data())
def test_pieces_make_no_difference(subject: Subject, data: st.DataObject) -> None:
    parts = st.one_of(st.sampled_from(subject.pieces), st.just(subject.frame), st.binary(max_size=12))
    heard = subject.lead + b"".join(data.draw(st.lists(parts, max_size=12)))
    places = data.draw(st.lists(st.integers(0, len(heard)), max_size=8))
    battery.assert_pieces_make_no_difference(subject.factory, heard, places)


@pytest.mark.parametrize("subject", ALL)
def test_what_it_can_read_is_read_in_any_pieces(subject: Subject) -> None:
    heard = subject.lead + subject.frame
    events = battery.assert_pieces_make_no_difference(subject.factory, heard, range(0, len(heard), 7))
    assert any(isinstance(event, FrameRead) for event in events)


def test_endless_bytes_hold_little_where_answers_depend_on_questions() -> None:
    battery.assert_bytes_without_an_end_stay_bounded(QUERY.factory, 10_000_000, 5_000_000)
    battery.assert_random_bytes_raise_nothing(QUERY.factory, 1_000_000, seed=20251006)


@pytest.mark.parametrize("begin", [lis.ENQ, lis.ENQ + b"\x02", lis.ENQ + lis.frames(lis.message())[0]])
def test_a_transfer_without_an_end_holds_little(begin: bytes) -> None:
    one = LIS.factory()
    events = one.receive(begin, AT)
    for _ in range(100):
        events += one.receive(b"A" * 100_000, AT)
    assert sum(event.span.length for event in events) > 10_000_000 - 4_100_000


def test_a_message_without_an_end_stays_bounded() -> None:
    """A transfer that goes on for ever with sound frames and no terminator cannot fill the memory."""
    one = LIS.factory()
    events = one.receive(lis.ENQ, AT)
    kept = most = 0
    for number in range(40_000):
        frame = lis.frame((number + 1) % 8, f"C|{number}|I|{'x' * 200}\r")
        kept += len(frame)
        got = one.receive(frame, AT)
        kept -= sum(event.span.length for event in got)
        most = max(most, kept)
        events += got
    assert 1_000_000 < most < 5_000_000
