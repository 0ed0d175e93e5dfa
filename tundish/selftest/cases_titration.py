"""Published titration curves, with the end points that their authors or plain arithmetic give."""

import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from evaluate.curve import Curve, clean_curve
from evaluate.end_point import EndPoints
from evaluate.end_point_derivative import first_derivative_end_points, second_derivative_end_points
from evaluate.end_point_fixed import fixed_value_end_point
from evaluate.gran import GranKind, gran_end_point, gran_values, gran_values_of_potential
from evaluate.titrant import strength_from_standard
from tundish.selftest.case import Case, NotReproduced, Status
from tundish.selftest.tables import rows

_HARVEY: Final = "D. Harvey, Modern Analytical Chemistry, 2000"
_WHITTEN: Final = "Whitten, Davis, Peck, Stanley, Chemistry, 10th edition, table 19-6, p. 815"
_SKOOG: Final = "Skoog, West, Holler, Crouch, Fundamentals of Analytical Chemistry, chloride"
_OXALIC: Final = "laboratory report of students, table 5.3, printed derivative columns"
_SOP3B: Final = "Dickson, Sabine, Christian, PICES special publication 3, 2007, SOP 3b"
_QUAM: Final = "Eurachem/CITAC guide CG 4, example A2"
_WEAK: Final = "weak_acid_naoh_harvey_9_5.csv"
_STRONG: Final = "strong_acid_naoh_harvey_9_2.csv"
_ACETIC: Final = "acetic_acid_naoh_sparse.csv"
_SEA: Final = "seawater_alkalinity_sop3b.csv"
_ACID_DENSITY_G_PER_CM3: Final = 1.02393  # g/cm³; SOP 3b, header of the data set
_SEA_G: Final = 140.32  # g; SOP 3b, header of the data set
_SEA_C: Final = 24.25  # °C; SOP 3b, header of the data set
_MV_PER_V: Final = 1000.0  # [mV/V]


def cases() -> Iterator[Case]:
    """Yield every figure of the published curves and of the standardisation of a titrant."""
    yield from _weak_acid()
    yield from _strong_acid()
    yield from _sparse_curves()
    yield from _oxalic_acid()
    yield from _sea_water()
    yield Case(
        "titrants.quam_a2",
        "sodium hydroxide against phthalate [mol/L]",
        _QUAM,
        Status.PUBLISHED,
        0.10214,
        0.000005,
        partial(strength_from_standard, 0.3888, 204.2212, 18.64),
    )


def not_reproduced() -> Iterator[NotReproduced]:
    """Yield the printed figures of these curves that do not hold."""
    excess_mmol = 30.00 * 0.200 - 50.00 * 0.100
    yield NotReproduced(
        "curves.harvey_9_2/ph_at_30_ml",
        f"{_HARVEY}, table 9.2, p. 281",
        12.50,
        14 + math.log10(excess_mmol / 80.00),
        "misprint: the text works out 12.10; a Gran line through 12.50 is refused as not straight",
    )
    yield NotReproduced(
        "curves.harvey_9_5/second_derivative_at_15_83_ml",
        f"{_HARVEY}, table 9.5, p. 291",
        -32.8,
        _bend(_curve(_WEAK), 9),
        "last digit: the difference of the printed slopes gives -32.7",
    )
    yield NotReproduced(
        "curves.sea_water/gran_against_full_model",
        f"{_SOP3B}, p. 11",
        3.0830,
        _sea_gran(-math.inf),
        "a simple Gran line leaves out bisulfate and hydrogen fluoride and lies 0.15 % high",
    )


def _curve(name: str, signal: str = "ph", scale: float = 1.0) -> Curve:
    table = rows(f"titration_curves/{name}")
    volumes = [float(next(iter(row.values()))) for row in table]
    return clean_curve(volumes, [float(row[signal]) * scale for row in table])


def _volume(evaluate: Callable[[Curve], EndPoints], name: str, signal: str = "ph") -> float:
    return evaluate(_curve(name, signal)).only().volume_ml


def _case(
    name: str,
    what: str,
    source: str,
    expected: float,
    tolerance: float,
    *,
    find: Callable[[], float],
    status: Status,
) -> Case:
    return Case(f"curves.{name}", f"{what} [mL]", source, status, expected, tolerance, find)


def _gran(name: str, kind: GranKind, low_ml: float, high_ml: float, start_ml: float = 0.0) -> float:
    part = _curve(name).between(low_ml, high_ml)
    return gran_end_point(gran_values(part, kind, start_ml), least_r_squared=0.99).only().volume_ml


def _steepest(name: str, signal: str) -> float:
    return first_derivative_end_points(_curve(name, signal)).only().slope


def _bend(curve: Curve, mid: int) -> float:
    """Return the second derivative between a slope and the next, as the book's table computes it."""
    (at, slope), (next_at, next_slope) = curve.slopes()[mid : mid + 2]
    return (next_slope - slope) / (next_at - at)


