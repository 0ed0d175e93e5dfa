"""Published figures of control charts: constants, limits, drift charts, rules."""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import chain
from operator import attrgetter
from typing import Final

from evaluate.control_charts import Limits, standard_scores
from evaluate.control_charts_drift import CusumChart, cusum_chart, ewma_chart
from evaluate.control_charts_ranges import GroupLimits, MovingRangeLimits, group_limits, moving_range_limits
from evaluate.rule_sets import RuleSet, judge, rule
from evaluate.statistics import mean, standard_deviation
from tundish.selftest.case import Case, Status
from tundish.selftest.tables import rows

_HANDBOOK: Final = "NIST/SEMATECH e-Handbook of Statistical Methods"
_INTRODUCTION: Final = "D. C. Montgomery, Introduction to Statistical Quality Control"
_PRINTED_D2: Final = 1.128  # [1] as the printed examples round it


def cases() -> Iterator[Case]:
    """Yield every published figure of control charts."""
    return chain(
        _flow_rate(),
        _individuals(),
        _vane_opening(),
        _piston_rings(),
        _ewma(),
        _cusum(),
        _one_control_exercise(),
        _milk_powder(),
    )


def _flow_rate() -> Iterator[Case]:
    source = f"{_HANDBOOK}, 6.3.2.2"
    limits = partial(_moving, "qc/nist_flow_rate.csv", 10)
    yield from _moving_cases(
        "charts.flow_rate",
        source,
        limits,
        {
            "centre": (50.81, 0.0001),
            "mean_moving_range": (1.8778, 0.0001),
            "high": (55.8041, 0.0002),
            "low": (45.8159, 0.0002),
        },
    )
    yield Case(
        "charts.flow_rate/beyond",
        "batches beyond the limits [1]",
        source,
        Status.PUBLISHED,
        0.0,
        0.0,
        lambda: len(_beyond("qc/nist_flow_rate.csv", limits())),
    )


def _individuals() -> Iterator[Case]:
    source = f"{_INTRODUCTION}, individuals chart, as stored with a public package"
    path = "qc/montgomery_individuals.csv"
    limits = partial(_moving, path, 20)
    yield from _moving_cases(
        "charts.individuals",
        source,
        limits,
        {
            "centre": (300.5, 0.0001),
            "mean_moving_range": (7.789474, 0.000001),
            "high": (321.2167, 0.001),
            "low": (279.7833, 0.001),
            "range_high": (25.448, 0.01),
        },
    )
    for position, week in enumerate((39, 40)):
        yield Case(
            f"charts.individuals/beyond {position + 1}",
            "week beyond the limits of the first twenty [1]",
            source,
            Status.PUBLISHED if week == 40 else Status.COMPUTED,
            week,
            0.0,
            partial(_week_beyond, path, position, limits),
        )


def _vane_opening() -> Iterator[Case]:
    source = (
        "D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, 3rd ed., p. 612"
    )
    by_range = partial(group_limits, 33.32, 5.80, 5, spread="range")
    by_deviation = partial(group_limits, 33.32, 2.345, 5, spread="deviation")
    for attribute, printed in (("high", 36.67), ("low", 29.97), ("spread_high", 12.27)):
        yield _group_case("charts.vane_range", source, by_range, (attribute, printed, 0.01))
    yield _group_case("charts.vane_deviation", source, by_deviation, ("spread_high", 4.899, 0.001))


def _piston_rings() -> Iterator[Case]:
    early = f"{_INTRODUCTION}, 2nd ed., data and limits as printed by a public package"
    late = f"{_INTRODUCTION}, example 6.3, results as stored with a public package"
    warning = partial(_piston_limits, ("x1", "x2", "x3", "x4", "x5"), "range", 2.0)
    action = partial(_piston_limits, ("x1m", "x2", "x3m", "x4", "x5"), "deviation", 3.0)
    for source, attribute, printed, tolerance, find in (
        (early, "low", 73.99242, 0.00001, warning),
        (early, "high", 74.00993, 0.00001, warning),
        (late, "high", 74.014592, 0.000002, action),
        (late, "low", 73.987760, 0.000002, action),
        (late, "spread_high", 0.019636, 0.000001, action),
    ):
        edition = "early" if source is early else "late"
        yield _group_case(f"charts.piston_{edition}", source, find, (attribute, printed, tolerance))


def _ewma() -> Iterator[Case]:
    source = f"{_HANDBOOK}, 6.3.2.4"
    path = "qc/nist_ewma.csv"
    for position, row in enumerate(rows(path)):
        yield Case(
            f"charts.ewma/{row['t']}",
            "weighted average [1]",
            source,
            Status.PUBLISHED,
            float(row["ewma_printed"]),
            0.0051,
            partial(_ewma_figure, "averages", position),
        )
    for attribute, printed in (("low", 47.4115), ("high", 52.5884)):
        yield Case(
            f"charts.ewma/{attribute}",
            "limit of the average [1]",
            source,
            Status.PUBLISHED,
            printed,
            0.0002,
            partial(_ewma_figure, attribute, 0),
        )


