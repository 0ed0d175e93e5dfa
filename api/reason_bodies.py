"""Causes of a standing with their plain words, as bodies."""

from collections.abc import Iterable

from api.schemas.bench import ReasonBody
from bench.reasons import REASONS, Cause


def reason_bodies(causes: Iterable[Cause]) -> list[ReasonBody]:
    """Return causes with their words and what to do."""
    return [
        ReasonBody(
            code=cause.code,
            words=REASONS[cause.code].words,
            evidence=cause.evidence,
            advice=REASONS[cause.code].advice,
        )
        for cause in causes
    ]
