"""The zone of an instrument's clock: what its times lack to name a moment."""

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

_OFFSET: Final = re.compile("([+-])([01][0-9]):([0-5][0-9])")


class Zone:
    """Adds its offset to times that lack one. Raises `ValueError` if there is no such zone here."""

    def __init__(self, name: str) -> None:
        """Take ``UTC``, an offset such as ``+01:00``, or a name such as ``Europe/Paris``."""
        self._zone = _zone(name)

    def applied(self, iso: str) -> str:
        """Return a date and time with its offset.

        A time that the clock shows twice, or never, in the night in which it is changed stays without: it
        does not say which moment it means.
        """
        moment = datetime.fromisoformat(iso).replace(tzinfo=self._zone)
        offset = moment.utcoffset()
        if offset is None or offset != moment.replace(fold=1).utcoffset():
            return iso
        minutes = round(offset / timedelta(minutes=1))
        sign = "-" if minutes < 0 else "+"
        return f"{iso}{sign}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def zone_fault(name: str) -> str:
    """Return what is wrong with the name of a zone; empty if nothing is."""
    try:
        _zone(name)
    except ValueError as error:
        return str(error)
    return ""


def _zone(name: str) -> tzinfo:
    if name == "UTC":
        return UTC
    offset = _OFFSET.fullmatch(name)
    if offset is not None:
        minutes = 60 * int(offset[2]) + int(offset[3])
        return timezone(timedelta(minutes=-minutes if offset[1] == "-" else minutes))
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        known = "UTC, an offset such as +01:00, or a name such as Europe/Paris"
        raise ValueError(f"{name!r} is no zone that this machine knows; wanted {known}") from None
