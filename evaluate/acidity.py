"""Titratable acidity: by end point, expressed as a stated acid."""

from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

from evaluate import constants
from evaluate.checks import not_negative, positive
from evaluate.errors import UnknownNameError
from evaluate.titre import net_titre_ml

ACID_G_PER_EQ: Final = MappingProxyType(
    {
        "tartaric": constants.TARTARIC_ACID_G_PER_MOL / 2,  # [g/eq], two protons
        "malic": constants.MALIC_ACID_G_PER_MOL / 2,  # [g/eq], two protons
        "citric": constants.CITRIC_ACID_G_PER_MOL / 3,  # [g/eq], three protons
        "lactic": constants.LACTIC_ACID_G_PER_MOL,  # [g/eq], one proton
        "succinic": constants.SUCCINIC_ACID_G_PER_MOL / 2,  # [g/eq], two protons
        "acetic": constants.ACETIC_ACID_G_PER_MOL,  # [g/eq], one proton
        "sulfuric": constants.SULFURIC_ACID_G_PER_MOL / 2,  # [g/eq], two protons
    }
)
"""Mass that gives one mole of protons, by the name of the basis. [g/eq]"""


class AcidEndPoint(StrEnum):
    """Where a titration of acidity ends; it belongs to the meaning of the number."""

    PH_7_0 = "pH 7.0"
    PH_8_2 = "pH 8.2"
    INFLECTION = "inflection"


_QUANTITY_OF: Final = MappingProxyType(
    {
        AcidEndPoint.PH_7_0: "ta_ph_7_0",
        AcidEndPoint.PH_8_2: "ta_ph_8_2",
        AcidEndPoint.INFLECTION: "ta_inflection",
    }
)


class TitratableAcidity(NamedTuple):
    """Acidity with what gives it a meaning: its end point and the acid it is expressed as."""

    g_per_l: float
    """In grams of the basis. [g/L]"""
    meq_per_l: float
    """Without a basis. [meq/L]"""
    end_point: AcidEndPoint
    basis: str

    @property
    def quantity(self) -> str:
        """Code of the quantity in `evaluate.units`."""
        return _QUANTITY_OF[self.end_point]


def acid_g_per_eq(basis: str) -> float:
    """Return the mass of an acid that gives one mole of protons.

    Parameters
    ----------
    basis : str
        Name of the acid: tartaric, malic, citric, lactic, succinic, acetic or sulfuric.

    Returns
    -------
    float
        Equivalent mass. [g/eq]

    Raises
    ------
    UnknownNameError
        If there is no such basis.

    Notes
    -----
    Molar mass over protons, exact.

    References
    ----------
    .. [1] IUPAC 2021 atomic weights; see `evaluate.constants`. Published.
    """
    try:
        return ACID_G_PER_EQ[basis]
    except KeyError:
        raise UnknownNameError(
            f"no acid basis is called {basis!r}; known: {', '.join(ACID_G_PER_EQ)}", name="basis", value=basis
        ) from None


def acidity_in_basis(g_per_l: float, from_basis: str, to_basis: str) -> float:
    """Return an acidity, expressed as one acid, expressed as another; the end point stays what it was.

    Parameters
    ----------
    g_per_l : float
        Not negative. [g/L of `from_basis`]
    from_basis, to_basis : str
        Names of acids, as for `acid_g_per_eq`.

    Returns
    -------
    float
        The same acidity. [g/L of `to_basis`]

    Raises
    ------
    OutOfRangeError
        If the acidity is not finite or negative.
    UnknownNameError
        If there is no such basis.

    Notes
    -----
    Ratio of the equivalent masses, exact; printed as 1.531 for sulfuric to tartaric acid on a laboratory
    page.

    References
    ----------
    .. [1] German laboratory page on total acid, factor 1.531. Published, weak.
    """
    acidity = not_negative("acidity", g_per_l, "g/L")
    return acidity * acid_g_per_eq(to_basis) / acid_g_per_eq(from_basis)


def titratable_acidity(
    titre_ml: float,
    naoh_mol_per_l: float,
    sample_ml: float,
    end_point: AcidEndPoint,
    *,
    basis: str = "tartaric",
    blank_ml: float = 0.0,
) -> TitratableAcidity:
    """Return the titratable acidity of a sample that was freed of carbon dioxide.

    Parameters
    ----------
    titre_ml : float
        Sodium hydroxide used to the end point, not below the blank. [mL]
    naoh_mol_per_l : float
        Its strength, more than 0. [mol/L]
    sample_ml : float
        Wine taken, more than 0; the water added does not count. [mL]
    end_point : AcidEndPoint
        Where the titration ended. It is kept with the value and never converted.
    basis : str
        Acid that the value is expressed as.
    blank_ml : float
        Sodium hydroxide used by the water alone, to the same end point. [mL]

    Returns
    -------
    TitratableAcidity
        In g/L of the basis and in meq/L.

    Raises
    ------
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If the titre is below its blank.
    UnknownNameError
        If there is no such basis.

    Notes
    -----
    g/L = V c E / V_sample with the equivalent mass E [1]_. The OIV titrates to pH 7.0 [2]_, the practice of
    the United States is pH 8.2 [3]_. A saturated sample reads up to 2 g/L too high for its carbon dioxide.

    References
    ----------
    .. [1] Missouri State University, Mountain Grove, laboratory manual, with 75 for 75.04. Published.
    .. [2] OIV-MA-AS313-01. Published (end point); factors 0.075 and 0.049 recalled.
    .. [3] Iowa State University extension. Published.

    Examples
    --------
    >>> round(titratable_acidity(9.0, 0.200, 15.0, AcidEndPoint.PH_8_2).g_per_l, 2)
    9.01
    """
    equivalent = acid_g_per_eq(basis)
    strength = positive("sodium hydroxide strength", naoh_mol_per_l, "mol/L")
    sample = positive("sample volume", sample_ml, "mL")
    meq_per_l = net_titre_ml(titre_ml, blank_ml) * strength * 1000 / sample
    return TitratableAcidity(meq_per_l * equivalent / 1000, meq_per_l, AcidEndPoint(end_point), basis)
