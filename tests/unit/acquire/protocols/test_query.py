"""Query and answer in the manner of IEEE 488.2: who answers, and which question an answer belongs to."""

from decimal import Decimal

import pytest

from acquire.errors import DriverOptionError
from acquire.events import Filler, FrameRead, Identity, Outcome
from acquire.protocols.query import factory
from acquire.reasons import (
    NO_ANSWER,
    NOT_A_NUMBER,
    NOT_ASKED,
    OUT_OF_FRAME,
    TOO_LONG,
    WRONG_INSTRUMENT,
    WRONG_LAYOUT,
)
from tests.fakes.conversation import Conversation

PH = {"quantity": "ph", "unit": "pH"}
TEMPERATURE = {"quantity": "temperature", "unit": "°C"}
ME = b"Cask and Bung,PM-1,0042,1.3\n"


def poll(**more: object) -> dict[str, object]:
    return {"send": "READ:PH?", "every_s": 2.0, "timeout_s": 1.0, "fields": [PH], **more}


def talk(*polls: dict[str, object], **more: object) -> Conversation:
    return Conversation(factory({"poll": list(polls or (poll(),)), **more}))


def known(*polls: dict[str, object], **more: object) -> Conversation:
    """Return a conversation with an instrument that said who it is, and was asked its first question."""
    one = talk(*polls, **more)
    one.sent()
    one.hear(ME)
    return one


# --- who it is


def test_first_it_asks_who_is_there_and_then_what_it_measures() -> None:
    one = talk()
    assert one.sent() == [b"*IDN?\n"]
    assert one.hear(ME) == [b"READ:PH?\n"]
    one.hear(b"3.41\n")
    assert [reading.text for reading in one.readings] == ["3.41"]
    [identity] = [event.notices for event in one.events if isinstance(event, FrameRead) and event.notices]
    assert identity == (Identity("Cask and Bung,PM-1,0042,1.3"),)


def test_another_instrument_is_asked_nothing_but_who_it_is_until_the_right_one_answers() -> None:
    one = talk(identity={"model": "PM-1", "serial": "0042"})
    one.sent()
    assert one.hear(b"Cask and Bung,PM-1,0043,1.3\n") == []
    assert one.refusals == [WRONG_INSTRUMENT]
    assert one.wait(5) == [b"*IDN?\n"]
    assert one.hear(ME) == [b"READ:PH?\n"]


def test_the_refusal_of_another_instrument_says_both_names() -> None:
    one = talk(identity={"serial": "0042"})
    one.hear(b"Cask and Bung,PM-1,0043,1.3\n")
    [event] = one.events
    assert "expects *,*,0042,*" in str(event)
    assert "calls itself 'Cask and Bung,PM-1,0043,1.3'" in str(event)


def test_after_a_long_silence_it_asks_who_is_there_again() -> None:
    one = known(poll(every_s=60.0))
    one.hear(b"3.41\n")
    assert one.wait(60) == [b"*IDN?\n"]
    assert one.hear(ME) == [b"READ:PH?\n"]


def test_with_no_trust_at_all_it_asks_before_every_question() -> None:
    one = known(trust_s=0.0)
    one.hear(b"3.41\n", after_s=0.1)
    assert one.wait(2) == [b"*IDN?\n"]
    assert one.hear(ME, after_s=0.1) == [b"READ:PH?\n"]


# --- whose answer it is


def test_after_a_late_answer_it_asks_who_is_there_before_anything_else() -> None:
    one = known(poll(), poll(send="READ:TEMP?", fields=[TEMPERATURE]), retry_s=1.0)
    assert one.wait(1) == []
    assert one.wait(1) == [b"*IDN?\n"]
    assert one.hear(b"3.41\n") == []
    assert one.refusals == [NOT_ASKED]
    assert one.hear(ME) == [b"READ:TEMP?\n"]
    one.hear(b"21.4\n")
    assert [(reading.quantity, reading.text) for reading in one.readings] == [("temperature", "21.4")]


def test_an_answer_that_nobody_asked_for_brings_doubt() -> None:
    one = known()
    one.hear(b"3.41\n3.42\n")
    assert one.refusals == [NOT_ASKED]
    assert one.wait(2) == [b"*IDN?\n"]


@pytest.mark.parametrize(
    ("answer", "reason"),
    [(b"3.41;7\n", WRONG_LAYOUT), (b"warm\n", NOT_A_NUMBER), (b"3.\xff1\n", "not_text")],
)
def test_an_answer_that_cannot_be_read_brings_doubt(answer: bytes, reason: str) -> None:
    one = known(retry_s=1.0)
    one.hear(answer)
    assert one.refusals == [reason]
    assert one.wait(2) == [b"*IDN?\n"]


def test_half_an_answer_is_refused_when_its_time_is_over() -> None:
    one = known()
    one.hear(b"3.4")
    one.wait(1)
    assert one.refusals == [NO_ANSWER]