def _cusum() -> Iterator[Case]:
    source = f"{_HANDBOOK}, 6.3.2.3"
    for position, row in enumerate(rows("qc/nist_cusum.csv")):
        for name, attribute in (("s_hi", "above"), ("s_lo", "below")):
            yield Case(
                f"charts.cusum/{name} {row['group']}",
                "cumulative sum [1]",
                source,
                Status.PUBLISHED,
                float(row[name]),
                0.0051,  # halves are printed rounded either way
                partial(_cusum_figure, attribute, position),
            )
    yield Case(
        "charts.cusum/first signal",
        "group of the first signal [1]",
        source,
        Status.PUBLISHED,
        14.0,
        0.0,
        lambda: _cusum_chart().signals[0] + 1,
    )


def _one_control_exercise() -> Iterator[Case]:
    for row in rows("qc/westgard_one_control.csv"):
        if row["published_rule"]:
            yield Case(
                f"rules.exercise/{row['published_rule']} from {row['index']}",
                "value that completes the rule [1]",
                "S. Westgard, Break All the Rules, answers to part one, 2015",
                Status.PUBLISHED,
                float(row["completes_at"]),
                0.0,
                partial(_completed, row["published_rule"], int(row["index"])),
            )


def _milk_powder() -> Iterator[Case]:
    values = [2.9, 3.2, 3.6, 4.3, 3.8, 3.5, 3.0, 3.1, 3.6, 3.5]  # [%] moisture
    yield from _moving_cases(
        "charts.milk_powder",
        "ISO 8258:1991, moisture of skim milk powder, from memory",
        lambda: moving_range_limits(values, d2=_PRINTED_D2),
        {"high": (4.46, 0.01), "low": (2.44, 0.01), "range_high": (1.24, 0.01)},
        Status.MEMORY,
    )


def _moving_cases(
    table: str,
    source: str,
    limits: Callable[[], MovingRangeLimits],
    printed: dict[str, tuple[float, float]],
    status: Status = Status.PUBLISHED,
) -> Iterator[Case]:
    for attribute, (expected, tolerance) in printed.items():
        what = f"{attribute} of a chart of single values [unit of the values]"
        yield Case(
            f"{table}/{attribute}",
            what,
            source,
            status,
            expected,
            tolerance,
            partial(_get, limits, attribute),
        )


def _group_case(
    table: str, source: str, limits: Callable[[], GroupLimits], figure: tuple[str, float, float]
) -> Case:
    attribute, printed, tolerance = figure
    return Case(
        f"{table}/{attribute}",
        f"{attribute} limit of group means or their spread [unit of the values]",
        source,
        Status.PUBLISHED,
        printed,
        tolerance,
        partial(_get, limits, attribute),
    )


def _get(find: Callable[[], object], attribute: str) -> float:
    return float(attrgetter(attribute)(find()))


def _values(path: str) -> list[float]:
    return [float(row["x"]) for row in rows(path)]


def _moving(path: str, count: int) -> MovingRangeLimits:
    return moving_range_limits(_values(path)[:count], d2=_PRINTED_D2)


def _beyond(path: str, limits: MovingRangeLimits) -> list[int]:
    values = _values(path)
    return [n for n, value in enumerate(values, start=1) if not limits.low <= value <= limits.high]


def _week_beyond(path: str, position: int, limits: Callable[[], MovingRangeLimits]) -> float:
    return _beyond(path, limits())[position]


def _piston_limits(columns: tuple[str, ...], spread: str, width_s: float) -> GroupLimits:
    groups = [[float(row[name]) for name in columns] for row in rows("qc/piston_rings.csv")[:25]]
    centre = mean(map(mean, groups))
    if spread == "range":
        size = mean(max(group) - min(group) for group in groups)
        return group_limits(centre, size, len(columns), spread="range", width_s=width_s)
    size = mean(map(standard_deviation, groups))
    return group_limits(centre, size, len(columns), spread="deviation", width_s=width_s)


def _ewma_figure(attribute: str, position: int) -> float:
    chart = ewma_chart(_values("qc/nist_ewma.csv"), 50.0, 2.0539, weight=0.3, width_s=3.0, steady=True)
    return float(attrgetter(attribute)(chart)[position])


def _cusum_figure(attribute: str, position: int) -> float:
    return float(attrgetter(attribute)(_cusum_chart())[position])


def _cusum_chart() -> CusumChart:
    return cusum_chart(_values("qc/nist_cusum.csv"), 325.0, slack=0.3175, decision=4.1959)


def _completed(rule_id: str, start: int) -> float:
    """Return the first position, counted from 1, at which a rule is complete that looked at `start`."""
    values = [float(row["value"]) for row in rows("qc/westgard_one_control.csv")]
    judged = judge(standard_scores(values, Limits(47.0, 3.0)), RuleSet("exercise", (rule(rule_id),)))
    hits = [hit for judgement in judged for hit in judgement.hits]
    return next(hit.position + 1 for hit in hits if start - 1 in hit.looked_at)
