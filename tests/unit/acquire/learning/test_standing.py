"""What a proposal is worth, and what it says of itself."""

import tomllib
from decimal import Decimal

import pytest

from acquire.battery import BrokenLawError, Subject
from acquire.drivers.data_only import factory_from_text
from acquire.events import FrameRead
from acquire.learning.answers import AnswerError, Answers
from acquire.learning.candidate import events_of
from acquire.learning.learn import learn
from acquire.learning.report import Standing, succession

ROWS = b"".join(b"%03d;W-%d;%d.%02d NTU\r\n" % (row, 1000 + row, row % 7, row) for row in range(60))


def test_a_proposal_that_breaks_a_law_is_not_good() -> None:
    def no_driver_keeps_this(_: Subject) -> None:
        raise BrokenLawError("it says too much")

    proposal = learn(ROWS, laws=[no_driver_keeps_this])
    assert proposal.standing is Standing.DOUBTFUL
    assert proposal.why == "it breaks a law that every driver keeps: it says too much"


def test_few_frames_prove_nothing() -> None:
    proposal = learn(b"".join(ROWS.splitlines(keepends=True)[:5]), laws=())
    assert proposal.standing is not Standing.GOOD


def test_the_file_says_what_was_guessed_and_what_nobody_answered() -> None:
    rows = ROWS.replace(b" NTU", b" NTU;97%")
    about = tomllib.loads(learn(rows, laws=()).driver)["about"]
    assert "read 30 of 30 frames that it was not made from" in about
    assert "Guessed: column 2 is the id of the sample; column 3 is turbidity in NTU." in about
    assert "Nobody answered: column 4." in about


def test_bytes_are_measured_and_names_are_guessed() -> None:
    claims = {(claim.about, claim.is_guess) for claim in learn(ROWS, laws=()).claims}
    assert {("encoding", False), ("framing", False), ("layout", False), ("column 3", True)} <= claims


def test_confidence_grows_with_what_was_seen() -> None:
    few, many = succession(5, 5), succession(500, 500)
    assert 0.8 < few < many < 1.0
    assert succession(0, 0) == 0.5


@pytest.mark.parametrize("gap", [b" ", b"\t", b";"])
def test_a_sign_in_a_column_of_its_own_never_gives_a_number_without_it(gap: bytes) -> None:
    cells = [
        (b"%d" % row, b"-" if row % 3 else b"+", b"%d.%d" % (row % 19 + 1, row % 10)) for row in range(60)
    ]
    rows = b"".join(gap.join([*row, b"mV"]) + b"\r\n" for row in cells)
    proposal = learn(rows, laws=())
    events = (
        [] if not proposal.driver else events_of(factory_from_text(proposal.driver, "x").definition, rows)
    )
    values = {reading.value for event in events if isinstance(event, FrameRead) for reading in event.readings}
    assert values <= {Decimal((sign + number).decode()) for _, sign, number in cells}


def test_a_status_that_nobody_knows_refuses_its_messages() -> None:
    rows = b"".join(
        b"%d.%02d NTU;%s\r\n" % (row % 7, row, b"07" if row % 10 == 3 else b"00") for row in range(80)
    )
    proposal = learn(rows, laws=())
    assert {one.reason: one.count for one in proposal.held_out.refused} == {"unknown_code": 4}
    assert "status 07" in {question.key for question in proposal.questions}
    answered = learn(rows, Answers({"status 07": "instrument_error"}), laws=())
    assert (answered.held_out.frames_refused, answered.held_out.frames_read) == (0, 40)


def test_a_quantity_can_depend_on_a_mode_that_somebody_explains() -> None:
    rows = b"".join(
        b"R;%03d;%s;%d.%02d;g/L TAR\r\n" % (row, b"8.2" if row % 2 else b"7.0", 5 + row % 3, row)
        for row in range(60)
    )
    said = {"column 3 8.2": "ta_ph_8_2", "column 3 7.0": "ta_ph_7_0"}
    proposal = learn(rows, Answers(said), laws=())
    assert proposal.standing is Standing.GOOD, proposal
    assert 'quantity_by_mode = { "7.0" = "ta_ph_7_0", "8.2" = "ta_ph_8_2" }' in proposal.driver


@pytest.mark.parametrize(
    "said", [{"a": "b"}, {"a": "ph:mL"}, {"unit x": "furlong"}, {"token x": "y"}, {"dates": "x"}]
)
def test_an_answer_that_cannot_be_meant_is_refused_by_its_key(said: dict[str, str]) -> None:
    with pytest.raises(AnswerError) as caught:
        Answers(said)
    assert caught.value.key == next(iter(said))