def _weak_acid() -> Iterator[Case]:
    source, computed = f"{_HARVEY}, table 9.5, p. 291", Status.COMPUTED
    yield Case(
        "curves.harvey_9_5/steepest_slope",
        "largest first derivative [1/mL]",
        source,
        Status.PUBLISHED,
        8.90,
        0.005,
        partial(_steepest, _WEAK, "ph"),
    )
    first, second = first_derivative_end_points, second_derivative_end_points
    find = partial(_volume, first, _WEAK)
    yield _case(
        "harvey_9_5/first_derivative",
        "largest slope",
        source,
        15.65,
        0.0005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(_volume, second, _WEAK)
    yield _case(
        "harvey_9_5/second_derivative",
        "second derivative zero",
        source,
        15.669,
        0.0006,
        find=find,
        status=computed,
    )
    for low_ml, high_ml, expected in ((14.0, 15.6, 15.631), (10.0, 15.6, 15.570), (12.0, 15.5, 15.531)):
        find = partial(_gran, _WEAK, GranKind.WEAK_ACID, low_ml, high_ml)
        name = f"harvey_9_5/gran_{low_ml:g}_to_{high_ml:g}"
        yield _case(
            name,
            f"Gran line from {low_ml:g} to {high_ml:g} mL",
            source,
            expected,
            0.0006,
            find=find,
            status=computed,
        )


def _strong_acid() -> Iterator[Case]:
    source = f"{_HARVEY}, table 9.2, p. 281"
    find = partial(_volume, second_derivative_end_points, _STRONG)
    yield _case(
        "harvey_9_2/second_derivative",
        "equivalence",
        source,
        25.00,
        0.005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(_gran, _STRONG, GranKind.ACID, 0.0, 24.0, 50.0)
    yield _case(
        "harvey_9_2/gran_acid",
        "Gran line 0 to 24 mL",
        source,
        24.994,
        0.0006,
        find=find,
        status=Status.COMPUTED,
    )
    yield _case(
        "harvey_9_2/gran_base",
        "Gran line of base",
        source,
        24.992,
        0.0006,
        find=_base_corrected,
        status=Status.COMPUTED,
    )


def _base_corrected() -> float:
    """Return the Gran end point of the base side with the misprint put right."""
    curve = _curve(_STRONG)
    ph = tuple(12.10 if v == 30.0 else y for v, y in zip(curve.volume_ml, curve.signal, strict=True))
    part = Curve(curve.volume_ml, ph).between(26.0, 50.0)
    return gran_end_point(gran_values(part, GranKind.BASE, 50.0)).only().volume_ml


def _sparse_curves() -> Iterator[Case]:
    second = second_derivative_end_points
    find = partial(_volume, second, _ACETIC)
    yield _case(
        "whitten_19_6/second_derivative",
        "equivalence",
        _WHITTEN,
        100.0,
        0.005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(_gran, _ACETIC, GranKind.WEAK_ACID, 75.0, 99.0)
    yield _case(
        "whitten_19_6/gran",
        "Gran line 75 to 99 mL",
        _WHITTEN,
        99.989,
        0.0006,
        find=find,
        status=Status.COMPUTED,
    )
    source = f"{_HARVEY}, table 9.17, p. 335"
    find = partial(_volume, second, "iron_cerium_redox_harvey_9_17.csv", "e_v_she")
    yield _case(
        "harvey_9_17/equivalence", "equivalence", source, 50.0, 0.05, find=find, status=Status.PUBLISHED
    )
    yield _case(
        "harvey_9_17/zero", "second derivative zero", source, 50.04, 0.005, find=find, status=Status.COMPUTED
    )
    chloride = "chloride_silver_skoog.csv"
    find = partial(_volume, first_derivative_end_points, chloride, "e_v_sce")
    yield _case(
        "chloride/first_derivative", "largest slope", _SKOOG, 24.35, 0.0005, find=find, status=Status.MEMORY
    )
    find = partial(_volume, second, chloride, "e_v_sce")
    yield _case(
        "chloride/second_derivative",
        "second derivative zero",
        _SKOOG,
        24.343,
        0.0006,
        find=find,
        status=Status.MEMORY,
    )


def _oxalic_acid() -> Iterator[Case]:
    name, computed = "oxalic_acid_naoh_mv_and_ph.csv", Status.COMPUTED
    yield Case(
        "curves.oxalic/steepest_slope",
        "largest first derivative [mV/mL]",
        _OXALIC,
        Status.PUBLISHED,
        -657.3,
        0.05,
        partial(_steepest, name, "mv"),
    )
    find = partial(_volume, first_derivative_end_points, name, "mv")
    yield _case(
        "oxalic/first_derivative", "largest slope", _OXALIC, 6.05, 0.0005, find=find, status=Status.PUBLISHED
    )
    for signal in ("mv", "ph"):
        find = partial(_volume, second_derivative_end_points, name, signal)
        what = f"second derivative zero from {signal}"
        yield _case(
            f"oxalic/second_derivative_{signal}", what, _OXALIC, 6.047, 0.0006, find=find, status=computed
        )
    for ph, expected in ((7.0, 5.948), (8.2, 6.054)):
        find = partial(_volume, partial(fixed_value_end_point, target=ph), name)
        yield _case(
            f"oxalic/ph_{ph:g}", f"volume at pH {ph:g}", _OXALIC, expected, 0.0006, find=find, status=computed
        )


def _sea_water() -> Iterator[Case]:
    for low_cm3, expected_g in ((-math.inf, 3.1614), (4.0, 3.1684)):
        name = "all" if low_cm3 < 0 else "from_4_cm3"
        find, expected = partial(_sea_gran, low_cm3), expected_g / _ACID_DENSITY_G_PER_CM3
        yield _case(
            f"sea_water/gran_{name}",
            "simple Gran line",
            _SOP3B,
            expected,
            0.0001,
            find=find,
            status=Status.COMPUTED,
        )


def _sea_gran(low_cm3: float) -> float:
    curve = _curve(_SEA, "e_v", _MV_PER_V).between(low_cm3, math.inf)
    values = gran_values_of_potential(curve, _SEA_G / _ACID_DENSITY_G_PER_CM3, _SEA_C, rises=True)
    return gran_end_point(values).only().volume_ml
