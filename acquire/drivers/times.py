"""An instrument's own time, written in a declared form such as ``YYYY-MM-DD hh:mm:ss``.

Letters that stand for digits: YYYY or YY (of the years 2000 to 2099), MM, DD, hh, mm, ss. Everything else in
a form stands for itself.
"""

import re
from collections.abc import Callable
from datetime import date, datetime, time
from typing import Final

from acquire.drivers.refusal import Refusal, shown
from acquire.reasons import WRONG_TIME

_PARTS: Final = {
    "YYYY": "year",
    "YY": "year",
    "MM": "month",
    "DD": "day",
    "hh": "hour",
    "mm": "minute",
    "ss": "second",
}
_LETTERS: Final = re.compile("(YYYY|YY|MM|DD|hh|mm|ss)")
_DIGITS: Final = {"YYYY": "([0-9]{4})", "hh": "([01][0-9]|2[0-3])"}  # a day has no hour 24
_TWO_DIGITS: Final = "([0-9]{2})"
_DATE: Final = ("year", "month", "day")
_TIME: Final = ("hour", "minute", "second")
_CENTURY: Final = "20"  # before a year of two digits


class TimeForm:
    """Read times of one form into ISO 8601 without an offset, as far as they were sent.

    Raises `ValueError` if the form names a part twice, only part of a date, or seconds without minutes.
    """

    def __init__(self, form: str) -> None:
        self.form = form
        letters = _LETTERS.findall(form)
        names = [_PARTS[each] for each in letters]
        self.has_date = set(_DATE) <= set(names)
        self.has_time = {"hour", "minute"} <= set(names)
        _check(form, names)
        self._match = re.compile("".join(map(_piece_pattern, _LETTERS.split(form)))).fullmatch
        self._groups = [names.index(name) + 1 for name in (*_DATE, *_TIME) if name in names]
        self._iso = _iso_template(names, _CENTURY if "YY" in letters else "")
        self._parse = _parser(has_date=self.has_date, has_time=self.has_time)

    def read(self, text: str) -> str:
        """Return a date, a time of day, or both joined by ``T``; refuse other forms and impossible times."""
        match = self._match(text)
        if match is None:
            raise Refusal(WRONG_TIME, f"wanted a time like {self.form}, got {shown(text)}")
        iso = self._iso % match.group(*self._groups)
        try:
            self._parse(iso)
        except ValueError as error:
            raise Refusal(WRONG_TIME, f"{shown(text)} is no time: {error}") from None
        return iso


def _check(form: str, names: list[str]) -> None:
    said = set(names)
    if len(said) != len(names):
        raise ValueError(f"the time form {form!r} names a part twice")
    date_parts, time_parts = said & set(_DATE), said & set(_TIME)
    if date_parts and date_parts != set(_DATE):
        raise ValueError(f"the time form {form!r} must name YYYY, MM and DD, or none of them")
    if time_parts and not {"hour", "minute"} <= time_parts:
        raise ValueError(f"the time form {form!r} must name hh and mm, or no time of day")
    if not said:
        raise ValueError(f"the time form {form!r} must name a date (YYYY, MM, DD) or a time of day (hh, mm)")


def _piece_pattern(piece: str) -> str:
    return _DIGITS.get(piece, _TWO_DIGITS) if piece in _PARTS else re.escape(piece)


def _iso_template(names: list[str], century: str) -> str:
    """Return the ISO form with ``%s`` for each part that is said."""
    said_date = century + "-".join(["%s"] * len(set(_DATE) & set(names)))
    said_time = ":".join(["%s"] * len(set(_TIME) & set(names)))
    return "T".join(part for part in (said_date, said_time) if part)


def _parser(*, has_date: bool, has_time: bool) -> Callable[[str], object]:
    """Return what raises `ValueError` for a date or time that does not exist."""
    if not has_date:
        return time.fromisoformat
    return datetime.fromisoformat if has_time else date.fromisoformat
