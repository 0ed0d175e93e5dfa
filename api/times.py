"""Times on the wire: RFC 3339 in UTC with microseconds; inside, integers of microseconds since 1970."""

from datetime import UTC, datetime, timedelta
from typing import Final

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)


def rfc3339(at_us: int) -> str:
    """Return a moment as text, such as ``2025-10-03T08:15:30.123456Z``. `at_us` since 1970 UTC. [µs]"""
    return (_EPOCH + timedelta(microseconds=at_us)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def parse_rfc3339(text: str) -> int:
    """Return the moment that a text with an offset names, since 1970 UTC. [µs]

    Raises
    ------
    ValueError
        If the text is no RFC 3339 time, or has no offset: a local time could mean any of 24 moments.
    """
    try:
        # A bare plus sign in an address arrives as a blank.
        moment = datetime.fromisoformat(text.strip().replace(" ", "+") if text.count("T") else text)
    except ValueError:
        raise ValueError(_wanted(text)) from None
    if moment.tzinfo is None:
        raise ValueError(_wanted(text))
    # Differences of aware times never leave the calendar; a turn into UTC would, beside its two ends.
    return (moment - _EPOCH) // _MICROSECOND


def _wanted(text: str) -> str:
    return (
        f"{text!r} is no time with an offset; "
        "write it like 2025-10-03T08:15:30Z or 2025-10-03T08:15:30%2B02:00"
    )


def age_in_words(age_us: int) -> str:
    """Return an age as people say it, such as ``4 min``. [µs]"""
    if age_us < 10_000_000:
        return "just now"
    return f"{duration_in_words(age_us)} ago"


def duration_in_words(length_us: int) -> str:
    """Return a length of time as people say it, such as ``12 min``. [µs]"""
    seconds = max(length_us, 0) // 1_000_000
    for limit, divisor, word in ((120, 1, "s"), (7200, 60, "min"), (172_800, 3600, "h")):
        if seconds < limit:
            return f"{seconds // divisor} {word}"
    return f"{seconds // 86_400} days"


def clock(at_us: int) -> str:
    """Return the time of day in UTC, to the second. [µs]"""
    return f"{_EPOCH + timedelta(microseconds=at_us):%H:%M:%S}"


def day_and_clock(at_us: int) -> str:
    """Return the day and the time of day in UTC, to the second. [µs]"""
    return f"{_EPOCH + timedelta(microseconds=at_us):%Y-%m-%d %H:%M:%S}"
