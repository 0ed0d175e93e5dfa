"""Published figures of electrodes, check solutions, water and the volumes that are weighed with it."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from evaluate.buffers import PhthalateEdition, phthalate_ph
from evaluate.burette import z_factor
from evaluate.curve_line import fit_line
from evaluate.electrode import nernst_slope
from evaluate.orp import ferri_ferrocyanide_potential
from evaluate.water_density import water_density
from tundish.selftest.case import Case, Status
from tundish.selftest.tables import rows

_CODATA: Final = "computed from CODATA 2022, R and F, exact"
_USP: Final = "USP 32 and 35, <791>: 0.05916 + 0.000198 (t - 25) V"
_STANDARD_METHODS: Final = "Standard Methods, 1997, table 2580:I"
_IAPWS: Final = "IAPWS-95, computed with the package iapws 1.5.5"
_ISO: Final = "formula of ISO 8655-6 with Tanaka 2001 and OIML R 111"
_RP1690: Final = "W. J. Hamer, G. D. Pinching, S. F. Acree, J. Res. NBS 36 (1946) 47, RP1690, stated value"
_OXALIC: Final = "straight line through a student report's mV and pH, computed"


def cases() -> Iterator[Case]:
    """Yield every published figure of electrodes, check solutions and water."""
    yield from _slopes()
    yield from _phthalate()
    yield from _check_solution()
    yield from _water()
    what = "slope of the report's electrode [mV/pH]"
    yield Case("electrode.oxalic", what, _OXALIC, Status.COMPUTED, -57.779, 0.0006, _oxalic_slope)


def _slopes() -> Iterator[Case]:
    for row in rows("electrodes/nernst_slope.csv"):
        t, expected = float(row["temperature_c"]), float(row["slope_mv_per_ph"])
        what, find = f"ideal slope at {t:g} degrees [mV/pH]", partial(nernst_slope, t)
        yield Case(f"electrode.nernst/{t:g}", what, _CODATA, Status.COMPUTED, expected, 0.000006, find)
    for t in (0.0, 25.0, 50.0):
        expected = 59.16 + 0.198 * (t - 25)
        what, find = f"slope as printed at {t:g} degrees [mV/pH]", partial(nernst_slope, t)
        yield Case(f"electrode.usp_791/{t:g}", what, _USP, Status.PUBLISHED, expected, 0.012, find)


def _phthalate() -> Iterator[Case]:
    for row in rows("electrodes/phthalate_ph.csv"):
        edition, t = PhthalateEdition[row["edition"]], float(row["temperature_c"])
        name = f"electrode.phthalate_{row['edition'].lower()}/{t:g}"
        what, find = f"phthalate buffer at {t:g} degrees [pH]", partial(phthalate_ph, t, edition)
        yield Case(name, what, edition.value, Status.COMPUTED, float(row["ph"]), 0.00051, find)
    find = partial(phthalate_ph, 25.0, PhthalateEdition.HAMER_1946)
    what = "phthalate buffer at 25 degrees [pH]"
    yield Case("electrode.phthalate_stated", what, _RP1690, Status.PUBLISHED, 4.005, 0.0015, find)


def _check_solution() -> Iterator[Case]:
    for row in rows("electrodes/ferri_ferrocyanide.csv"):
        t, find = (
            float(row["temperature_c"]),
            partial(ferri_ferrocyanide_potential, float(row["temperature_c"])),
        )
        what = f"ferri- and ferrocyanide at {t:g} degrees [mV]"
        name = f"orp.ferri_ferrocyanide/{t:g}"
        yield Case(name, what, _STANDARD_METHODS, Status.PUBLISHED, float(row["mv_she"]), 0.5, find)


def _water() -> Iterator[Case]:
    for row in rows("volumes/water.csv"):
        t, expected = float(row["temperature_c"]), float(row["density_iapws95_kg_m3"])
        what, find = f"density of water at {t:g} degrees [kg/m3]", partial(_density, t)
        yield Case(f"water.density/{t:g}", what, _IAPWS, Status.COMPUTED, expected, 0.0013, find)
        for hpa in (850.0, 900.0, 950.0, 1013.25, 1050.0):
            what, find = f"Z at {t:g} degrees and {hpa:g} hPa [mL/g]", partial(z_factor, t, hpa)
            name, expected = f"water.z/{t:g}_{hpa:g}", float(row[f"z_{int(hpa)}hpa"])
            yield Case(name, what, _ISO, Status.COMPUTED, expected, 0.00001, find)


def _density(temperature_c: float) -> float:
    return float(water_density(temperature_c))


def _oxalic_slope() -> float:
    table = rows("titration_curves/oxalic_acid_naoh_mv_and_ph.csv")
    return fit_line([float(row["ph"]) for row in table], [float(row["mv"]) for row in table]).slope