def test_an_answer_without_an_end_is_refused_in_pieces() -> None:
    one = known()
    one.hear(b"3" * 10_000)
    assert one.refusals == [TOO_LONG, TOO_LONG]


def test_an_instrument_that_does_not_know_the_question_has_its_first_answer_refused() -> None:
    one = talk(identify=False)
    assert one.sent() == [b"READ:PH?\n"]
    one.hear(b"41\n")
    assert one.refusals == [OUT_OF_FRAME]
    assert one.wait(2) == [b"READ:PH?\n"]
    one.hear(b"3.41\n")
    assert [reading.text for reading in one.readings] == ["3.41"]


# --- what it says


@pytest.mark.parametrize(
    ("answer", "outcome", "value"),
    [
        (b"3\n", Outcome.VALUE, "3"),
        (b"3.410\n", Outcome.VALUE, "3.410"),
        (b"+3.41E+00\n", Outcome.VALUE, "3.41"),
        (b" 3.41 \r\n", Outcome.VALUE, "3.41"),
        (b"9.9E37\n", Outcome.ABOVE_RANGE, None),
        (b"-9.9E+37\n", Outcome.BELOW_RANGE, None),
        (b"9.91E37\n", Outcome.NO_VALUE, None),
    ],
)
def test_numbers_in_every_form(answer: bytes, outcome: Outcome, value: str | None) -> None:
    one = known()
    one.hear(answer)
    [reading] = one.readings
    assert (reading.outcome, reading.value) == (outcome, None if value is None else Decimal(value))


def test_several_queries_in_one_question() -> None:
    both = poll(send="READ:PH?;STAT?;READ:TEMP?", fields=[PH, {"ignore": True}, TEMPERATURE])
    one = known(both)
    one.hear(b"3.41;0;21.4\n")
    assert [(one.quantity, one.text) for one in one.readings] == [("ph", "3.41"), ("temperature", "21.4")]


def test_declared_tokens_are_outcomes() -> None:
    one = known(tokens={"above_range": ["OVLD"]})
    one.hear(b"OVLD\n")
    assert [reading.outcome for reading in one.readings] == [Outcome.ABOVE_RANGE]


def test_a_declared_echo_is_filler() -> None:
    one = known(echo=True)
    one.hear(b"READ:PH?\r\n3.41\r\n")
    assert [type(event) for event in one.events] == [FrameRead, Filler, FrameRead]


def test_other_end_marks() -> None:
    one = talk(send_end=r"\r", answer_end=r"\r")
    assert one.sent() == [b"*IDN?\r"]
    assert one.hear(ME[:-1] + b"\r") == [b"READ:PH?\r"]


# --- time


def test_it_asks_at_its_interval_however_long_answers_take() -> None:
    one = known()
    for _ in range(5):
        one.hear(b"3.41\n", after_s=0.4)
        assert one.wait(1.6) == [b"READ:PH?\n"]
    assert one.elapsed_s == 10.0


def test_a_stalled_daemon_asks_once_and_gives_the_answer_its_whole_time() -> None:
    one = known()
    one.hear(b"3.41\n")
    assert one.stall(9) == [b"READ:PH?\n"]
    one.hear(b"3.42\n", after_s=0.9)
    assert [reading.text for reading in one.readings] == ["3.41", "3.42"]


def test_a_pour_of_the_conversation_gives_the_same_events() -> None:
    one = talk(poll(), poll(send="READ:TEMP?", every_s=5.0, fields=[TEMPERATURE]), identity={"model": "PM-1"})
    one.hear(b"2\n" + ME, after_s=0.1)
    one.hear(b"3.41\n", after_s=0.1)
    one.hear(b"21.4\n", after_s=0.1)
    one.wait(8.5)
    one.hear(b"3.42\n" + ME)
    one.hear(b"3.43\n", after_s=0.2)
    assert one.close() == one.poured()
    assert len(one.readings) == 3


# --- options


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "options.poll: is missing"),
        ({"poll": [poll(), poll()], "identify": False}, "without *IDN? a late answer"),
        ({"poll": [poll()], "numbers": {"decimal": ","}}, "a mark of numbers is also a separator"),
        ({"poll": [poll(send=r"A\q")]}, "is no escape"),
        ({"poll": [poll(send="")]}, "is empty"),
        ({"poll": [poll(send="µ")]}, "is not ASCII"),
        ({"poll": [poll(fields=[{"ignore": True}])]}, "nothing is wanted"),
        ({"poll": [poll(fields=[{"quantity": "ph", "units": ["pH"]}])]}, "give unit, not units"),
        ({"poll": [poll()], "identity": {"colour": "red"}}, "options.identity.colour: this key is not known"),
    ],
)
def test_options_are_refused_with_their_place(options: dict[str, object], words: str) -> None:
    with pytest.raises(DriverOptionError) as refused:
        factory(options)
    assert words in str(refused.value)
