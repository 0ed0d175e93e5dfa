"""Named sets of constants for the dissociation of sulfurous acid, as data.

The choice of set moves molecular sulfur dioxide by a third, so no formula here has a silent default: every
answer carries the name of its set.
"""

from types import MappingProxyType
from typing import Final, NamedTuple

from evaluate.errors import UnknownNameError

REFERENCE_TEMPERATURE_C: Final = 20.0  # °C; where the table below begins


class ConstantSet(NamedTuple):
    """The first dissociation constant of sulfurous acid, as one figure or as a table."""

    name: str
    title: str
    source: str
    pk: float | None = None
    """One figure for every wine; None where the table is used."""
    alcohol_pct_vol: tuple[float, ...] = ()
    """Rows of the table, rising. [% vol]"""
    temperature_c: tuple[float, ...] = ()
    """Columns of the table, rising. [°C]"""
    pk_thermodynamic: tuple[tuple[float, ...], ...] = ()
    """Cells at ionic strength zero, a row for each alcohol."""
    ionic_strength_mol_per_l: float = 0.0
    """That of wine, for the step from thermodynamic to mixed constant. [mol/L]"""
    recalled_above_pct_vol: float | None = None
    """From here on up the table rests on a row that was recalled, not read. [% vol]"""


_SETS: Final = (
    ConstantSet(
        name="single-1.81",
        title="one constant, pK 1.81",
        source="common practice; fits the table of Enology Briefs 1, University of California, 1982",
        pk=1.81,
    ),
    ConstantSet(
        name="single-1.77",
        title="one constant, pK 1.77",
        source="older tables",
        pk=1.77,
    ),
    ConstantSet(
        name="oiv-as323-04c",
        title="by alcohol and temperature, ionic strength 0.038 mol/L",
        source="OIV-MA-AS323-04C, type IV, Table I, published for 0 to 15 % vol, recalled for 20 % vol",
        alcohol_pct_vol=(0.0, 5.0, 10.0, 15.0, 20.0),
        temperature_c=(20.0, 25.0, 30.0, 35.0, 40.0),
        pk_thermodynamic=(
            (1.798, 2.000, 2.219, 2.334, 2.493),
            (1.897, 2.098, 2.299, 2.397, 2.527),
            (1.997, 2.198, 2.394, 2.488, 2.606),
            (2.099, 2.301, 2.503, 2.607, 2.728),
            (2.203, 2.406, 2.628, 2.754, 2.895),
        ),
        ionic_strength_mol_per_l=0.038,
        recalled_above_pct_vol=15.0,
    ),
)

CONSTANT_SETS: Final = MappingProxyType({one.name: one for one in _SETS})
"""Every set by its name."""


def constant_set(name: str) -> ConstantSet:
    """Return the set of constants with this name.

    Parameters
    ----------
    name : str
        Such as ``single-1.81`` or ``oiv-as323-04c``.

    Returns
    -------
    ConstantSet
        The set, with its source.

    Raises
    ------
    UnknownNameError
        If there is no such set.

    Notes
    -----
    A table is stored as it is printed; nothing is computed here.

    References
    ----------
    .. [1] Each set carries its source.
    """
    try:
        return CONSTANT_SETS[name]
    except KeyError:
        raise UnknownNameError(
            f"no set of SO2 constants is called {name!r}; known: {', '.join(CONSTANT_SETS)}",
            name="constant set",
            value=name,
        ) from None
