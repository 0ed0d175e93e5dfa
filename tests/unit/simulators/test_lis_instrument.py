"""An analyser that forgets only what was acknowledged."""

import pytest

from simulators.instrument import Message
from simulators.lis_instrument import (
    ACK,
    BUSY_S,
    ENQ,
    EOT,
    MOST_SENDINGS,
    NAK,
    REPLY_S,
    LisInstrument,
    framed,
)
from simulators.samples import otterquill

FIRST_S = 2.0


def analyser(messages: int = 0) -> LisInstrument:
    return LisInstrument("ana-1", otterquill(1), lambda: 1_759_740_067_000_000, 1, messages=messages)


def called(messages: int = 0) -> LisInstrument:
    one = analyser(messages)
    assert data(one.advance(FIRST_S)) == [ENQ]
    return one


def data(messages: list[Message]) -> list[bytes]:
    return [message.data for message in messages]


def take_all(one: LisInstrument, now_s: float) -> list[Message]:
    """Acknowledge everything until the transfer ends; return what was said."""
    said: list[Message] = []
    while not said or said[-1].data != EOT:
        said += one.hear(ACK, now_s)
    return said


def test_a_frame_of_the_published_layout() -> None:
    assert framed(5, "L|1|N\r") == b"\x025L|1|N\r\x0308\r\n"


def test_it_sends_frame_after_frame_as_they_are_acknowledged_and_then_forgets() -> None:
    one = called()
    said = take_all(one, FIRST_S)
    assert [frame[1:2] for frame in data(said)[:-1]] == [b"1", b"2", b"3", b"4", b"5", b"6", b"7"]
    assert b"O|1|W-1001|" in said[2].data
    assert said[-1].meaning["acknowledged"] is True
    assert one.next_due_s > FIRST_S


def test_a_refused_frame_is_sent_again_and_after_six_times_given_up() -> None:
    one = called()
    [first] = one.hear(ACK, FIRST_S)
    for _ in range(MOST_SENDINGS - 1):
        assert data(one.hear(NAK, FIRST_S)) == [first.data]
    [end] = one.hear(NAK, FIRST_S)
    assert (end.data, end.meaning["why"]) == (EOT, "not understood")


def test_without_a_reply_it_gives_up_and_begins_with_the_same_message_anew() -> None:
    one = called()
    frames = data(one.hear(ACK, FIRST_S)) + data(one.hear(ACK, FIRST_S))
    assert data(one.advance(FIRST_S + REPLY_S)) == [EOT]
    assert data(one.advance(FIRST_S + REPLY_S + BUSY_S)) == [ENQ]
    assert data(one.hear(ACK, 40.0)) + data(one.hear(ACK, 40.0)) == frames


def test_a_refused_call_is_made_again_later() -> None:
    one = called()
    [end] = one.hear(NAK, FIRST_S)
    assert end.meaning["why"] == "refused"
    assert data(one.advance(FIRST_S + BUSY_S)) == [ENQ]


def test_a_loss_of_power_forgets_the_transfer_and_not_the_message() -> None:
    one = called()
    one.hear(ACK, FIRST_S)
    one.restart()
    assert data(one.advance(FIRST_S + REPLY_S)) == [ENQ]
    assert b"|000001|" in one.hear(ACK, 20.0)[0].data


def test_its_memory_is_sent_again_under_the_same_ids() -> None:
    one = called(messages=1)
    before = data(take_all(one, FIRST_S))
    one.suffer("resent_memory", begins=True)
    assert data(one.advance(30.0)) == [ENQ]
    assert data(take_all(one, 30.0)) == before


def test_a_clock_that_stands_shows_in_the_next_message() -> None:
    one = analyser()
    one.suffer("wrong_clock", begins=True)
    one.advance(FIRST_S)
    assert b"|20000101000000\r" in one.hear(ACK, FIRST_S)[0].data


def test_after_its_last_message_it_says_nothing() -> None:
    one = called(messages=1)
    take_all(one, FIRST_S)
    assert one.advance(200.0) == []
    assert one.next_due_s == float("inf")


def test_there_is_no_other_button() -> None:
    with pytest.raises(ValueError, match="there are: memory, clock SECONDS"):
        analyser().command(["tea"])
