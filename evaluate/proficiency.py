"""Scores of comparisons with other laboratories."""

import math
from enum import StrEnum
from typing import Final, NamedTuple

from evaluate.checks import finite, not_negative, positive

WARNING_SCORE: Final = 2.0  # [1] beyond it a warning signal; ISO 13528
ACTION_SCORE: Final = 3.0  # [1] from it on an action signal; ISO 13528
EN_LIMIT: Final = 1.0  # [1] beyond it unsatisfactory; ISO 13528


class Performance(StrEnum):
    """What a score says of the laboratory."""

    ACCEPTABLE = "acceptable"
    WARNING = "warning signal"
    ACTION = "action signal"


class Score(NamedTuple):
    """A score and what it says."""

    value: float
    performance: Performance


def z_score(result: float, assigned: float, sigma_pt: float) -> Score:
    r"""Return the z score of a result.

    Parameters
    ----------
    result, assigned : float
        The laboratory's value and the assigned value. [any unit]
    sigma_pt : float
        Standard deviation for the assessment, set by the organiser, above zero. [same unit]

    Returns
    -------
    Score
        :math:`z = (x - X)/\sigma_{pt}`; up to 2 acceptable, from 3 on an action signal. [1]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or `sigma_pt` not above zero.

    Notes
    -----
    Leaves out how well the assigned value is known; see `z_prime_score`.

    References
    ----------
    .. [1] ISO 13528, z scores; example of 39 scores in the NIST Dataplot reference manual, ISO 13528 ZSCORE.
       Published.
    """
    return _signal((finite("result", result) - finite("assigned", assigned)) / positive("sigma_pt", sigma_pt))


def z_prime_score(result: float, assigned: float, sigma_pt: float, u_assigned: float) -> Score:
    r"""Return the z' score of a result, which allows for the uncertainty of the assigned value.

    Parameters
    ----------
    result, assigned : float
        The laboratory's value and the assigned value. [any unit]
    sigma_pt : float
        Standard deviation for the assessment, above zero. [same unit]
    u_assigned : float
        Standard uncertainty of the assigned value, not negative. [same unit]

    Returns
    -------
    Score
        :math:`z' = (x - X)/\sqrt{\sigma_{pt}^2 + u_X^2}`. [1]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    For rounds in which `u_assigned` exceeds 0.3 `sigma_pt`.

    References
    ----------
    .. [1] ISO 13528, z' scores. Recalled.
    """
    scale = math.hypot(positive("sigma_pt", sigma_pt), not_negative("u_assigned", u_assigned))
    return _signal((finite("result", result) - finite("assigned", assigned)) / scale)


def zeta_score(result: float, u_result: float, assigned: float, u_assigned: float) -> Score:
    r"""Return the zeta score of a result, held against the laboratory's own uncertainty.

    Parameters
    ----------
    result, assigned : float
        The laboratory's value and the assigned value. [any unit]
    u_result, u_assigned : float
        Their standard uncertainties, not negative, not both zero. [same unit]

    Returns
    -------
    Score
        :math:`\zeta = (x - X)/\sqrt{u_x^2 + u_X^2}`. [1]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    A large zeta beside a small z says that the stated uncertainty is too small.

    References
    ----------
    .. [1] ISO 13528, zeta scores; data of the comparison CCQM-K30, lead in wine. Computed from published
           inputs.
    """
    scale = math.hypot(not_negative("u_result", u_result), not_negative("u_assigned", u_assigned))
    difference = finite("result", result) - finite("assigned", assigned)
    return _signal(difference / positive("uncertainty of the difference", scale))


def en_score(result: float, expanded_result: float, assigned: float, expanded_assigned: float) -> Score:
    r"""Return the En score of a result, from expanded uncertainties.

    Parameters
    ----------
    result, assigned : float
        The laboratory's value and the assigned value. [any unit]
    expanded_result, expanded_assigned : float
        Their expanded uncertainties (k = 2), not negative, not both zero. [same unit]

    Returns
    -------
    Score
        :math:`E_n = (x - X)/\sqrt{U_x^2 + U_X^2}`; beyond 1 an action signal, there is no warning. [1]

    Raises
    ------
    OutOfRangeError
        If a number is not finite or outside its range.

    Notes
    -----
    Both uncertainties with the same coverage factor.

    References
    ----------
    .. [1] ISO 13528, En scores; data of the comparison CCQM-K30, lead in wine. Computed from published
           inputs.
    """
    scale = math.hypot(
        not_negative("expanded_result", expanded_result), not_negative("expanded_assigned", expanded_assigned)
    )
    difference = finite("result", result) - finite("assigned", assigned)
    value = difference / positive("uncertainty of the difference", scale)
    return Score(value, Performance.ACTION if abs(value) > EN_LIMIT else Performance.ACCEPTABLE)


def _signal(value: float) -> Score:
    if abs(value) >= ACTION_SCORE:
        return Score(value, Performance.ACTION)
    return Score(value, Performance.WARNING if abs(value) > WARNING_SCORE else Performance.ACCEPTABLE)
