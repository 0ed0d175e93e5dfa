"""What is due at the bench: the known kinds, in the order of what it costs to leave them undone.

Pure: items in, the same items out in their order. Where they come from stands in `bench.due_list`.
"""

from collections.abc import Iterable
from types import MappingProxyType
from typing import Final, NamedTuple

DAY_US: Final = 86_400_000_000  # [µs]
HOUR_US: Final = 3_600_000_000  # [µs]


class DueKind(NamedTuple):
    """A kind of thing that is to be done."""

    words: str
    """What is the matter."""
    action: str
    """What to do now."""
    is_alert: bool = False
    """Whether numbers that people use are at stake: then it is an alert until somebody has seen it."""


DUE: Final = MappingProxyType(
    {
        "store.not_written": DueKind(
            "The store cannot be written.", "Free the disk or mend what is named.", is_alert=True
        ),
        "hold.open": DueKind(
            "Results lie in a hold that nobody settled.", "Repeat, narrow, accept or reject.", is_alert=True
        ),
        "calibration.failed": DueKind(
            "The last calibration failed.", "Find the cause and calibrate again.", is_alert=True
        ),
        "verification.failed": DueKind(
            "The last verification failed.", "Calibrate and verify again.", is_alert=True
        ),
        "standardisation.failed": DueKind(
            "The last standardisation failed.", "Standardise again with fresh standard.", is_alert=True
        ),
        "titrant.expired": DueKind(
            "A titrant in use is expired.",
            "Open a fresh bottle, or check its factor and accept with a reason.",
            is_alert=True,
        ),
        "line.not_open": DueKind(
            "An instrument is not heard.", "Look at its line: cable, power, settings.", is_alert=True
        ),
        "calibration.due": DueKind("There is no valid calibration.", "Calibrate before the next sample."),
        "verification.due": DueKind(
            "The calibration is not verified.", "Read an independent buffer before the next sample."
        ),
        "check.due": DueKind(
            "No check covers what is measured now.", "Run the check before the next sample."
        ),
        "standardisation.due": DueKind("A titrant is to be standardised.", "Standardise it."),
        "reagent.expired": DueKind("A reagent is expired.", "Put it away, or accept it with a reason."),
        "reading.untied": DueKind(
            "Readings belong to no sample.", "Tie each to its sample, or say that it belongs to none."
        ),
        "outside.unknown": DueKind(
            "Another laboratory told numbers under names that mean nothing here.",
            "Say which lot or sample each name is: enter an alias.",
        ),
        "result.retest": DueKind(
            "A number is not fit for use, and none has taken its place.",
            "Measure the sample again, or reject the number.",
        ),
        "result.review": DueKind(
            "Good results wait for a second person.", "Somebody who did not measure them releases them."
        ),
        "addition.open": DueKind(
            "An addition was planned and is not made.", "Weigh and add it, or cancel it."
        ),
        "addition.retest": DueKind(
            "A wine has settled after an addition and was not measured since.",
            "Draw a sample and measure free SO2.",
        ),
        "sample.waiting": DueKind("Samples wait on a tray.", "Measure them, or take them off."),
        "lot.unmeasured": DueKind(
            "Free SO2 of a finished wine was not measured for a month.", "Draw a sample and measure it."
        ),
        "calibration.soon": DueKind("A calibration runs out soon.", "Calibrate when the bench is free."),
        "check.soon": DueKind(
            "A check covers for a short time only.", "Run the check when the bench is free."
        ),
        "titrant.expiring": DueKind("A titrant expires soon.", "Prepare or order a fresh one."),
        "reagent.expiring": DueKind("A reagent expires soon.", "Order a fresh one."),
        "backup.due": DueKind("There is no fresh copy of the store.", "Make one with tundish backup."),
    }
)
"""Every kind, the gravest first: wrong numbers in use, then numbers that cannot be made, then the rest."""

_PLACE: Final = {code: place for place, code in enumerate(DUE)}


class DueItem(NamedTuple):
    """One thing that is to be done."""

    code: str
    """One of `DUE`."""
    subject: str
    """What it is about: a code of a record, an instrument, a number."""
    since_us: int
    """From when on it is, or will be, due; 0 for always. [µs]"""
    evidence: str
    """The figures and names, in words."""
    instance: str = ""
    """What tells this cause from an earlier one of the same subject."""

    @property
    def kind(self) -> DueKind:
        """What is the matter, and what to do."""
        return DUE[self.code]

    @property
    def key(self) -> str:
        """The same for as long as the same cause lasts, and for no other."""
        return f"{self.code}:{self.subject}:{self.instance or self.since_us}"


def ranked(items: Iterable[DueItem]) -> list[DueItem]:
    """Return items in the order in which they should be done: the gravest kind, then what is due longest.

    The order does not depend on that of the items, and nothing is left out.
    """
    return sorted(items, key=lambda one: (_PLACE[one.code], one.since_us, one.subject, one))


def is_now(item: DueItem, now_us: int) -> bool:
    """Tell whether an item is due at a moment, and not only soon. [µs]"""
    return item.since_us <= now_us


def alerts_of(items: Iterable[DueItem]) -> list[DueItem]:
    """Return the items that people should know of, ranked, each subject once with its gravest cause."""
    found: dict[str, DueItem] = {}
    for one in ranked(items):
        if one.kind.is_alert:
            found.setdefault(one.subject, one)
    return list(found.values())
