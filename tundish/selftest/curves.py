"""The published titration curves, and what each method finds on them beside what their authors print."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

from evaluate.curve import Curve, clean_curve
from evaluate.end_point import EndPoints, Mark
from evaluate.end_point_derivative import first_derivative_end_points, second_derivative_end_points
from evaluate.gran import GranKind, gran_end_point, gran_values, gran_values_of_potential
from tundish.selftest.tables import rows

WEAK: Final = "weak_acid_naoh_harvey_9_5.csv"
STRONG: Final = "strong_acid_naoh_harvey_9_2.csv"
REDOX: Final = "iron_cerium_redox_harvey_9_17.csv"
ACETIC: Final = "acetic_acid_naoh_sparse.csv"
OXALIC: Final = "oxalic_acid_naoh_mv_and_ph.csv"
SEA: Final = "seawater_alkalinity_sop3b.csv"
CHLORIDE: Final = "chloride_silver_skoog.csv"
_ACID_DENSITY_G_PER_CM3: Final = 1.02393  # g/cm³; SOP 3b, header of the data set
_SEA_G: Final = 140.32  # g; SOP 3b, header of the data set
_SEA_C: Final = 24.25  # °C; SOP 3b, header of the data set
_MV_PER_V: Final = 1000.0  # [mV/V]


@dataclass(frozen=True, slots=True)
class PublishedCurve:
    """A curve of the literature, with the end point that its source prints or states."""

    what: str
    file: str
    signal: str
    published_ml: str
    """As printed. [mL]"""
    gran_ml: tuple[Callable[[], float], ...] = ()
    """Gran lines that can be drawn through parts of it. [mL]"""
    decimals: int = 3
    """Places after the point that its readings bear."""


def read_curve(name: str, signal: str = "ph", scale: float = 1.0) -> Curve:
    """Return a shipped curve, its signal multiplied by `scale`; volumes stand in its first column."""
    table = rows(f"titration_curves/{name}")
    volumes = [float(next(iter(row.values()))) for row in table]
    return clean_curve(volumes, [float(row[signal]) * scale for row in table])


def gran_ml(name: str, kind: GranKind, low_ml: float, high_ml: float, start_ml: float = 0.0) -> float:
    """Return the end point of a Gran line through a part of a shipped curve. [mL]"""
    part = read_curve(name).between(low_ml, high_ml)
    return gran_end_point(gran_values(part, kind, start_ml), least_r_squared=0.99).only().volume_ml


def base_gran_ml() -> float:
    """Return the Gran end point of the base side of the strong acid with the misprint put right. [mL]"""
    curve = read_curve(STRONG)
    ph = tuple(12.10 if v == 30.0 else y for v, y in zip(curve.volume_ml, curve.signal, strict=True))
    part = Curve(curve.volume_ml, ph).between(26.0, 50.0)
    return gran_end_point(gran_values(part, GranKind.BASE, 50.0)).only().volume_ml


def sea_gran_ml(low_cm3: float) -> float:
    """Return the end point of a simple Gran line through sea water, from a volume on. [cm³]"""
    curve = read_curve(SEA, "e_v", _MV_PER_V).between(low_cm3, math.inf)
    values = gran_values_of_potential(curve, _SEA_G / _ACID_DENSITY_G_PER_CM3, _SEA_C, rises=True)
    return gran_end_point(values).only().volume_ml


def sea_ml(acid_g: float) -> float:
    """Return the volume of a mass of the acid of the sea water curve. [cm³]"""
    return acid_g / _ACID_DENSITY_G_PER_CM3


_WEAK_LINES: Final = ((14.0, 15.6), (10.0, 15.6), (12.0, 15.5))  # mL; parts of the curve before its jump

CURVES: Final = (
    PublishedCurve(
        "Harvey 2000, table 9.5, weak acid",
        WEAK,
        "ph",
        "15.65",
        tuple(partial(gran_ml, WEAK, GranKind.WEAK_ACID, low, high) for low, high in _WEAK_LINES),
    ),
    PublishedCurve(
        "Harvey 2000, table 9.2, strong acid",
        STRONG,
        "ph",
        "25.00",
        (partial(gran_ml, STRONG, GranKind.ACID, 0.0, 24.0, 50.0), base_gran_ml),
    ),
    PublishedCurve("Harvey 2000, table 9.17, iron and cerium", REDOX, "e_v_she", "50.0"),
    PublishedCurve(
        "Whitten, table 19-6, acetic acid",
        ACETIC,
        "ph",
        "100.0",
        (partial(gran_ml, ACETIC, GranKind.WEAK_ACID, 75.0, 99.0),),
    ),
    PublishedCurve("students' report, oxalic acid, from mV", OXALIC, "mv", "6.05"),
    PublishedCurve("students' report, oxalic acid, from pH", OXALIC, "ph", "6.05"),
    PublishedCurve(
        "SOP 3b of 2007, sea water", SEA, "e_v", "3.0830", (partial(sea_gran_ml, -math.inf),), decimals=4
    ),
    PublishedCurve("Skoog, chloride with silver (recalled)", CHLORIDE, "e_v_sce", "24.33"),
)
"""Every curve that ships, the recalled one last."""


@dataclass(frozen=True, slots=True)
class Found:
    """What each method says of one curve, in words."""

    curve: PublishedCurve
    first_derivative: str
    second_derivative: str
    gran: str


def found_on(curve: PublishedCurve) -> Found:
    """Evaluate a published curve by every method that serves it."""
    readings = read_curve(curve.file, curve.signal)
    return Found(
        curve,
        _said(first_derivative_end_points(readings), curve.decimals),
        _said(second_derivative_end_points(readings), curve.decimals),
        ", ".join(f"{line():.{curve.decimals}f}" for line in curve.gran_ml),
    )


def _said(ends: EndPoints, decimals: int) -> str:
    if ends.reason is not None:
        return f"none: {ends.reason}"
    return ", ".join(
        f"{point.volume_ml:.{decimals}f}{', tied' if Mark.TIED in point.marks else ''}"
        for point in ends.found
    )
