"""Ask every rule, and leave out what a plainer hint already says."""

from typing import Final

from acquire.doctor.evidence import Evidence
from acquire.doctor.hints import Hint, Rule
from acquire.doctor.rules_bytes import RULES as OF_BYTES
from acquire.doctor.rules_line import RULES as OF_THE_LINE

RULES: Final[tuple[Rule, ...]] = OF_BYTES + OF_THE_LINE
"""The plainest first."""

_CAUSES_OF_REFUSALS: Final = frozenset(
    {"seven_even", "seven_odd", "two_bytes", "wrong_speed", "cr_only", "echo"}
)


def examine(evidence: Evidence) -> tuple[Hint, ...]:
    """Return the hints that the evidence speaks for, the plainest first."""
    hints = [hint for rule in RULES if (hint := rule.hint(evidence)) is not None]
    if _CAUSES_OF_REFUSALS.isdisjoint(hint.code for hint in hints):
        return tuple(hints)
    return tuple(hint for hint in hints if hint.code != "all_refused")
