"""Driver files that ask: when, and what becomes of answers that are late or stop half-way."""

import pytest

from acquire.drivers.data_only import factory_from_text
from acquire.errors import DriverFileError
from acquire.reasons import NO_ANSWER, OUT_OF_FRAME, PARTIAL
from tests.fakes.conversation import Conversation

FILE = r"""
name = "asked"
version = "1"

[framing]
ends = ['\r\n']
{framing}

{polls}

[delimited]
separator = " "
runs = true
[[delimited.records]]
columns = [{{ kind = "value", quantity = "mass", units = ["g"] }}, {{ kind = "unit" }}]

[[examples]]
raw = '\r\n12.3 g\r\n'
expect = [{{ quantity = "mass", value = "12.3" }}]
"""
ASK = """
[[poll]]
send = 'W\\r\\n'
every_s = 2.0
timeout_s = 0.5
"""


def talk(polls: str = ASK, framing: str = "distrust_first = false") -> Conversation:
    return Conversation(factory_from_text(FILE.format(polls=polls, framing=framing), "asked.toml"))


def test_it_asks_at_the_opening_and_then_at_its_interval() -> None:
    one = talk()
    assert one.sent() == [b"W\r\n"]
    assert one.hear(b"12.3 g\r\n", after_s=0.1) == []
    assert one.wait(1.8) == []
    assert one.wait(0.1) == [b"W\r\n"]
    assert [reading.text for reading in one.readings] == ["12.3"]


def test_a_poll_without_an_interval_is_sent_once() -> None:
    one = talk("[[poll]]\nsend = 'START\\r\\n'\n")
    assert one.sent() == [b"START\r\n"]
    assert one.hear(b"12.3 g\r\n" * 3) == []
    assert one.wait(100) == []
    assert len(one.readings) == 3


def test_nothing_else_is_asked_while_an_answer_is_awaited() -> None:
    one = talk(ASK + ASK.replace("W", "T"))
    assert one.sent() == [b"W\r\n"]
    assert one.wait(0.4) == []
    assert one.wait(0.1) == [b"T\r\n"]


def test_a_refused_answer_is_an_answer() -> None:
    one = talk(ASK + ASK.replace("W", "T"))
    one.sent()
    assert one.hear(b"12.3 lb\r\n") == [b"T\r\n"]


def test_half_an_answer_is_never_joined_with_the_next_one() -> None:
    one = talk()
    one.hear(b"1", after_s=0.1)
    one.wait(2)
    one.hear(b"45.6 g\r\n")
    assert one.refusals == [NO_ANSWER, OUT_OF_FRAME]
    assert one.readings == []
    one.wait(2)
    one.hear(b"45.6 g\r\n")
    assert [reading.text for reading in one.readings] == ["45.6"]


def test_the_late_half_of_an_answer_is_no_answer() -> None:
    one = talk()
    one.hear(b"12.3")
    one.hear(b"45 g\r\n", after_s=0.6)
    assert one.refusals == [NO_ANSWER, OUT_OF_FRAME]
    assert one.readings == []


def test_a_late_answer_in_one_piece_is_read() -> None:
    one = talk()
    one.hear(b"12.3 g\r\n", after_s=1.0)
    assert [reading.text for reading in one.readings] == ["12.3"]


def test_spans_go_on_after_a_break() -> None:
    one = talk()
    one.hear(b"1")
    one.wait(2)
    one.hear(b"x\r\n45.6 g\r\n4")
    events = one.close()
    assert [(event.span.offset, event.span.length) for event in events] == [(0, 1), (1, 3), (4, 8), (12, 1)]
    assert one.refusals == [NO_ANSWER, OUT_OF_FRAME, PARTIAL]


def test_a_pour_of_the_conversation_gives_the_same_events() -> None:
    one = talk()
    one.hear(b"12.3 g\r\n1", after_s=0.1)
    one.wait(3)
    one.hear(b"\r\n45.6 g\r\n")
    one.stall(9)
    one.hear(b"45.7 g\r\n")
    assert one.close() == one.poured()


@pytest.mark.parametrize(
    ("poll", "words"),
    [
        ("send = ''", "poll.0.send: is empty"),
        (r"send = '\q'", "no escape"),
        ("send = 'W'\nevery = 1", "poll.0.every: this key is not known here"),
        ("send = 'W'\nevery_s = 0.01", "poll.0.every_s"),
    ],
)
def test_a_wrong_poll_is_refused_with_its_place(poll: str, words: str) -> None:
    with pytest.raises(DriverFileError) as refused:
        talk("[[poll]]\n" + poll + "\n")
    assert words in str(refused.value)
