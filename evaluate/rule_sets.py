"""Judges control values by a named set of rules."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

from evaluate.checks import all_in_range
from evaluate.errors import OutOfRangeError
from evaluate.rule_definitions import Rule, RuleSet, Verdict, rule, rule_set, rule_sets
from evaluate.series import MAGNITUDE_LIMIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Hit", "Judgement", "Rule", "RuleSet", "Verdict", "judge", "rule", "rule_set", "rule_sets"]

_ASKED: Final = {verdict: rank for rank, verdict in enumerate(Verdict)}  # the gravest stands last
_SIDE_S: Final = 2.0  # [s] two controls of one run beyond it on the same, or on opposite sides; Westgard 1981
_RUN_RANGE_S: Final = 4.0  # [s] greatest span of the controls of one run; Westgard 1981, second form in use


class Hit(NamedTuple):
    """A rule that was complete at one position."""

    rule: Rule
    position: int
    """Position of the run in the series, counted from 0."""
    level: int | None
    """Which control of the run, counted from 0; None where several together completed the rule."""
    looked_at: tuple[int, ...]
    """Positions of the runs the rule looked at, the present one last."""


class Judgement(NamedTuple):
    """What a rule set says of one run."""

    verdict: Verdict
    hits: tuple[Hit, ...]
    rule_set: str


def judge(scores: "ArrayLike", rules: str | RuleSet = "nordtest") -> tuple[Judgement, ...]:
    """Return the verdict on every run of a series of controls.

    Parameters
    ----------
    scores : array_like of float, shape (n,) or (n, levels)
        Standard scores in time order, from `standard_scores`; one control a run, or one column a level. nan
        stands for a missing value and is skipped. The series begins with its limit set and control lot. [1]
    rules : str or RuleSet
        Name of a set of `rule_sets`, or a set made for the occasion.

    Returns
    -------
    tuple of Judgement, length n
        The gravest verdict of the rules complete at each run, with every rule that was; a run without any
        value is not evaluated.

    Raises
    ------
    OutOfRangeError
        If a score is infinite, or `scores` has more than two dimensions.
    UnknownNameError
        If no set has this name.

    Notes
    -----
    "Beyond" is strict; 0 lies on neither side. A rule is complete at the value that completes it, which must
    belong to the pattern; later values neither clear nor repeat it unless they complete it anew. Rules for
    one control are applied to each level by itself.

    References
    ----------
    .. [1] The source and status of each set stand in `RuleSet.source`. Published, or recalled where it says
           so.
    """
    chosen = rules if isinstance(rules, RuleSet) else rule_set(rules)
    table = _table(scores)
    hits: list[list[Hit]] = [[] for _ in range(len(table))]
    for each in chosen.rules:
        for hit in _hits(each, table):
            hits[hit.position].append(hit)
    quiet = Judgement(Verdict.PASS, (), chosen.name)
    missing = Judgement(Verdict.NOT_EVALUATED, (), chosen.name)
    evaluated: list[int] = _present(table).sum(axis=1).tolist()  # how many levels of each run have a value
    return tuple(
        _with_hits(of_run, chosen.name) if of_run else quiet if seen else missing
        for seen, of_run in zip(evaluated, hits, strict=True)
    )


def _table(scores: "ArrayLike") -> "NDArray[np.float64]":
    import numpy as np

    table = np.asarray(scores, dtype=np.float64)
    if table.ndim not in (1, 2):
        raise OutOfRangeError(
            f"scores must be one row, or one column a level, not {table.ndim} dimensions",
            name="scores",
            value=table.ndim,
        )
    all_in_range("scores", table[~np.isnan(table)], -MAGNITUDE_LIMIT, MAGNITUDE_LIMIT)
    return table.reshape(len(table), -1) if table.size else np.empty((len(table), 1))


def _present(table: "NDArray[np.float64]") -> "NDArray[np.bool_]":
    import numpy as np

    return np.logical_not(np.isnan(table))


def _with_hits(hits: list[Hit], rule_set_name: str) -> Judgement:
    gravest = max((hit.rule.verdict for hit in hits), key=_ASKED.__getitem__)
    return Judgement(gravest, tuple(hits), rule_set_name)


def _hits(of: Rule, table: "NDArray[np.float64]") -> Iterator[Hit]:
    levels = table.shape[1]
    for level in range(levels):
        yield from _hits_along(of, table[:, level : level + 1], level)
    if of.across and levels >= 2:
        yield from _once_a_run(_hits_along(of, table, None))
    if of.within_run != "none":
        for position in _within_run(of, table).nonzero()[0].tolist():
            yield Hit(of, position, None, (position,))


def _hits_along(of: Rule, table: "NDArray[np.float64]", level: int | None) -> Iterator[Hit]:
    """Yield the hits along the values of a table in the order they were made, run by run."""
    if of.pattern is None:
        return
    runs, columns = _present(table).nonzero()
    for index in of.pattern(table[runs, columns]).nonzero()[0].tolist():
        looked_at = runs[max(0, index + 1 - of.span) : index + 1].tolist()
        yield Hit(of, looked_at[-1], level, tuple(dict.fromkeys(looked_at)))


def _once_a_run(hits: Iterator[Hit]) -> Iterator[Hit]:
    yield from {hit.position: hit for hit in hits}.values()


def _within_run(of: Rule, table: "NDArray[np.float64]") -> "NDArray[np.bool_]":
    """Tell for each run whether its controls, compared with each other, complete the rule; nan never does."""
    import numpy as np

    high, low = (table > _SIDE_S).sum(axis=1), (table < -_SIDE_S).sum(axis=1)
    if of.within_run == "two beyond":
        return np.asarray((high >= 2) | (low >= 2))
    if of.within_run == "both sides":
        return np.asarray((high > 0) & (low > 0))
    highest, lowest = np.fmax.reduce(table, axis=1), np.fmin.reduce(table, axis=1)
    return np.asarray(highest - lowest > _RUN_RANGE_S)
