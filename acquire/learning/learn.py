"""Learn a driver file from the first half of some bytes, and prove it on the second half."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from acquire.battery import LAWS, BrokenLawError, Law, subject_of
from acquire.drivers.data_only import DataOnlyFactory, factory_from_text
from acquire.errors import DriverFileError
from acquire.learning.answers import Answers
from acquire.learning.candidate import Candidate, definition_of, events_of, score_of
from acquire.learning.encoding import encoding_of
from acquire.learning.examples import examples_of
from acquire.learning.report import Claim, Proposal, Question, Score, Standing
from acquire.learning.search import best_candidate
from acquire.learning.toml_file import driver_text
from acquire.reasons import OUT_OF_FRAME

MOST_BYTES: Final = 1_048_576  # of a capture that are looked at, from its beginning [bytes]
SEARCH_BYTES: Final = 65_536  # of the first half by which the layout is searched [bytes]
LEAST_BYTES: Final = 16  # [bytes]
GOOD_SHARE: Final = 0.9  # of the held-out frames that a good proposal reads
LEAST_FRAMES: Final = 3  # held-out frames that prove anything


def learn(
    data: bytes, answers: Answers | None = None, name: str = "learnt", laws: Sequence[Law] = LAWS
) -> Proposal:
    """Return a proposal for a driver file, tried on what it was not made from.

    Parameters
    ----------
    data : bytes
        From the opening of a capture on, as the line delivered them; what is beyond 1 MiB is not looked at.
    answers : Answers, optional
        What somebody said to the questions of an earlier proposal.
    name : str
        Of the driver.
    laws : sequence of Law
        That a good proposal keeps: the battery of every driver.

    Returns
    -------
    Proposal
        Whatever the bytes are; never raises for them.
    """
    given = answers if answers is not None else Answers()
    data = data[:MOST_BYTES]
    half = len(data) // 2
    if half < LEAST_BYTES:
        return Proposal(Standing.NOTHING, f"{len(data)} bytes are too few to learn from; listen longer", "")
    training = data[:half]
    reading = encoding_of(training)
    candidate = best_candidate(training[:SEARCH_BYTES], reading.encoding, given)
    if candidate is None:
        why = "no framing and layout were found that explain these bytes"
        return Proposal(Standing.NOTHING, why, "", (reading.claim,), held_out_from=half)
    proposal = _proven(candidate, reading.claim, data, name, laws)
    return replace(proposal, unused_answers=given.unused)


def _proven(candidate: Candidate, encoding: Claim, data: bytes, name: str, laws: Sequence[Law]) -> Proposal:
    half = len(data) // 2
    claims, questions = tuple(candidate.claims(encoding)), tuple(candidate.questions())
    if not candidate.has_value:
        return _unanswered(candidate, claims, questions, data, half)
    definition, faults = definition_of(candidate.tables())
    if definition is None:
        why = f"the driver file would be refused: {'; '.join(faults)}"
        return Proposal(Standing.DOUBTFUL, why, "", claims, questions, held_out_from=half)
    events = events_of(definition, data)
    held_out = score_of(events, data, half)
    seen = [event for event in events if event.span.end <= half]
    training = score_of(seen, data)
    examples = examples_of(definition, seen, data)
    head = {"name": name, "version": "1", "about": _about(candidate, held_out)}
    text = driver_text(head, candidate.tables(), examples)
    standing, why = _judged(text, name, held_out, laws)
    return Proposal(standing, why, text, claims, questions, training, held_out, half)


def _unanswered(
    candidate: Candidate, claims: tuple[Claim, ...], questions: tuple[Question, ...], data: bytes, half: int
) -> Proposal:
    """Return a layout without a quantity, and how well it would read if somebody said what it measures."""
    why = "the layout was found, but nothing says what any of its numbers is; answer the questions"
    held_out = training = Score()
    definition, _ = definition_of(candidate.tables(stand_in=True))
    if definition is not None:
        events = events_of(definition, data)
        seen = [event for event in events if event.span.end <= half]
        held_out, training = score_of(events, data, half), score_of(seen, data)
    return Proposal(Standing.NEEDS_ANSWERS, why, "", claims, questions, training, held_out, half)


def _about(candidate: Candidate, held_out: Score) -> str:
    total = held_out.frames_read + held_out.frames_refused
    said = f"Learnt from bytes; read {held_out.frames_read} of {total} frames that it was not made from."
    guesses = [f"{claim.about} is {claim.says}" for claim in candidate.layout.all_claims() if claim.is_guess]
    open_keys = [question.key for question in candidate.questions()]
    said += f" Guessed: {'; '.join(guesses)}." if guesses else ""
    return said + (f" Nobody answered: {', '.join(open_keys)}." if open_keys else "")


def _judged(text: str, name: str, held_out: Score, laws: Sequence[Law]) -> tuple[Standing, str]:
    """Return what a driver file is worth: does it load, keep the laws, and read what it had not seen?"""
    try:
        factory = factory_from_text(text, f"{name}.toml")
    except DriverFileError as error:
        return Standing.DOUBTFUL, f"it fails its own examples: {'; '.join(error.faults)}"
    broken = broken_law(factory, laws)
    if broken:
        return Standing.DOUBTFUL, broken
    outside = sum(one.count for one in held_out.refused if one.reason == OUT_OF_FRAME)
    total = held_out.frames_read + held_out.frames_refused - outside
    share = f"{held_out.frames_read} of {total} held-out frames were read"
    if total < LEAST_FRAMES:
        return Standing.DOUBTFUL, f"{share}; listen longer, so that there is more to prove it on"
    if held_out.frames_read < GOOD_SHARE * total or not held_out.readings:
        return Standing.DOUBTFUL, f"only {share}"
    return Standing.GOOD, f"{share}; its examples are read, and it keeps every law of the battery"


def broken_law(factory: DataOnlyFactory, laws: Sequence[Law]) -> str:
    """Return which law a driver breaks; empty if it keeps them all."""
    try:
        subject = subject_of(factory)
        for law in laws:
            law(subject)
    except BrokenLawError as error:
        return f"it breaks a law that every driver keeps: {error}"
    return ""
