"""A proposal of the learner for people and for programs."""

from collections.abc import Iterator
from math import floor
from typing import Any

from acquire.learning.report import Proposal, Question, Score


def in_words(proposal: Proposal) -> Iterator[str]:
    """Yield a proposal line by line, for a person."""
    for claim in proposal.claims:
        mark = "guess" if claim.is_guess else "seen "
        yield f"  {mark} {floor(100 * claim.confidence):3d} %  {claim.about}: {claim.says} ({claim.because})"
    for question in proposal.questions:
        yield question_in_words(question)
    yield f"made from:   {score_in_words(proposal.training)}"
    yield f"proved on:   {score_in_words(proposal.held_out)}"
    for refused in proposal.held_out.refused:
        yield f"  refused {refused.count} as {refused.reason}: {refused.detail}"
        yield f"          {refused.example!r}"
    for key in proposal.unused_answers:
        yield f"the answer to {key!r} fits no field and no question"
    yield f"{proposal.standing.value.replace('_', ' ')}: {proposal.why}"


def question_in_words(question: Question) -> str:
    """Write a question with what was seen and how to answer."""
    seen = f" such as {', '.join(map(repr, question.seen))}" if question.seen else ""
    choices = f"; one of: {', '.join(question.choices)}" if question.choices else ""
    return f"  ask  {question.key}: {question.asks}{seen}. Until then {question.meanwhile}{choices}"


def score_in_words(score: Score) -> str:
    """Write the counts of a score."""
    return f"{score.frames_read} frames read, {score.frames_refused} refused, {score.readings} readings"


def as_json(proposal: Proposal) -> dict[str, Any]:
    """Return a proposal as plain data."""
    return {
        "standing": proposal.standing.value,
        "why": proposal.why,
        "driver": proposal.driver,
        "claims": [
            {
                "about": claim.about,
                "says": claim.says,
                "confidence": round(claim.confidence, 4),
                "because": claim.because,
                "is_guess": claim.is_guess,
            }
            for claim in proposal.claims
        ],
        "questions": [
            {
                "key": question.key,
                "asks": question.asks,
                "seen": list(question.seen),
                "meanwhile": question.meanwhile,
                "choices": list(question.choices),
            }
            for question in proposal.questions
        ],
        "training": _score(proposal.training),
        "held_out": _score(proposal.held_out),
        "held_out_from": proposal.held_out_from,
        "unused_answers": list(proposal.unused_answers),
    }


def _score(score: Score) -> dict[str, Any]:
    return {
        "frames_read": score.frames_read,
        "frames_refused": score.frames_refused,
        "readings": score.readings,
        "read_bytes": score.read_bytes,
        "refused_bytes": score.refused_bytes,
        "filler_bytes": score.filler_bytes,
        "refused": [
            {
                "reason": one.reason,
                "count": one.count,
                "detail": one.detail,
                "example": one.example.decode("ascii", "backslashreplace"),
            }
            for one in score.refused
        ],
    }
