"""Published titration curves, with the end points that their authors or plain arithmetic give."""

import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from evaluate.curve import Curve
from evaluate.end_point import EndPoints
from evaluate.end_point_derivative import first_derivative_end_points, second_derivative_end_points
from evaluate.end_point_fixed import fixed_value_end_point
from evaluate.gran import GranKind
from evaluate.titrant import strength_from_standard
from tundish.selftest.case import Case, NotReproduced, Status
from tundish.selftest.curves import (
    ACETIC,
    CHLORIDE,
    OXALIC,
    REDOX,
    STRONG,
    WEAK,
    base_gran_ml,
    gran_ml,
    read_curve,
    sea_gran_ml,
    sea_ml,
)

_HARVEY: Final = "D. Harvey, Modern Analytical Chemistry, 2000"
_WHITTEN: Final = "Whitten, Davis, Peck, Stanley, Chemistry, 10th edition, table 19-6, p. 815"
_SKOOG: Final = "Skoog, West, Holler, Crouch, Fundamentals of Analytical Chemistry, chloride"
_OXALIC: Final = "laboratory report of students, table 5.3, printed derivative columns"
_SOP3B: Final = "Dickson, Sabine, Christian, PICES special publication 3, 2007, SOP 3b"
_QUAM: Final = "Eurachem/CITAC guide CG 4, example A2"


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
        _bend(read_curve(WEAK), 9),
        "last digit: the difference of the printed slopes gives -32.7",
    )
    yield NotReproduced(
        "curves.sea_water/gran_against_full_model",
        f"{_SOP3B}, p. 11",
        3.0830,
        sea_gran_ml(-math.inf),
        "a simple Gran line leaves out bisulfate and hydrogen fluoride and lies 0.15 % high",
    )


def _volume(evaluate: Callable[[Curve], EndPoints], name: str, signal: str = "ph") -> float:
    return evaluate(read_curve(name, signal)).only().volume_ml


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


def _steepest(name: str, signal: str) -> float:
    return first_derivative_end_points(read_curve(name, signal)).only().slope


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
        partial(_steepest, WEAK, "ph"),
    )
    first, second = first_derivative_end_points, second_derivative_end_points
    find = partial(_volume, first, WEAK)
    yield _case(
        "harvey_9_5/first_derivative",
        "largest slope",
        source,
        15.65,
        0.0005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(_volume, second, WEAK)
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
        find = partial(gran_ml, WEAK, GranKind.WEAK_ACID, low_ml, high_ml)
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
    find = partial(_volume, second_derivative_end_points, STRONG)
    yield _case(
        "harvey_9_2/second_derivative",
        "equivalence",
        source,
        25.00,
        0.005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(gran_ml, STRONG, GranKind.ACID, 0.0, 24.0, 50.0)
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
        find=base_gran_ml,
        status=Status.COMPUTED,
    )


def _sparse_curves() -> Iterator[Case]:
    second = second_derivative_end_points
    find = partial(_volume, second, ACETIC)
    yield _case(
        "whitten_19_6/second_derivative",
        "equivalence",
        _WHITTEN,
        100.0,
        0.005,
        find=find,
        status=Status.PUBLISHED,
    )
    find = partial(gran_ml, ACETIC, GranKind.WEAK_ACID, 75.0, 99.0)
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
    find = partial(_volume, second, REDOX, "e_v_she")
    yield _case(
        "harvey_9_17/equivalence", "equivalence", source, 50.0, 0.05, find=find, status=Status.PUBLISHED
    )
    yield _case(
        "harvey_9_17/zero", "second derivative zero", source, 50.04, 0.005, find=find, status=Status.COMPUTED
    )
    find = partial(_volume, first_derivative_end_points, CHLORIDE, "e_v_sce")
    yield _case(
        "chloride/first_derivative", "largest slope", _SKOOG, 24.35, 0.0005, find=find, status=Status.MEMORY
    )
    find = partial(_volume, second, CHLORIDE, "e_v_sce")
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
    name, computed = OXALIC, Status.COMPUTED
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
        find, expected = partial(sea_gran_ml, low_cm3), sea_ml(expected_g)
        yield _case(
            f"sea_water/gran_{name}",
            "simple Gran line",
            _SOP3B,
            expected,
            0.0001,
            find=find,
            status=Status.COMPUTED,
        )
