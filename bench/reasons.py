"""Why a number has the standing it has: each cause with its grade, plain words and what to do."""

from enum import IntEnum
from types import MappingProxyType
from typing import Final, NamedTuple


class Grade(IntEnum):
    """How far a cause lowers the standing of a result."""

    GOOD = 0
    PROVISIONAL = 1
    LOOK_AGAIN = 2
    DO_NOT_USE = 3

    @property
    def word(self) -> str:
        """As it is stored and shown."""
        return self.name.lower()


class Reason(NamedTuple):
    """A documented cause."""

    grade: Grade
    words: str
    advice: str


_GOOD, _WAIT, _LOOK, _NOT = Grade.GOOD, Grade.PROVISIONAL, Grade.LOOK_AGAIN, Grade.DO_NOT_USE

REASONS: Final = MappingProxyType(
    {
        "calibration.warned": Reason(_GOOD, "The calibration warned.", "Clean the electrode soon."),
        "calibration.unknown": Reason(
            _WAIT, "No calibration is known for this moment.", "Calibrate, or enter the one that was made."
        ),
        "calibration.expired": Reason(
            _LOOK, "The calibration was older than the rule allows.", "Calibrate and measure again."
        ),
        "calibration.failed": Reason(
            _NOT, "The calibration failed.", "Find the cause, calibrate and measure again."
        ),
        "verification.unknown": Reason(
            _WAIT, "The calibration was not verified with an independent buffer.", "Verify it."
        ),
        "verification.failed": Reason(
            _NOT, "The verification failed.", "Calibrate, verify, and measure again."
        ),
        "titrant.unknown": Reason(
            _LOOK,
            "The method names no titrant.",
            "Give the method its titrant; the result is computed again.",
        ),
        "titrant.unstandardised": Reason(
            _WAIT, "The titrant was never standardised; its label was taken.", "Standardise it."
        ),
        "titrant.overdue": Reason(
            _GOOD, "The titrant is due to be standardised.", "Standardise it; then look at the difference."
        ),
        "titrant.expired": Reason(
            _LOOK, "The titrant was expired.", "Check its factor; accept with a reason, or measure again."
        ),
        "titrant.failed": Reason(
            _NOT, "The last standardisation of the titrant failed.", "Standardise again with fresh standard."
        ),
        "reagent.expired": Reason(
            _LOOK, "A reagent was expired.", "Accept with a reason, or measure again with a fresh one."
        ),
        "blank.unknown": Reason(
            _LOOK,
            "A blank is to be taken off, and none is known.",
            "Run a blank; the result is computed again.",
        ),
        "check.unknown": Reason(_WAIT, "No check covers the result yet.", "Run the check standard."),
        "check.failed": Reason(
            _NOT,
            "The result lies between checks of which one failed.",
            "See the hold: repeat, narrow, accept or reject.",
        ),
        "hold.accepted": Reason(
            _LOOK, "The result lay in a hold and was accepted by a person.", "Nothing; the mark stays."
        ),
        "sample.unknown": Reason(_NOT, "The sample is not known.", "Tie the reading to its sample."),
        "tie.two_samples": Reason(
            _NOT, "The frame names one sample, the tray another.", "Tie the reading to the right one."
        ),
        "tie.sample_unknown": Reason(
            _NOT,
            "The frame names a sample that is not known.",
            "Enter the sample, or tie the reading to another.",
        ),
        "tie.mode_against_method": Reason(
            _NOT,
            "The instrument measured in another mode than was asked.",
            "Measure again in the right mode.",
        ),
        "outcome.no_number": Reason(_NOT, "The instrument gave no number.", "Measure again."),
        "outcome.out_of_range": Reason(
            _LOOK,
            "The value is beyond the range of the instrument: a bound, no number.",
            "Dilute, or take less sample.",
        ),
        "outcome.not_stable": Reason(_NOT, "The value was not stable.", "Measure again."),
        "formula.refused": Reason(
            _NOT, "The formula cannot take these inputs.", "Look at the inputs; one of them cannot be right."
        ),
        "temperature.unknown": Reason(
            _LOOK, "The method wants the temperature, and none is known.", "Measure it, or enter it."
        ),
        "temperature.outside": Reason(
            _LOOK, "The temperature was outside the window of the method.", "Bring the sample to temperature."
        ),
        "value.implausible": Reason(
            _LOOK, "The value is outside what is plausible for this method.", "Measure again."
        ),
        "value.against_history": Reason(
            _LOOK, "The value does not fit what this wine showed before.", "Check sample, aliquot and mode."
        ),
        "pair.impossible": Reason(
            _NOT, "Two results of this sample cannot both be true.", "Measure both again."
        ),
        "duplicate.wanted": Reason(_WAIT, "The duplicate is not measured yet.", "Measure it."),
        "duplicate.apart": Reason(
            _LOOK, "Replicates are further apart than repeatability allows.", "Measure a further replicate."
        ),
        "run.warned": Reason(
            _LOOK,
            "Something was odd while the titration ran.",
            "Look at the curve; measure again if in doubt.",
        ),
        "run.aborted": Reason(_NOT, "The titration was aborted.", "Measure again."),
        "run.rejected": Reason(_NOT, "A person rejected the run.", "Measure again."),
        "input.missing": Reason(_NOT, "A number that this one stands on is not known.", "Measure it."),
        "input.provisional": Reason(
            _WAIT, "A number that this one stands on is provisional.", "See what that number waits for."
        ),
        "input.other_sample": Reason(
            _NOT,
            "A number that this one stands on belongs to another sample now.",
            "Take the one that was worked out anew.",
        ),
        "input.not_good": Reason(
            _LOOK, "A number that this one stands on is not good itself.", "See that number first."
        ),
        "input.do_not_use": Reason(
            _NOT, "A number that this one stands on is not to be used.", "Measure that number again."
        ),
        "input.of_lot": Reason(
            _GOOD,
            "A number that this one stands on is of another sample of the lot.",
            "Measure it in this sample, if it may have changed.",
        ),
        "input.old": Reason(_WAIT, "A number that this one stands on is old.", "Measure it anew."),
        "result.replaced": Reason(
            _NOT, "A later one took its place, from newer numbers of the sample.", "Take the later one."
        ),
    }
)
"""Every code that a standing can carry."""


class Cause(NamedTuple):
    """A reason that applies to one result, with what shows it."""

    code: str
    evidence: str
    """The figures and names, in words."""


def grade_of(causes: tuple[Cause, ...]) -> Grade:
    """Return the gravest grade of the causes; good if there are none."""
    return max((REASONS[cause.code].grade for cause in causes), default=Grade.GOOD)
