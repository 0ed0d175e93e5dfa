"""Blanks: evaluated once from replicates, taken off a titre exactly once."""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from evaluate.checks import not_negative
from evaluate.errors import ContradictionError
from evaluate.series import series
from evaluate.statistics import mean
from evaluate.titre import net_titre_ml


class TitrationKind(StrEnum):
    """Which way a blank counts."""

    DIRECT = "direct"
    """The reagents use titrant too: titre less blank."""
    BACK = "back"
    """The sample uses up what is titrated in the blank: blank less titre."""


class Procedure(NamedTuple):
    """What must be alike for a blank to hold for a sample."""

    method: str
    """Name of the method with its way to the end point."""
    set_point: float | None
    """Value of the end point, None where it is found from the curve. [pH or mV]"""
    reagent_lot: str


class Blank(NamedTuple):
    """A blank of one procedure."""

    volume_ml: float
    span_ml: float
    """Greatest less least replicate. [mL]"""
    n: int
    """How many replicates."""
    procedure: Procedure


class Titre(NamedTuple):
    """A volume of titrant, and who took the blank off it, if anyone did."""

    volume_ml: float
    procedure: Procedure
    blank_taken_off_by: str | None = None
    """None: still in it. The instrument's name: it subtracts by itself."""


def evaluate_blank(replicates_ml: Sequence[float], procedure: Procedure, most_span_ml: float) -> Blank:
    """Return the blank that replicate titrations without sample give.

    Parameters
    ----------
    replicates_ml : sequence of float
        One or more volumes, each 0 or more, shape ``(n,)``. [mL]
    procedure : Procedure
        How they were titrated.
    most_span_ml : float
        Greatest allowed spread of the replicates. [mL]

    Returns
    -------
    Blank
        Mean and span. [mL]

    Raises
    ------
    OutOfRangeError
        If a volume is not finite or negative.
    TooFewPointsError
        If there is none.
    ContradictionError
        If they spread by more than is allowed.

    Notes
    -----
    High, scattered blanks come of air in the burette or of spoilt reagents: they are refused, not averaged.

    References
    ----------
    .. [1] Mean of replicates. Common practice, no source.
    """
    volumes = [not_negative("blank", volume, "mL") for volume in series("blank", replicates_ml)]
    span = max(volumes) - min(volumes)
    if span > not_negative("span allowed", most_span_ml, "mL"):
        raise ContradictionError(
            f"blanks spread by {span:g} mL, {most_span_ml:g} mL is allowed: look for air and repeat them",
            name="blank",
            value=span,
            high=most_span_ml,
        )
    return Blank(mean(volumes), span, len(volumes), procedure)


def take_off_blank(titre: Titre, blank: Blank, by: str, kind: TitrationKind = TitrationKind.DIRECT) -> Titre:
    """Return a titre less its blank, marked so that it cannot be taken off again.

    Parameters
    ----------
    titre : Titre
        Volume with the blank still in it. [mL]
    blank : Blank
        Blank of the same method, set point and reagent lot. [mL]
    by : str
        Who takes it off, for the record.
    kind : TitrationKind
        DIRECT: titre less blank. BACK: blank less titre.

    Returns
    -------
    Titre
        Net volume, with `blank_taken_off_by` set. [mL]

    Raises
    ------
    ContradictionError
        If the blank is off already, belongs to another procedure, or leaves less than nothing.
    OutOfRangeError
        If a volume is not finite or negative.

    Notes
    -----
    A net volume below zero is a fault of the bench, never a zero.

    References
    ----------
    .. [1] Definition.
    """
    if titre.blank_taken_off_by is not None:
        raise ContradictionError(
            f"the blank is off already, taken by {titre.blank_taken_off_by}; use the titre as it stands",
            name="blank_taken_off_by",
            value=titre.blank_taken_off_by,
        )
    if titre.procedure != blank.procedure:
        raise ContradictionError(
            f"the blank is of {blank.procedure}, the titre of {titre.procedure}; titrate one the same way",
            name="procedure",
            value=blank.procedure,
        )
    net_ml = _net_ml(titre.volume_ml, blank.volume_ml, kind)
    return titre._replace(volume_ml=net_ml, blank_taken_off_by=by)


def _net_ml(titre_ml: float, blank_ml: float, kind: TitrationKind) -> float:
    if kind is TitrationKind.DIRECT:
        return net_titre_ml(titre_ml, blank_ml)
    if not_negative("titre", titre_ml, "mL") > not_negative("blank", blank_ml, "mL"):
        raise ContradictionError(
            f"a back titration of {titre_ml:g} mL is above its blank of {blank_ml:g} mL: repeat both",
            name="titre",
            value=titre_ml,
            high=blank_ml,
        )
    return blank_ml - titre_ml
