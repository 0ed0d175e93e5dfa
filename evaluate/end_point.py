"""What the evaluation of a curve says: no end point with a reason, one, or several in order."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple, TypeAlias

from evaluate.checks import in_range, not_negative, positive
from evaluate.curve import Curve
from evaluate.errors import NoEndPointError

ROUNDING_ML: Final = 1e-9  # mL; two volumes of decimal digits differ by their step only this closely


class Method(StrEnum):
    """How an end point was found."""

    FIRST_DERIVATIVE = "first derivative"
    SECOND_DERIVATIVE = "second derivative"
    GRAN = "Gran line"
    FIXED_VALUE = "fixed value"
    DEAD_STOP_BRANCHES = "dead stop, crossing of two branches"
    DEAD_STOP_THRESHOLD = "dead stop, lasting threshold"


class NoEndPoint(StrEnum):
    """Why a curve has no end point."""

    TOO_FEW_POINTS = "too few points"
    SPAN_TOO_SMALL = "the signal changes too little"
    NO_JUMP = "no jump stands out"
    EDGE = "the steepest step is the first or the last"
    TOO_FEW_BEFORE = "too few points before the end point"
    TOO_FEW_AFTER = "too few points after the end point"
    NEVER_REACHED = "the set value is never reached"
    STARTS_BEYOND = "the curve starts beyond the set value"
    CROSSED_AGAIN = "the set value is crossed more than once"
    GAP_TOO_WIDE = "the readings beside the end point lie too far apart"
    NOT_STRAIGHT = "the points do not lie on a straight line"
    WRONG_SLOPE = "the line does not have the slope that theory asks for"
    NO_BREAK = "the two branches do not differ"
    NOT_HELD = "the threshold was passed but not held"


Refusal: TypeAlias = tuple[NoEndPoint, str]
"""Why there is no end point, as a code and in words with the figures."""


class Mark(StrEnum):
    """What a person should know before using an end point."""

    WIDE_BRACKET = "the readings beside it lie far apart"
    TIED = "two neighbouring steps are equally steep"
    NOISY = "the noise is large beside the jump"
    FAR_EXTRAPOLATION = "the line was drawn far beyond its points"


class Direction(StrEnum):
    """Which way the signal goes at the end point."""

    RISING = "rising"
    FALLING = "falling"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class EndPointLimits:
    """What a curve must show before an end point is reported from it."""

    direction: Direction = Direction.EITHER
    """EITHER takes the direction from the first reading to the last."""
    least_span: float = 0.0
    """Greatest less least signal must exceed this. [unit of the signal]"""
    points_each_side: int = 3
    widest_gap_ml: float = math.inf
    """A wider bracket gives no end point. [mL]"""
    wide_bracket_ml: float = 0.1
    """A wider bracket is marked: 0.1 mL of 0.1 mol/L base on 10 mL of wine is 0.075 g/L tartaric. [mL]"""
    least_share: float = 0.1
    """A further jump counts from this share of the steepest slope on. [1]"""

    def __post_init__(self) -> None:
        not_negative("least span", self.least_span)
        in_range("points on each side", self.points_each_side, 1, math.inf)
        if self.widest_gap_ml != math.inf:
            positive("widest gap", self.widest_gap_ml, "mL")
        positive("wide bracket", self.wide_bracket_ml, "mL")
        in_range("least share", self.least_share, 0.0, 1.0)

    def sign(self, curve: Curve) -> float:
        """Return 1 if the signal is taken to rise along the curve, else -1."""
        if self.direction is Direction.EITHER:
            return math.copysign(1.0, curve.signal[-1] - curve.signal[0])
        return 1.0 if self.direction is Direction.RISING else -1.0

    def unfit(self, curve: Curve, least_points: int) -> Refusal | None:
        """Return why no end point can be looked for, if none can."""
        if len(curve) < least_points:
            return NoEndPoint.TOO_FEW_POINTS, f"{len(curve)} points, at least {least_points} are needed"
        if curve.span <= self.least_span:
            words = f"the signal spans {curve.span:g}, more than {self.least_span:g} is wanted"
            return NoEndPoint.SPAN_TOO_SMALL, words
        return None

    def too_wide(self, low_ml: float, high_ml: float) -> Refusal | None:
        """Return why a bracket is too wide to report from, if it is."""
        if high_ml - low_ml <= self.widest_gap_ml + ROUNDING_ML:
            return None
        words = f"from {low_ml:g} to {high_ml:g} mL is further than the {self.widest_gap_ml:g} mL allowed"
        return NoEndPoint.GAP_TOO_WIDE, words

    def is_wide(self, low_ml: float, high_ml: float) -> bool:
        """Tell whether a bracket is to be marked wide."""
        return high_ml - low_ml > self.wide_bracket_ml + ROUNDING_ML


class EndPoint(NamedTuple):
    """One end point, with the readings it lies between."""

    volume_ml: float
    signal: float
    """Signal at the end point, in a straight line between the readings. [unit of the signal]"""
    low_ml: float
    high_ml: float
    method: Method
    slope: float
    """Slope at the end point; of a Gran line, of the line. [unit of the signal per mL]"""
    signal_to_noise: float
    """Height of what was found over the noise of one reading; infinite where no noise is seen. [1]"""
    marks: tuple[Mark, ...] = ()

    @property
    def bracket_ml(self) -> float:
        """Distance of the readings beside it, which bounds how well it can be known. [mL]"""
        return self.high_ml - self.low_ml

    def shift_ml(self, signal_error: float) -> float:
        """Return how far a signal that reads too high moves an end point at a set value. [mL]"""
        return -signal_error / self.slope


@dataclass(frozen=True, slots=True)
class EndPoints:
    """The end points of one curve by one method, in order of volume; never their average."""

    method: Method
    found: tuple[EndPoint, ...] = ()
    reason: NoEndPoint | None = None
    """Why there is none; None where one was found."""
    detail: str = ""
    """The reason in words, with the figures."""

    @classmethod
    def none(cls, method: Method, refusal: Refusal) -> "EndPoints":
        """Return that there is no end point, and why."""
        return cls(method, (), *refusal)

    def __len__(self) -> int:
        return len(self.found)

    def only(self) -> EndPoint:
        """Return the one end point; raise `NoEndPointError` if there is none or more than one."""
        if len(self.found) == 1:
            return self.found[0]
        if not self.found:
            raise NoEndPointError(f"no end point by {self.method}: {self.detail or self.reason}", value=0)
        volumes = ", ".join(f"{point.volume_ml:.3f}" for point in self.found)
        raise NoEndPointError(
            f"{len(self.found)} end points by {self.method}, at {volumes} mL; say which one is meant",
            value=len(self.found),
        )
