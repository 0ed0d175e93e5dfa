"""Which results a failed check puts in doubt: the bracket between the checks that passed before and after.

Times are whole numbers that only have to be in order; the records and the people are not known here.
"""

from collections.abc import Collection, Iterable
from enum import StrEnum
from itertools import groupby
from typing import Final, NamedTuple

from evaluate.errors import ContradictionError
from evaluate.rule_definitions import Verdict

ONLY_A_PASS: Final = frozenset({Verdict.PASS})
IN_CONTROL: Final = frozenset({Verdict.PASS, Verdict.WARN, Verdict.REVIEW})


class Scope(NamedTuple):
    """What a check speaks for: a method on an instrument, and a titrant lot where the check uses it."""

    method: str
    instrument: str
    titrant_lot: str | None = None
    """None when the check does not depend on the titrant: it then speaks for every lot."""

    def covers(self, result: "Scope") -> bool:
        """Tell whether a check of this scope speaks for a result of that scope."""
        same_lot = self.titrant_lot is None or self.titrant_lot == result.titrant_lot
        return same_lot and (self.method, self.instrument) == (result.method, result.instrument)


class Check(NamedTuple):
    """One verdict on one scope."""

    at_us: int
    """[µs since 1970-01-01 UTC]"""
    verdict: Verdict


class CheckState(StrEnum):
    """What the checks of its scope say of a result."""

    UNCHECKED = "no check passed before it"
    """Provisional: nothing says yet that the method was in control."""
    COVERED = "a check passed before it"
    """In control when it was measured; the next check has not come yet."""
    CONFIRMED = "checks passed before and after it"
    IN_DOUBT = "a check failed beside it"
    """Held: it lies in a bracket, open or closed."""


class Bracket(NamedTuple):
    """The time in which results are in doubt; both ends lie outside it."""

    after_us: int | None
    """The last check that passed before; None when none ever did. [µs]"""
    before_us: int | None
    """The next check that passed; None while none has. [µs]"""
    failed_us: tuple[int, ...]
    """The checks that failed inside. [µs]"""

    @property
    def is_open(self) -> bool:
        """Whether no check has passed since: new results go on falling into it."""
        return self.before_us is None

    def holds(self, at_us: int) -> bool:
        """Tell whether a result of that moment is in doubt."""
        after = self.after_us is None or at_us > self.after_us
        return after and (self.before_us is None or at_us < self.before_us)

    def narrowed(self, *, after_us: int | None = None, before_us: int | None = None) -> "Bracket":
        """Return the part of the bracket to which a found cause confines the doubt.

        Raises
        ------
        ContradictionError
            If an end would lie outside the bracket, or nothing would be left.
        """
        after = self.after_us if after_us is None else after_us
        before = self.before_us if before_us is None else before_us
        if _earlier(after, self.after_us) or _later(before, self.before_us):
            raise ContradictionError("a bracket can only be narrowed; a wider doubt needs a hold of its own")
        if after is not None and before is not None and after >= before:
            raise ContradictionError(
                f"nothing is left between {after} and {before}; release the results instead", name="after_us"
            )
        return self._replace(after_us=after, before_us=before)


def brackets(checks: Iterable[Check], *, clears: Collection[Verdict] = ONLY_A_PASS) -> tuple[Bracket, ...]:
    """Return the brackets that the failed checks of one scope open.

    Parameters
    ----------
    checks : iterable of Check
        Every check of the scope, in any order. [µs]
    clears : collection of Verdict
        The verdicts that end a doubt: only a pass by default, `IN_CONTROL` to let warnings and reviews end
        it too.

    Returns
    -------
    tuple of Bracket
        In time order, without overlap; failures with no pass between them share one. [µs]

    Raises
    ------
    ContradictionError
        If a failure is among the verdicts that should clear, or no verdict is.

    Notes
    -----
    A failure puts in doubt what was measured after the last pass and before the next. A pass afterwards
    closes the bracket to the front; what lies behind it stays in doubt until a person decides. A check that
    was not evaluated never counts as a pass. Of checks at one moment a failure outweighs a pass.

    References
    ----------
    .. [1] ISO/IEC 17025:2017, 7.7.3 and 7.10, nonconforming work. Recalled. The bracket itself is common
           practice,
       no source.
    """
    if Verdict.FAIL in clears or Verdict.NOT_EVALUATED in clears or not clears:
        raise ContradictionError(
            "a failed or missing check cannot clear, and some verdict must", name="clears"
        )
    found: list[Bracket] = []
    passed_us: int | None = None
    failed: list[int] = []
    for at_us, verdicts in _by_moment(checks):
        if Verdict.FAIL in verdicts:
            failed.append(at_us)
        elif verdicts & set(clears):
            if failed:
                found.append(Bracket(passed_us, at_us, tuple(failed)))
            passed_us, failed = at_us, []
    if failed:
        found.append(Bracket(passed_us, None, tuple(failed)))
    return tuple(found)


def check_state(
    at_us: int, checks: Iterable[Check], *, clears: Collection[Verdict] = ONLY_A_PASS
) -> CheckState:
    """Return what the checks of one scope say of a result.

    Parameters
    ----------
    at_us : int
        When the result was measured. [µs]
    checks : iterable of Check
        Every check of the scope, in any order. [µs]
    clears : collection of Verdict
        The verdicts that count as passed, as for `brackets`.

    Returns
    -------
    CheckState
        In doubt if a bracket holds it; else by whether checks passed before and after.

    Raises
    ------
    ContradictionError
        If a failure is among the verdicts that should clear, or no verdict is.

    Notes
    -----
    A check at the very moment of the result counts as before it. A result in doubt stays so however many
    checks pass later: a person decides.

    References
    ----------
    .. [1] Follows from `brackets`; common practice, no source.
    """
    known = tuple(checks)
    if any(bracket.holds(at_us) for bracket in brackets(known, clears=clears)):
        return CheckState.IN_DOUBT
    passed = [check.at_us for check in known if check.verdict in clears]
    if not any(moment <= at_us for moment in passed):
        return CheckState.UNCHECKED
    return CheckState.CONFIRMED if any(moment > at_us for moment in passed) else CheckState.COVERED


def _by_moment(checks: Iterable[Check]) -> Iterable[tuple[int, set[Verdict]]]:
    ordered = sorted(checks, key=lambda check: check.at_us)
    for at_us, together in groupby(ordered, key=lambda check: check.at_us):
        yield at_us, {check.verdict for check in together}


def _earlier(end: int | None, bound: int | None) -> bool:
    return bound is not None and end is not None and end < bound


def _later(end: int | None, bound: int | None) -> bool:
    return bound is not None and end is not None and end > bound
