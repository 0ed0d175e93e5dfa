"""An instrument's own time, written in a declared form such as ``YYYY-MM-DD hh:mm:ss``.

Letters that stand for digits: YYYY or YY (of the years 2000 to 2099), MM, DD, hh, mm, ss; M, D, h for one or
two digits; f for a fraction of a second. MMM is an English month in three letters, MMMM its whole name, AP is
AM or PM. Text in single quotes and everything else in a form stand for themselves.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from typing import Final

from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_TIME

_PARTS: Final = {
    "YYYY": "year",
    "YY": "year",
    "MMMM": "month",
    "MMM": "month",
    "MM": "month",
    "M": "month",
    "DD": "day",
    "D": "day",
    "hh": "hour",
    "h": "hour",
    "mm": "minute",
    "ss": "second",
    "f": "fraction",
    "AP": "half",
}
_LETTERS: Final = re.compile("('[^']*'|YYYY|YY|MMMM|MMM|MM|M|DD|D|hh|h|mm|ss|AP|f)")
_MONTHS: Final = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_WHOLE_MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_ONE_OR_TWO_DIGITS: Final = "([0-9]{1,2})"
_TWO_DIGITS: Final = "([0-9]{2})"
_PATTERNS: Final = {
    "YYYY": "([0-9]{4})",
    "MMM": f"({'|'.join(_MONTHS)})",
    "MMMM": f"({'|'.join(_WHOLE_MONTHS)})",
    "M": _ONE_OR_TWO_DIGITS,
    "D": _ONE_OR_TWO_DIGITS,
    "h": _ONE_OR_TWO_DIGITS,
    "f": "([0-9]{1,6})",
    "AP": "(AM|PM)",
}
_DATE: Final = ("year", "month", "day")
_TIME: Final = ("hour", "minute", "second")
_CENTURY: Final = "20"  # before a year of two digits
_NOON: Final = 12  # hour at which the second half of a day begins


class TimeForm:
    """Read times of one form into ISO 8601 without an offset, as far as they were sent.

    Raises `ValueError` if the form names a part twice, only part of a date, or seconds without minutes.
    """

    def __init__(self, form: str) -> None:
        self.form = form
        pieces = [piece for piece in _LETTERS.split(form) if piece]
        letters = [piece for piece in pieces if piece in _PARTS]
        self._names = [_PARTS[each] for each in letters]
        self.has_date = set(_DATE) <= set(self._names)
        self.has_time = {"hour", "minute"} <= set(self._names)
        _check(form, self._names)
        self._match = re.compile("".join(map(_piece_pattern, pieces)), re.IGNORECASE).fullmatch
        self._century = _CENTURY if "YY" in letters else ""
        self._parse = _parser(has_date=self.has_date, has_time=self.has_time)

    def read(self, text: str) -> str:
        """Return a date, a time of day, or both joined by ``T``; refuse other forms and impossible times."""
        match = self._match(text)
        if match is None:
            raise Refusal(WRONG_TIME, f"wanted a time like {self.form}, got {shown(text)}")
        try:
            iso = _iso(dict(zip(self._names, match.groups(), strict=True)), self._century)
            self._parse(iso)
        except ValueError as error:
            raise Refusal(WRONG_TIME, f"{shown(text)} is no time: {error}") from None
        return iso


def _iso(parts: Mapping[str, str], century: str) -> str:
    """Return the ISO form of the parts that were sent; raises `ValueError` for an impossible hour."""
    said = []
    if "year" in parts:
        month = parts["month"]
        if not month.isdigit():
            month = str(_MONTHS.index(month[:3].upper()) + 1)
        said.append(f"{century}{parts['year']}-{month:0>2}-{parts['day']:0>2}")
    if "hour" in parts:
        clock = f"{_hour(parts['hour'], parts.get('half')):0>2}:{parts['minute']}"
        if "second" in parts:
            clock += f":{parts['second']}"
        if "fraction" in parts:
            clock += f".{parts['fraction']:0<6}"
        said.append(clock)
    return "T".join(said)


def _hour(text: str, half: str | None) -> str:
    if half is None:
        if text == "24":  # the parser takes it for the next day, but a day has no hour 24
            raise ValueError("a day has no hour 24")
        return text
    hour = int(text)
    if not 1 <= hour <= _NOON:
        raise ValueError(f"a half day has no hour {hour}")
    return str(hour % _NOON + (_NOON if half.upper() == "PM" else 0))


def _check(form: str, names: list[str]) -> None:
    said = set(names)
    if len(said) != len(names):
        raise ValueError(f"the time form {form!r} names a part twice")
    date_parts, time_parts = said & set(_DATE), said & set(_TIME)
    if date_parts and date_parts != set(_DATE):
        raise ValueError(f"the time form {form!r} must name YYYY, MM and DD, or none of them")
    if time_parts and not {"hour", "minute"} <= time_parts:
        raise ValueError(f"the time form {form!r} must name hh and mm, or no time of day")
    if not date_parts and not time_parts:
        raise ValueError(f"the time form {form!r} must name a date (YYYY, MM, DD) or a time of day (hh, mm)")
    if "half" in said and "hour" not in said:
        raise ValueError(f"the time form {form!r} names AP without hh")
    if "fraction" in said and "second" not in said:
        raise ValueError(f"the time form {form!r} names f without ss")


def _piece_pattern(piece: str) -> str:
    if piece in _PARTS:
        return _PATTERNS.get(piece, _TWO_DIGITS)
    return re.escape(piece.strip("'") if piece.startswith("'") else piece)


def _parser(*, has_date: bool, has_time: bool) -> Callable[[str], object]:
    """Return what raises `ValueError` for a date or time that does not exist."""
    if not has_date:
        return time.fromisoformat
    return datetime.fromisoformat if has_time else date.fromisoformat
