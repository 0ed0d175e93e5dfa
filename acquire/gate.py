"""Nothing of another instrument is taken: the gate between what a driver reads and what is kept as read.

After many messages in a row that do not fit, what fits by chance is no measurement of ours. The gate closes,
and opens again only when several messages in a row fit. Bytes are kept all the same.
"""

from collections.abc import Sequence
from typing import Final

from acquire.events import Event, FrameRead, FrameRefused
from acquire.reasons import (
    NOT_A_NUMBER,
    NOT_TEXT,
    OUT_OF_FRAME,
    PLAIN_WORDS,
    TOO_LONG,
    UNKNOWN_UNIT,
    UNRECOGNISED,
    WRONG_CHECK,
    WRONG_LAYOUT,
)

STRANGE_AFTER: Final = 20
"""Messages in a row that do not fit the driver, after which nothing more is taken."""
FITS_AFTER: Final = 3
"""Messages in a row that fit, after which they are taken again."""
STRANGE: Final = frozenset(
    {NOT_A_NUMBER, NOT_TEXT, OUT_OF_FRAME, TOO_LONG, UNKNOWN_UNIT, WRONG_CHECK, WRONG_LAYOUT}
)
"""Refusals that another instrument on the line, or another speed, would bring with every message."""


class Gate:
    """Counts messages that do not fit; closed, it turns what was read into what is refused."""

    def __init__(self) -> None:
        self._strange = 0  # refusals since the last message that fits
        self._fits = 0  # messages that fit since the last refusal
        self.is_closed = False

    def sift(self, events: Sequence[Event]) -> list[Event]:
        """Return events as they may be kept; spans never change."""
        return [self._one(event) for event in events]

    def _one(self, event: Event) -> Event:
        if isinstance(event, FrameRead):
            self._strange = 0
            if self.is_closed:
                self._fits += 1
                if self._fits <= FITS_AFTER:
                    return FrameRefused(event.span, UNRECOGNISED, PLAIN_WORDS[UNRECOGNISED])
                self.is_closed = False
        elif isinstance(event, FrameRefused) and event.reason in STRANGE:
            self._fits = 0
            self._strange += 1
            self.is_closed = self.is_closed or self._strange >= STRANGE_AFTER
        return event
