"""Limit sets: limits with their origin, version and first day; never changed, only followed by a new one."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, NamedTuple

from evaluate.control_charts import Limits
from evaluate.errors import ContradictionError
from evaluate.rule_sets import rule_set

Origin = Literal["assigned", "mean", "estimated", "target", "given"]


class Exclusion(NamedTuple):
    """A control value left out of the estimate, and why; being outside the limits is no reason."""

    value_id: str
    reason: str


@dataclass(frozen=True, slots=True)
class LimitSet:
    """What control values of one material and lot are judged by, from one moment on."""

    version: int
    limits: Limits
    centre_origin: Origin
    s_origin: Origin
    rule_set: str
    """Name of the rules, such as ``nordtest``; every verdict carries it."""
    valid_from_us: int
    """First moment at which values are judged by it. [µs since 1970-01-01 UTC]"""
    set_by: str
    reason: str
    value_ids: tuple[str, ...] = ()
    """The control values the limits were estimated from."""
    exclusions: tuple[Exclusion, ...] = ()

    def __post_init__(self) -> None:
        rule_set(self.rule_set)
        if self.version < 1:
            raise ContradictionError(
                f"a limit set's version counts from 1, not {self.version}", name="version"
            )
        if not self.set_by.strip() or not self.reason.strip():
            raise ContradictionError("a limit set needs who set it and why", name="reason")
        if any(not exclusion.reason.strip() for exclusion in self.exclusions):
            raise ContradictionError("an excluded control value needs a reason", name="exclusions")
        _estimate_fits(self)

    def followed_by(
        self, *, limits: Limits, valid_from_us: int, set_by: str, reason: str, value_ids: tuple[str, ...] = ()
    ) -> "LimitSet":
        """Return the next version with new limits; the present one stays what it is.

        Raises
        ------
        ContradictionError
            If the new set would begin before or together with the present one.
        """
        if valid_from_us <= self.valid_from_us:
            raise ContradictionError(
                f"version {self.version + 1} must begin after version {self.version}: "
                f"{valid_from_us} is not after {self.valid_from_us}",
                name="valid_from_us",
                value=valid_from_us,
            )
        return replace(
            self,
            version=self.version + 1,
            limits=limits,
            valid_from_us=valid_from_us,
            set_by=set_by,
            reason=reason,
            value_ids=value_ids,
            exclusions=(),
        )


def limit_set_in_force(limit_sets: Iterable[LimitSet], at_us: int) -> LimitSet | None:
    """Return the limit set by which a value of that moment is judged.

    Parameters
    ----------
    limit_sets : iterable of LimitSet
        The versions for one control material and lot, in any order.
    at_us : int
        When the control value was made. [µs since 1970-01-01 UTC]

    Returns
    -------
    LimitSet or None
        The latest that was valid by then; None before the first, and the value is then not evaluated.

    Raises
    ------
    ContradictionError
        If two of them have one version or begin at the same moment.

    Notes
    -----
    A set is valid from its first moment on, that moment included, until the next begins. Later sets do not
    re-judge earlier values.

    References
    ----------
    .. [1] ISO/IEC 17025:2017, 7.7.1, monitoring against preset criteria. The rule itself is a choice of this
       program.
    """
    known = sorted(limit_sets, key=lambda each: each.valid_from_us)
    for earlier, later in pairwise(known):
        if earlier.valid_from_us == later.valid_from_us or earlier.version >= later.version:
            raise ContradictionError(
                f"limit sets of versions {earlier.version} and {later.version} contradict each other: "
                "a later version must begin later",
                name="limit_sets",
            )
    valid = [each for each in known if each.valid_from_us <= at_us]
    return valid[-1] if valid else None


def _estimate_fits(limit_set: LimitSet) -> None:
    count, ids = limit_set.limits.count, limit_set.value_ids
    if count is not None and len(set(ids)) != count:
        raise ContradictionError(
            f"limits estimated from {count} values name {len(set(ids))} of them; name each value once",
            name="value_ids",
        )
