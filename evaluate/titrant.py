"""The strength of a titrant from a primary standard, and whether replicates may stand as its factor."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from evaluate.checks import in_range, positive
from evaluate.series import series
from evaluate.statistics import mean, standard_deviation
from evaluate.titre import net_titre_ml

ML_PER_L: Final = 1000.0  # [mL/L]; definition of the prefix


@dataclass(frozen=True, slots=True)
class StandardisationLimits:
    """What replicates of a standardisation must keep to.

    Ph. Eur. 4.2.2 (published): within 10 % of nominal, relative standard deviation not above 0.2 %; three
    titrations are enough and six often better, as the EDQM answers (published).
    """

    least_count: int = 3
    most_rsd_pct: float = 0.2
    most_change_pct: float = 10.0
    """Allowed departure of the strength from nominal. [%]"""

    def __post_init__(self) -> None:
        in_range("least count", self.least_count, 2, math.inf)
        positive("rsd limit", self.most_rsd_pct, "%")
        positive("change limit", self.most_change_pct, "%")


class Standardisation(NamedTuple):
    """The strength that replicates give."""

    mol_per_l: float
    factor: float
    """Strength over nominal. [1]"""
    rsd_pct: float
    standard_error_mol_per_l: float
    """Standard deviation of the mean: repeatability alone, no share of balance, purity or burette. [mol/L]"""
    n: int
    reasons: tuple[str, ...] = ()
    """Why it is not to be used; empty if it is accepted."""

    @property
    def is_accepted(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.reasons


def strength_from_standard(
    mass_g: float,
    molar_mass_g_per_mol: float,
    titre_ml: float,
    *,
    purity: float = 1.0,
    blank_ml: float = 0.0,
    titrant_per_standard: float = 1.0,
) -> float:
    r"""Return the strength of a titrant from one weighed portion of a primary standard.

    Parameters
    ----------
    mass_g : float
        Portion, more than 0. [g]
    molar_mass_g_per_mol : float
        Molar mass of the standard, more than 0. [g/mol]
    titre_ml : float
        Titrant used, above the blank. [mL]
    purity : float
        Mass share of the standard in the portion, 0.5 to 1.01. [1]
    blank_ml : float
        Titrant used without standard. [mL]
    titrant_per_standard : float
        Titrant a mole of standard: 1 for hydroxide on phthalate, 6 for thiosulfate on iodate. [mol/mol]

    Returns
    -------
    float
        Strength. [mol/L]

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range, or the titre equals its blank.
    ContradictionError
        If the titre is below its blank.

    Notes
    -----
    :math:`c = 1000\, m P z / (M (V - V_0))`.

    References
    ----------
    .. [1] Eurachem/CITAC guide CG 4, Quantifying uncertainty in analytical measurement, example A2.
       Published.
    """
    mass = positive("mass", mass_g, "g")
    molar_mass = positive("molar mass", molar_mass_g_per_mol, "g/mol")
    share = in_range("purity", purity, 0.5, 1.01)
    ratio = positive("titrant per standard", titrant_per_standard, "mol/mol")
    used_ml = positive("titre less blank", net_titre_ml(titre_ml, blank_ml), "mL")
    return ML_PER_L * mass * share * ratio / (molar_mass * used_ml)


def standardise(
    strengths_mol_per_l: Sequence[float],
    nominal_mol_per_l: float,
    limits: StandardisationLimits | None = None,
) -> Standardisation:
    r"""Return the strength and factor of a titrant from replicates, and whether they may be used.

    Parameters
    ----------
    strengths_mol_per_l : sequence of float
        Strength by each titration, two or more, each more than 0, shape ``(n,)``. [mol/L]
    nominal_mol_per_l : float
        Strength on the label, more than 0. [mol/L]
    limits : StandardisationLimits, optional
        What replicates must keep to.

    Returns
    -------
    Standardisation
        Mean [mol/L], factor [1], relative standard deviation [%], and the reasons against it.

    Raises
    ------
    OutOfRangeError
        If a strength is not finite or not more than 0.
    TooFewPointsError
        If there are fewer than two.

    Notes
    -----
    A replicate is never left out here: titrate again, or strike one out with a reason.

    References
    ----------
    .. [1] Ph. Eur. 5.0, 4.2.2: 10 % of nominal, 0.2 % relative standard deviation. Published.
    """
    limits, nominal = (
        limits or StandardisationLimits(),
        positive("nominal strength", nominal_mol_per_l, "mol/L"),
    )
    values = [positive("strength", c, "mol/L") for c in series("strength", strengths_mol_per_l, 2)]
    average, sd = mean(values), standard_deviation(values)
    factor, rsd_pct = average / nominal, 100 * sd / average
    fails = {
        f"{len(values)} titrations, {limits.least_count} are wanted": len(values) < limits.least_count,
        f"they scatter by {rsd_pct:.3f} %, {limits.most_rsd_pct:g} % is allowed": rsd_pct
        > limits.most_rsd_pct,
        f"factor {factor:.4f}, within {limits.most_change_pct:g} % of nominal is allowed": 100
        * abs(factor - 1)
        > limits.most_change_pct,
    }
    reasons = tuple(words for words, failed in fails.items() if failed)
    return Standardisation(average, factor, rsd_pct, sd / math.sqrt(len(values)), len(values), reasons)
