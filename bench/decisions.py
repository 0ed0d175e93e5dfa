"""What is decided by a result: whether a wine is in its band and within its limit, whether a number can be.

The what-if sheet asks the same of the old and of the new value, so that it can say which decision changes.
"""

from datetime import date
from typing import Final, NamedTuple

from sqlalchemy import Connection

from bench.kinds.cellar import Lot, Sample
from bench.kinds.laboratory import Method
from bench.lot_limits import limits_of, verdict_on
from bench.records import by_id, find
from bench.so2_state import day_of
from storage.queries.results import CurrentResult

SUFFIX: Final = "_so2"
"""Quantities that limits are told for end with it: total, free and combined SO2."""


class Decision(NamedTuple):
    """One thing that is decided by a value."""

    about: str
    words: str


class Change(NamedTuple):
    """A decision that falls otherwise by another value."""

    about: str
    before: str
    after: str


class Decider:
    """Tells what is decided by values of results; each lot and each method is read once."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._methods: dict[tuple[int, int], Method] = {}
        self._samples: dict[int, tuple[str, str | None]] = {}
        self._lots: dict[str, Lot] = {}

    def changes(self, of: CurrentResult, value: float, sample_id: int | None = None) -> list[Change]:
        """Return which decisions change if a result had another value, or belonged to another sample."""
        before = {} if of.value is None else dict(self.decisions(of, of.value, of.sample_id))
        after = dict(self.decisions(of, value, of.sample_id if sample_id is None else sample_id))
        return [
            Change(about, before.get(about, "not decided"), after.get(about, "not decided"))
            for about in {**before, **after}
            if before.get(about) != after.get(about)
        ]

    def decisions(self, of: CurrentResult, value: float, sample_id: int | None) -> list[Decision]:
        """Return what is decided by a value. [unit of the result]"""
        found = list(self._of_method(of, value))
        named = None if sample_id is None else self.lot_of(sample_id)
        if named is not None:
            code, lot = named
            found += [*_of_band(of, value, code, lot), *_of_limits(of, value, code, lot)]
        return found

    def method_of(self, of: CurrentResult) -> Method:
        """Return the method that a result was measured by."""
        key = (of.method_id, of.method_version)
        if key not in self._methods:
            self._methods[key] = by_id(self.connection, Method, *key).body
        return self._methods[key]

    def lot_of(self, sample_id: int) -> tuple[str, Lot] | None:
        """Return the code and the lot that a sample was drawn from; None if nobody said."""
        _, code = self._sample(sample_id)
        if code is None:
            return None
        if code not in self._lots:
            self._lots[code] = find(self.connection, Lot, code).body
        return code, self._lots[code]

    def code_of(self, sample_id: int | None) -> str | None:
        """Return the code of a sample."""
        return None if sample_id is None else self._sample(sample_id)[0]

    def _sample(self, sample_id: int) -> tuple[str, str | None]:
        """Return the code of a sample and that of its lot."""
        if sample_id not in self._samples:
            found = by_id(self.connection, Sample, sample_id)
            self._samples[sample_id] = found.code, found.body.lot
        return self._samples[sample_id]

    def _of_method(self, of: CurrentResult, value: float) -> list[Decision]:
        method = self.method_of(of)
        low, high = method.plausible_low, method.plausible_high
        found = []
        if low is not None or high is not None:
            words = "below" if low is not None and value < low else "inside"
            words = "above" if high is not None and value > high else words
            found.append(Decision("what its method holds plausible", words))
        if method.reporting_limit is not None:
            told = "told as less" if value < method.reporting_limit else "told as a number"
            found.append(Decision("reporting limit", told))
        return found


def _of_band(of: CurrentResult, value: float, code: str, lot: Lot) -> list[Decision]:
    low, high = lot.molecular_low_mg_l, lot.molecular_high_mg_l
    if of.quantity != "molecular_so2" or (low is None and high is None):
        return []
    if low is not None and value < low:
        return [Decision(f"band of {code}", "below: look what a dose would do")]
    above = high is not None and value > high
    return [Decision(f"band of {code}", "above: add none" if above else "inside")]


def _of_limits(of: CurrentResult, value: float, code: str, lot: Lot) -> list[Decision]:
    if not of.quantity.endswith(SUFFIX):
        return []
    kind = of.quantity.removesuffix(SUFFIX)
    found = []
    for row in limits_of(lot, _day(of)).apply:
        judged = verdict_on(row, value, of.uncertainty or 0.0) if row.kind.value == kind else None
        if judged is not None:
            found.append(Decision(f"limit of {code}, {row.limit_mg_per_l:g} mg/L", judged.verdict.value))
    return found


def _day(of: CurrentResult) -> date:
    return day_of(of.at_us)
