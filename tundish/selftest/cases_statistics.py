"""Published figures of statistics: hard data, scores, check standards."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from itertools import chain
from operator import attrgetter
from typing import Final

from evaluate.binding import Addition, learn_binding
from evaluate.check_standard import CalibrationLine, check_limit, check_values
from evaluate.proficiency import en_score, z_score, zeta_score
from evaluate.statistics import autocorrelation_lag1, mean, standard_deviation
from evaluate.trend import straight_line
from tundish.selftest.case import Case, Status
from tundish.selftest.tables import figures, rows

_STRD: Final = "NIST Statistical Reference Datasets"
_HANDBOOK: Final = "NIST/SEMATECH e-Handbook of Statistical Methods"
_DEVIATION_DIGITS: Final = {"numacc4": 1e-8}  # [1] relative; its data are not exact in binary, others 1e-12
_ASSIGNED, _U_ASSIGNED, _EXPANDED = 2.99, 0.03, 0.06  # [mg/kg] lead in wine, CCQM-K30 reference value
_PLAIN: Final = 1e-12  # [1] relative agreement asked of double precision


def cases() -> Iterator[Case]:
    """Yield every published figure of these fields."""
    return chain(
        _univariate(),
        _norris(),
        _without_intercept(),
        _gear_scores(),
        _lead_scores(),
        _check_standards(),
    )


def column(table: str, name: str) -> list[float]:
    """Return one column of a shipped table as numbers."""
    return [float(row[name]) for row in rows(table)]


def _univariate() -> Iterator[Case]:
    statistics: dict[str, Callable[[Iterable[float]], float]] = {
        "mean": mean,
        "sd": standard_deviation,
        "autocorrelation_lag1": autocorrelation_lag1,
    }
    for name in ("lew", "lottery", "michelso", "numacc1", "numacc2", "numacc4"):
        path = f"nist_strd/{name}.csv"
        certified = figures(path)
        for figure, function in statistics.items():
            expected = certified[f"certified_{figure}"]
            relative = _PLAIN if figure == "mean" else _DEVIATION_DIGITS.get(name, _PLAIN)
            yield Case(
                f"strd.{name}/{figure}",
                f"{figure} of data set {name} [1]",
                f"{_STRD}, univariate, {name}",
                Status.PUBLISHED,
                expected,
                abs(expected) * relative,
                partial(_of_column, function, path, "y"),
            )


def _norris() -> Iterator[Case]:
    attributes = {
        "B0": "intercept",
        "sd_B0": "intercept_s",
        "B1": "slope",
        "sd_B1": "slope_s",
        "residual_sd": "residual_s",
        "r_squared": "r_squared",
    }
    certified = figures("nist_strd/norris.csv")
    for figure, attribute in attributes.items():
        expected = certified[f"certified_{figure}"]
        yield Case(
            f"strd.norris/{figure}",
            f"{figure} of a straight line through data set norris [1]",
            f"{_STRD}, linear regression, Norris",
            Status.PUBLISHED,
            expected,
            abs(expected) * 1e-11,  # the intercept is a small difference of large numbers
            partial(_of_norris, attribute),
        )


def _without_intercept() -> Iterator[Case]:
    """Yield the slopes of lines through zero: the share that binds is such a slope.

    A share is at most one, so the values of NoInt1 are counted in quarters, which changes no digit.
    """
    for name, part in (("noint1", 4), ("noint2", 1)):
        path = f"nist_strd/{name}.csv"
        expected = figures(path)["certified_B1"]
        yield Case(
            f"strd.{name}/B1",
            f"slope of a line through zero through data set {name} [1]",
            f"{_STRD}, linear regression, {name}",
            Status.PUBLISHED,
            expected,
            expected * _PLAIN,
            partial(_slope_through_zero, path, part),
        )


def _slope_through_zero(path: str, part: int) -> float:
    pairs = zip(column(path, "x"), column(path, "y"), strict=True)
    additions = [Addition(0.0, added, added - bound / part) for added, bound in pairs]
    return part * learn_binding(additions).share


def _gear_scores() -> Iterator[Case]:
    sigma = partial(_of_column, standard_deviation, "qc/nist_gear.csv", "y")
    for position, row in enumerate(rows("qc/nist_gear.csv"), start=1):
        if row["z_printed"]:
            yield Case(
                f"z.gear/{position}",
                "z score of a gear diameter against 1 [1]",
                "NIST Dataplot reference manual, ISO 13528 ZSCORE",
                Status.PUBLISHED,
                float(row["z_printed"]),
                0.0016,  # the page was computed in single precision
                partial(_z, float(row["y"]), 1.0, sigma),
            )


def _lead_scores() -> Iterator[Case]:
    expected = {
        "KRISS": (-1.304, -2.663),
        "NMIJ": (-0.831, -1.662),
        "LGC": (0.086, 0.171),
        "LNE": (1.043, 2.087),
        "INM": (2.383, 4.765),
        "NIM": (0.444, 0.888),
    }
    source = "comparison CCQM-K30, lead in wine; scores worked out"
    for row in rows("qc/ccqm_k30_lead_in_wine.csv"):
        value, expanded, k = float(row["value"]), float(row["U"]), float(row["k"])
        en, zeta = expected[row["lab"]]
        find_en = partial(_en, value, expanded)
        find_zeta = partial(_zeta, value, expanded / k)
        name = f"scores.lead/{row['lab']}"
        yield Case(f"{name} En", "En of lead [1]", source, Status.COMPUTED, en, 0.001, find_en)
        yield Case(f"{name} zeta", "zeta of lead [1]", source, Status.COMPUTED, zeta, 0.001, find_zeta)


_LINE: Final = CalibrationLine(0.2817, 0.9767, 0.06826, 38)  # [µm] NIST/SEMATECH e-Handbook, 2.3.7.1


def _check_standards() -> Iterator[Case]:
    source = f"{_HANDBOOK}, 2.3.7.1"
    path = "qc/nist_linewidth_check.csv"
    yield Case(
        "check.linewidth/t",
        "t for three check standards together [1]",
        source,
        Status.COMPUTED,
        2.4976,
        0.0005,
        lambda: check_limit(_LINE) * _LINE.slope / _LINE.residual_s,
    )
    yield Case(
        "check.linewidth/limit",
        "limit of a check standard [µm]",
        source,
        Status.COMPUTED,
        0.17455,
        0.0005,
        lambda: check_limit(_LINE),
    )
    for position, row in enumerate(rows(path)):
        yield Case(
            f"check.linewidth/day {row['day']} {row['position']}",
            "control value of a check standard [µm]",
            source,
            Status.COMPUTED,
            float(row["control_value"]),
            0.000_051,
            partial(_check_value, path, position),
        )


def _of_column(function: Callable[[Iterable[float]], float], path: str, name: str) -> float:
    return function(column(path, name))


def _of_norris(attribute: str) -> float:
    path = "nist_strd/norris.csv"
    return float(attrgetter(attribute)(straight_line(column(path, "x"), column(path, "y"))))


def _z(value: float, assigned: float, sigma: Callable[[], float]) -> float:
    return z_score(value, assigned, sigma()).value


def _en(value: float, expanded: float) -> float:
    return en_score(value, expanded, _ASSIGNED, _EXPANDED).value


def _zeta(value: float, u: float) -> float:
    return zeta_score(value, u, _ASSIGNED, _U_ASSIGNED).value


def _check_value(path: str, position: int) -> float:
    found = check_values(_LINE, column(path, "y_read"), column(path, "x_known"))
    return float(found[position])
