"""Plain words for the codes that people meet on pages."""

from dataclasses import dataclass
from typing import Final

OUTCOME_WORDS: Final = {
    "value": "a value",
    "above_range": "above range",
    "below_range": "below range",
    "no_value": "no value",
    "not_stable": "not stable",
    "instrument_error": "instrument error",
    "aborted": "aborted",
    "withdrawn": "withdrawn",
}

OUTCOME_REASONS: Final = {
    "above_range": "the instrument says that the value lies above its range",
    "below_range": "the instrument says that the value lies below its range",
    "no_value": "the instrument sent a mark in place of a number",
    "not_stable": "the instrument says that the value had not come to rest",
    "instrument_error": "the instrument reports an error",
    "aborted": "the measurement was aborted",
    "withdrawn": "a corrected driver does not find this reading in its frame",
}


@dataclass(frozen=True, slots=True)
class StateWords:
    """How a line's state is told: a word, a shape (colour never stands alone) and what to do."""

    word: str
    shape: str
    """Name of the shape drawn before the word: disc, ring, triangle, square or cross."""
    what_to_do: str
    """Empty where nothing needs doing."""


LINE_STATES: Final = {
    "open": StateWords("listening", "disc", ""),
    "opening": StateWords("opening", "ring", ""),
    "unrecognised": StateWords(
        "another instrument",
        "triangle",
        "What speaks on this line is not what it expects, so nothing of it is read. Look which cable goes "
        "where, or correct the line's configuration.",
    ),
    "waiting": StateWords(
        "lost, trying again",
        "triangle",
        "Look at the cable and the power of the instrument. The line comes back by itself.",
    ),
    "stopped": StateWords(
        "stopped", "square", "The line was stopped on purpose. Start it when it is wanted."
    ),
    "failed": StateWords(
        "failed",
        "cross",
        "The line does not come back by itself. Mend what is named, then start it again. The log says more.",
    ),
}


STANDINGS: Final = {
    "good": StateWords("good", "disc", ""),
    "provisional": StateWords("provisional", "ring", ""),
    "look_again": StateWords("look again", "triangle", ""),
    "do_not_use": StateWords("do not use", "cross", ""),
}
"""How a standing is told: a word and a shape; what to do stands with its reasons."""


CLOCK_WORDS: Final = {
    "in_step": "in step",
    "not_in_step": "not in step",
    "unknown": "not known",
}


def clock_words(quality: str) -> str:
    """Return the quality of the host's clock in plain words."""
    return CLOCK_WORDS.get(quality, quality.replace("_", " "))


def outcome_words(outcome: str) -> str:
    """Return an outcome in plain words."""
    return OUTCOME_WORDS.get(outcome, outcome.replace("_", " "))


def outcome_reason(outcome: str) -> str | None:
    """Return why there is no number, in plain words; None for a value."""
    return None if outcome == "value" else OUTCOME_REASONS.get(outcome, outcome_words(outcome))


def state_words(state: str) -> StateWords:
    """Return how a line's state is told."""
    return LINE_STATES.get(state, StateWords(state.replace("_", " "), "square", ""))


def standing_words(standing: str | None) -> StateWords:
    """Return how a standing is told."""
    return STANDINGS.get(standing or "", StateWords("not judged", "square", ""))


def plain_unit(unit: str) -> str:
    """Return a unit as people write it: a bare number has none."""
    return "" if unit == "1" else unit


ADDITIONS: Final = {
    "planned": StateWords("planned", "ring", "Weigh it, or cancel it with a reason."),
    "weighed": StateWords("weighed, not yet in", "triangle", "Add it, and say when it is done."),
    "done": StateWords("done", "disc", ""),
    "cancelled": StateWords("cancelled", "square", ""),
}
"""How far an addition is."""

RETESTS: Final = {
    "settling": StateWords("settling", "ring", "Wait: what is measured now is not yet what stays."),
    "due": StateWords("measure it now", "triangle", "Draw a sample and measure free SO2."),
    "overdue": StateWords("overdue", "cross", "Draw a sample and measure free SO2."),
    "measured": StateWords("measured", "disc", ""),
}
"""How it stands with the retest after an addition."""


BANDS: Final = {
    "inside": StateWords("in its band", "disc", ""),
    "below": StateWords("below its band", "triangle", "Look what a dose would do."),
    "above": StateWords("above its band", "cross", "Add none, and measure again."),
    "unknown": StateWords("not measured", "ring", "Measure free sulfur dioxide and pH."),
    "none": StateWords("no band set", "square", ""),
}


def band_words(verdict: str) -> StateWords:
    """Return how a lot stands to the band that is wanted."""
    return BANDS[verdict]
