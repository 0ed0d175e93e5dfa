"""Fields of words: ids, counters, stability marks, status codes, modes."""

from collections import Counter
from itertools import pairwise
from typing import Final

from acquire.events import Outcome
from acquire.learning.guess import Guess, ignored
from acquire.learning.report import Claim, succession
from acquire.learning.texts import Study
from acquire.learning.vocabulary import Vocabulary
from acquire.learning.words import (
    DRIFTING,
    GOOD_CODES,
    STABLE,
    is_counter_label,
    is_sample_label,
    outcome_of_word,
    quantity_of_label,
)

FEW_WORDS: Final = 8  # different texts of a mode or a status
LONG: Final = 24  # a sample id is shorter [characters]
COUNTS_SHARE: Final = 0.8  # of steps that must be upwards by little in a counter
LEAST_COUNTED: Final = 4  # messages before steps mean anything
STRANGE: Final = frozenset(";=|:{}")  # characters that a sample id hardly has


def is_whole(text: str) -> bool:
    """Tell whether a text is digits of ASCII and nothing else."""
    return text.isascii() and text.isdigit()


def counter_guess(found: Study) -> Guess | None:
    """Return a counter if the texts count upwards, or a label says so; else None."""
    said = found.field.said
    digits = [text.strip("<>[]()#* ") for text in said]
    if not said or not all(is_whole(text) and len(text) < 19 for text in digits):
        return _labelled_counter(found)
    steps = [int(after) - int(before) for before, after in pairwise(digits)]
    upward = sum(0 < step <= 3 for step in steps)
    because = f"{upward} of {len(steps)} steps are upwards by 1 to 3"
    if len(said) >= LEAST_COUNTED and upward >= COUNTS_SHARE * len(steps):
        return _sequence(found, succession(upward, len(steps)), because, digits)
    return _labelled_counter(found)


def _labelled_counter(found: Study) -> Guess | None:
    said = found.field.said
    if not is_counter_label(found.field.label) or "" in found.others or not said:
        return None
    return _sequence(found, 0.8, f"it is named {found.field.label!r}", said)


def _sequence(found: Study, confidence: float, because: str, digits: list[str]) -> Guess:
    table: dict[str, object] = {"kind": "sequence"}
    said = found.field.said
    if (
        digits == said
        and is_whole(said[0])
        and len(set(map(len, said))) == 1
        and said[0].startswith("0")
        and said[0] != "0"
    ):
        table["digits"] = len(said[0])
    return Guess(table, 0.9, [Claim(found.field.key, "the instrument's own counter", confidence, because)])


def sample_score(found: Study) -> float:
    """Return how much a field looks like the id of a sample; 0 if not at all."""
    said = found.field.said
    if found.field.label and is_sample_label(found.field.label):
        return 4.0
    if not said or max(map(len, said)) > LONG:
        return 0.0
    mixed = sum(any(c.isdigit() for c in text) and any(c.isalpha() for c in text) for text in said)
    if found.nature in ("words", "constant") and mixed >= 0.5 * len(said):
        return 3.0 if found.distinct > 1 else 2.5
    if found.nature == "words" and found.distinct > FEW_WORDS:
        return 2.0
    if found.nature == "numbers" and found.distinct > 1 and all(map(is_whole, said)):
        return 1.0 if not found.field.label else 0.0
    return 0.0


def sample_guess(found: Study) -> Guess:
    """Return a field as the id of the sample."""
    key, said = found.field.key, found.field.said
    named = bool(found.field.label) and is_sample_label(found.field.label)
    because = f"it is named {found.field.label!r}" if named else f"{found.distinct} different short texts"
    strange = any(set(text) & STRANGE for text in said)
    claim = Claim(key, "the id of the sample", 0.9 if named else 0.6, because, is_guess=True)
    return Guess({"kind": "sample"}, 0.2 if strange and not named else 0.7, [claim])


def stable_guess(found: Study) -> Guess | None:
    """Return a field of stability marks, if its words are such marks and both kinds came."""
    said = Counter(found.field.texts)
    marks = {text for text in said if text}
    moving = {text for text in marks if text.casefold() in DRIFTING}
    resting = {text for text in marks if text.casefold() in STABLE} - moving
    if not moving or not resting or marks != moving | resting or None in said or "" in said:
        return None
    because = f"only {', '.join(map(repr, sorted(marks)))} came"
    table = {"kind": "stable", "stable": sorted(resting), "drifting": sorted(moving)}
    return Guess(table, 0.95, [Claim(found.field.key, "a stability mark", 0.8, because, is_guess=True)])


def status_guess(found: Study, words: Vocabulary) -> Guess | None:
    """Return a field of status codes, if a code under which numbers stand is among few."""
    key = found.field.key
    counts = Counter(text for text in found.field.texts if text)
    good = _good_codes(counts)
    if not looks_like_codes(found):
        return None
    codes = dict.fromkeys(good, Outcome.VALUE.value)
    for text, count in counts.items():
        if text in codes:
            continue
        said = words.answers.outcome_of("status", text)
        outcome = said or (None if is_whole(text) else outcome_of_word(text))
        if outcome is None:
            words.ask_outcome("status", text, count, key)
        else:
            codes[text] = outcome.value
    because = f"{', '.join(map(repr, good))} usually means that all is well; codes that came: {len(counts)}"
    return Guess(
        {"kind": "status", "codes": codes}, 0.9, [Claim(key, "a status code", 0.7, because, is_guess=True)]
    )


def looks_like_codes(found: Study) -> bool:
    """Tell whether a code under which numbers stand is among few texts."""
    counts = Counter(text for text in found.field.texts if text)
    good = _good_codes(counts)
    if not good or len(counts) > FEW_WORDS or "" in found.field.texts:
        return False
    return found.nature != "numbers" or _are_codes(counts, good)


def _good_codes(counts: Counter[str]) -> list[str]:
    return [text for text in counts if text.casefold() in GOOD_CODES]


def _are_codes(counts: Counter[str], good: list[str]) -> bool:
    """Tell whether whole numbers are codes: of one width, and zero nearly always."""
    widths = {len(text) for text in counts}
    return len(widths) == 1 and all(map(is_whole, counts)) and counts[good[0]] >= 0.5 * sum(counts.values())


def mode_quantities(found: Study, words: Vocabulary) -> dict[str, str]:
    """Return the quantity that each text of a field names, if each names one and they differ."""
    texts = list(dict.fromkeys(found.field.said))
    if found.nature not in ("words", "numbers") or not 2 <= len(texts) <= FEW_WORDS:
        return {}
    named: dict[str, str] = {}
    for text in texts:
        answer = words.answers.of_field(f"{found.field.key} {text}")
        code = answer.quantity if answer is not None else quantity_of_label(text)
        if code:
            named[text] = code
    return named if len(named) == len(texts) and len(set(named.values())) > 1 else {}


def word_guess(found: Study, *, mode_is_free: bool) -> Guess:
    """Return a field of words that is nothing else: what the instrument was doing, or not read."""
    key, said = found.field.key, found.field.said
    few = found.distinct <= FEW_WORDS and len(said) >= 2 * found.distinct
    if mode_is_free and said and few and not any(set(text) & STRANGE for text in said):
        because = f"{found.distinct} different texts: {', '.join(sorted(set(said))[:4])}"
        claim = Claim(key, "what the instrument was doing (kept as its mode)", 0.5, because, is_guess=True)
        return Guess({"kind": "mode"}, 0.5, [claim])
    seen = ", ".join(map(repr, list(dict.fromkeys(said))[:3])) or "always empty"
    return ignored(key, f"nothing says what it is: {seen}")
