"""What the learner says: claims with a confidence, questions, a driver file, and how it proved itself."""

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Claim:
    """One thing that the learner takes for true."""

    about: str
    """Such as ``framing`` or the name of a field."""
    says: str
    confidence: float
    """From 0 to 1. Of what bytes show: (fitting + 1) / (looked at + 2), the rule of succession."""
    because: str
    """What was seen, with its numbers."""
    is_guess: bool = False
    """Bytes cannot show it: it rests on a name, a unit or what is usual."""


@dataclass(frozen=True, slots=True)
class Question:
    """What bytes cannot tell."""

    key: str
    """The name by which an answer is given."""
    asks: str
    seen: tuple[str, ...]
    """Texts for a person to recognise."""
    meanwhile: str
    """What the proposal does as long as nobody answers."""
    choices: tuple[str, ...] = ()
    """Answers that would fit; there may be others."""


@dataclass(frozen=True, slots=True)
class Refused:
    """Frames that were refused for one reason."""

    reason: str
    """One of `acquire.reasons`."""
    count: int
    detail: str
    """What was wrong with the first of them."""
    example: bytes
    """The bytes of the first of them, or their beginning."""


@dataclass(frozen=True, slots=True)
class Score:
    """What a driver made of some bytes."""

    frames_read: int = 0
    readings: int = 0
    read_bytes: int = 0
    """[bytes]"""
    refused_bytes: int = 0
    """[bytes]"""
    filler_bytes: int = 0
    """[bytes]"""
    refused: tuple[Refused, ...] = ()
    """The most frequent reason first."""

    @property
    def frames_refused(self) -> int:
        """For whatever reason."""
        return sum(one.count for one in self.refused)

    @property
    def share_read(self) -> float:
        """Share of the frames that were read; 0 if there were none."""
        return self.frames_read / (self.frames_read + self.frames_refused or 1)


class Standing(StrEnum):
    """What a proposal is worth."""

    GOOD = "good"
    """It loads, keeps every law, and read what it was not made from."""
    DOUBTFUL = "doubtful"
    """There is a driver file, but something speaks against it."""
    NEEDS_ANSWERS = "needs_answers"
    """The layout is found, but nobody said yet what any number is."""
    NOTHING = "nothing"
    """No layout was found."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """What was learnt."""

    standing: Standing
    why: str
    """Why it stands so, in plain words."""
    driver: str
    """The driver file; empty if there is none."""
    claims: tuple[Claim, ...] = ()
    questions: tuple[Question, ...] = ()
    training: Score = Score()
    """Of the first half, from which it was made."""
    held_out: Score = Score()
    """Of the second half, which it had not seen."""
    held_out_from: int = 0
    """Where the second half begins. [bytes]"""
    unused_answers: tuple[str, ...] = ()
    """Answers that fit no question and no field."""


def succession(fitting: float, looked_at: float) -> float:
    """Return how likely the next one fits after so many did: the rule of succession of Laplace."""
    return (fitting + 1) / (looked_at + 2)
