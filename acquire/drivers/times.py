"""An instrument's own time, written in a declared form such as ``YYYY-MM-DD hh:mm:ss``.

Letters that stand for digits: YYYY or YY (of the years 2000 to 2099), MM, DD, hh, mm, ss. Everything else in
a form stands for itself.
"""

import re
from datetime import MINYEAR, datetime
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
_LETTERS: Final = re.compile("YYYY|YY|MM|DD|hh|mm|ss")
_WHOLE_DATE: Final = {"year", "month", "day"}
_UNSAID: Final = {"year": MINYEAR, "month": 1, "day": 1}
_CENTURY: Final = 2000  # a year of two digits is one of this century [a]


class TimeForm:
    """Read times of one form into ISO 8601 without an offset, as far as they were sent.

    Raises `ValueError` if the form names a part twice, only part of a date, or seconds without minutes.
    """

    def __init__(self, form: str) -> None:
        self.form = form
        self._names = [_PARTS[letters] for letters in _LETTERS.findall(form)]
        self.has_date = set(self._names) >= _WHOLE_DATE
        self.has_time = {"hour", "minute"} <= set(self._names)
        self._check()
        pieces = _LETTERS.split(form)
        widths = [f"([0-9]{{{len(letters)}}})" for letters in _LETTERS.findall(form)] + [""]
        self._match = re.compile(
            "".join(re.escape(piece) + width for piece, width in zip(pieces, widths, strict=True))
        ).fullmatch

    def read(self, text: str) -> str:
        """Return a date, a time of day, or both joined by ``T``; refuse another form and impossible times."""
        match = self._match(text)
        if match is None:
            raise Refusal(WRONG_TIME, f"wanted a time like {self.form}, got {shown(text)}")
        said = dict(zip(self._names, map(int, match.groups()), strict=True))
        if said.get("year", _CENTURY) < 100:
            said["year"] += _CENTURY
        try:
            moment = datetime(**{**_UNSAID, **said})  # type: ignore[arg-type] # noqa: DTZ001 - the zone is unsaid
        except ValueError as error:
            raise Refusal(WRONG_TIME, f"{shown(text)} is no time: {error}") from None
        return self._written(moment)

    def _written(self, moment: datetime) -> str:
        if not self.has_time:
            return moment.date().isoformat()
        precision = "seconds" if "second" in self._names else "minutes"
        return (moment if self.has_date else moment.time()).isoformat(timespec=precision)

    def _check(self) -> None:
        names = set(self._names)
        if len(names) != len(self._names):
            raise ValueError(f"the time form {self.form!r} names a part twice")
        if not (self.has_date or self.has_time) or (names & _WHOLE_DATE and not self.has_date):
            raise ValueError(
                f"the time form {self.form!r} must name YYYY, MM and DD, or hh and mm, or all of them"
            )
        if names & {"hour", "minute", "second"} and not self.has_time:
            raise ValueError(f"the time form {self.form!r} must name hh and mm")
