"""The learner on formats whose author had not seen it: `tests/data/learn`."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from acquire.drivers.data_only import factory_from_text
from acquire.events import FrameRead, Outcome
from acquire.learning.answers import Answers
from acquire.learning.candidate import events_of
from acquire.learning.learn import learn
from acquire.learning.report import Proposal, Standing

FOLDER = Path(__file__).parents[3] / "data" / "learn"

LEAST_READ = {
    "autosampler": 0.98,
    "conductivity": 0.98,
    "framed": 0.98,
    "ph_stream": 0.92,
    "titrator": 0.92,
    "turbidity": 0.98,
}
"""The least share of the whole messages of the second half that must be read. Some hold a token that the
first half never showed, which is refused, and must be."""


def _of(name: str) -> tuple[bytes, dict[str, Any]]:
    key = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return (FOLDER / f"{name}.bin").read_bytes(), key


def _read(proposal: Proposal, data: bytes) -> list[FrameRead]:
    factory = factory_from_text(proposal.driver, "learnt.toml")
    return [event for event in events_of(factory.definition, data) if isinstance(event, FrameRead)]


@pytest.mark.parametrize("name", LEAST_READ)
def test_every_number_that_is_read_is_the_one_that_was_sent(name: str) -> None:
    data, key = _of(name)
    proposal = learn(data, Answers(key["answers"]))
    assert proposal.standing is Standing.GOOD, proposal.why
    frames = _read(proposal, data)
    whole = {offset: (length, said) for offset, length, _, said in key["frames"]}
    found = 0
    for frame in frames:
        offset = next((at for at in range(frame.span.offset, frame.span.offset + 3) if at in whole), None)
        if offset is None:
            continue
        found += 1
        said = whole[offset][1]
        for reading in frame.readings:
            if reading.quantity in said:
                sent = said[reading.quantity]
                is_number = reading.outcome is Outcome.VALUE
                assert is_number == (sent is not None), (offset, reading, sent)
                assert not is_number or reading.value == Decimal(sent), (offset, reading, sent)
    assert found >= LEAST_READ[name] * len(whole)


@pytest.mark.parametrize("name", LEAST_READ)
def test_no_answer_is_asked_for_in_vain(name: str) -> None:
    data, key = _of(name)
    assert learn(data, Answers(key["answers"]), laws=()).unused_answers == ()


def test_seven_bits_are_seen_in_eight() -> None:
    data, _ = _of("turbidity")
    claims = {claim.about: claim for claim in learn(data, laws=()).claims}
    assert claims["encoding"].says.startswith("7 data bits with even parity")
    assert claims["encoding"].confidence > 0.9


def test_a_check_is_found_by_trying() -> None:
    data, _ = _of("framed")
    claims = {claim.about: claim for claim in learn(data, laws=()).claims}
    assert claims["check"].says == "sum8-inverted over the message, written as hex"


def test_without_answers_the_layout_is_there_and_the_questions_are_asked() -> None:
    data, _ = _of("framed")
    proposal = learn(data)
    assert (proposal.standing, proposal.driver) == (Standing.NEEDS_ANSWERS, "")
    assert [question.key for question in proposal.questions][:2] == ["column 3", "column 4"]
    assert proposal.held_out.frames_read > 150
