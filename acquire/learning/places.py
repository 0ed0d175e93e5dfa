"""Columns at fixed places, found in texts of one width."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any, Final

from acquire.learning.answers import Answers
from acquire.learning.layouts import FieldDraft, LayoutDraft, explained_share
from acquire.learning.moments import time_form_of
from acquire.learning.record_study import RecordStudy
from acquire.learning.report import Claim, succession
from acquire.learning.rows import with_answer
from acquire.learning.spelling import NumberReader, spelling_of
from acquire.learning.texts import FieldTexts
from acquire.learning.vocabulary import Vocabulary

LEAST_SHARE: Final = 0.6  # of the texts that have the usual width
BLANK_SHARE: Final = 0.99  # of the rows in which a place between columns is blank
LEAST_ROWS: Final = 4
MOST_MARKS: Final = 8
_NUMBER: Final = re.compile(r" *[+\-−]? *[0-9]+[.,][0-9]")
Place = tuple[int, int]
"""First character and the one behind the last, counted from 0."""


def place_layouts(texts: Sequence[str], answers: Answers, row_end: str = "") -> Iterator[LayoutDraft]:
    """Yield a layout of fixed columns if nearly all texts have one width; blanks at their ends count."""
    widths = Counter(map(len, texts))
    if len(texts) < LEAST_ROWS:
        return
    width, count = widths.most_common(1)[0]
    if count >= LEAST_SHARE * len(texts) and width > 3:
        rows = [text for text in texts if len(text) == width]
        yield _layout(rows, width, len(texts), answers, row_end, trimmed=False)
    elif max(widths) <= 200 and len(widths) <= 0.5 * len(texts):
        width = max(widths)
        rows = [text.ljust(width) for text in texts]
        yield _layout(rows, width, len(texts), answers, row_end, trimmed=True)


def _layout(
    rows: list[str], width: int, total: int, answers: Answers, row_end: str, *, trimmed: bool
) -> LayoutDraft:
    kinds = _kinds(rows)
    places = [_times_joined(found, _places_of(found)) for _, found in kinds]
    cells = [[_cells(found, place) for place in one] for (_, found), one in zip(kinds, places, strict=True)]
    texts = [text for kind in cells for column in kind if time_form_of(column) is None for text in column]
    spelling, _, claim = spelling_of(texts)
    spelling = with_answer(spelling, answers)
    words = Vocabulary(answers)
    table: dict[str, Any] = {"width": width}
    table |= {"trimmed": True} if trimmed else {}
    table |= {"rows": row_end} if row_end else {}
    draft = LayoutDraft("fixed", table, [], spelling, words, 0.0, [claim])
    shares = []
    for (mark, found), place, columns in zip(kinds, places, cells, strict=True):
        before = f"{mark} " if mark is not None and len(kinds) > 1 else ""
        names = [f"{before}characters {begin + 1} to {end}" for begin, end in place]
        fields = [FieldTexts(name, "", tuple(column)) for name, column in zip(names, columns, strict=True)]
        study = RecordStudy(
            fields, NumberReader(spelling), words, has_constants=True, mark_first=mark is not None
        )
        guesses = study.guesses()
        wide = _widened(place, columns, width)
        draft.records.append(
            [FieldDraft({"at": [b + 1, e]}, g) for (b, e), g in zip(wide, guesses, strict=True)]
        )
        shares.append((explained_share([one.texts for one in fields], guesses), len(found)))
    draft.explained = sum(share * count for share, count in shares) / (sum(count for _, count in shares) or 1)
    fitting = sum(len(found) for _, found in kinds)
    because = f"{fitting} of {total} messages are {width} characters wide"
    says = f"columns at fixed places, {width} characters wide"
    draft.claims.append(Claim("layout", says, succession(fitting, total), because))
    return draft


def _kinds(rows: list[str]) -> list[tuple[str | None, list[str]]]:
    """Return rows by the constant word in front, if there are few such words, and rows that have none."""
    firsts = Counter(row.split(" ", 1)[0] for row in rows)
    marks = {
        word
        for word, count in firsts.items()
        if count >= 2 and word and word[0].isalpha() and not any(map(str.isdigit, word))
    }
    covered = sum(firsts[word] for word in marks)
    if not marks or len(marks) > MOST_MARKS or covered < 0.9 * len(rows):
        return [(None, rows)]
    kinds = [(word, [row for row in rows if row.split(" ", 1)[0] == word]) for word in sorted(marks)]
    shapes = [tuple(_places_of(found)) for _, found in kinds]
    if len(kinds) > 1 and len(set(shapes)) == 1:
        return [(None, rows)]
    return [(word, found) for word, found in kinds]


def _places_of(rows: Sequence[str]) -> list[Place]:
    width = len(rows[0])
    blank = [sum(row[at] == " " for row in rows) >= BLANK_SHARE * len(rows) for at in range(width)]
    places: list[Place] = []
    begin: int | None = None
    for at, is_blank in enumerate([*blank, True]):
        if not is_blank and begin is None:
            begin = at
        elif is_blank and begin is not None:
            places += _parts(rows, (begin, at))
            begin = None
    return _signs_joined(rows, places)


def _parts(rows: Sequence[str], place: Place) -> list[Place]:
    """Split a place where letters that never change stand before what begins like a number with a point."""
    begin, end = place
    letters = [len({row[at] for row in rows}) == 1 and rows[0][at].isalpha() for at in range(begin, end)]
    cuts = []
    for at in range(begin, end):
        is_end = letters[at - begin] and at + 1 < end and not letters[at + 1 - begin]
        if is_end and _begin_numbers(rows, at + 1, end):
            first = at
            while first > begin and letters[first - 1 - begin]:
                first -= 1
            cuts += [first, at + 1]
    edges = sorted({begin, end, *cuts})
    return list(pairwise(edges))


def _begin_numbers(rows: Sequence[str], at: int, end: int) -> bool:
    """Tell whether numbers with a decimal mark begin at a place in nearly all rows."""
    fitting = sum(_NUMBER.match(row[at:end]) is not None for row in rows)
    return fitting >= 0.9 * len(rows) and all(row[at] in "+-−0123456789. " for row in rows)


def _signs_joined(rows: Sequence[str], places: list[Place]) -> list[Place]:
    """Join a place of signs with that of the digits behind it."""
    joined: list[Place] = []
    for place in places:
        if joined and joined[-1][1] - joined[-1][0] == 1:
            begin = joined[-1][0]
            if {row[begin] for row in rows} <= set("+- −") and any(
                row[slice(*place)].strip()[:1].isdigit() for row in rows
            ):
                joined[-1] = (begin, place[1])
                continue
        joined.append(place)
    return joined


def _times_joined(rows: Sequence[str], places: list[Place]) -> list[Place]:
    """Join neighbouring places that are a time together."""
    for size in (4, 3, 2):
        for at in range(len(places) - size + 1):
            whole = (places[at][0], places[at + size - 1][1])
            guess = time_form_of(_cells(rows, whole))
            if guess is not None and guess.has_date and guess.has_time:
                return [*places[:at], whole, *places[at + size :]]
    return places


def _cells(rows: Sequence[str], place: Place) -> list[str]:
    return [row[slice(*place)].strip() for row in rows]


def _widened(places: Sequence[Place], columns: Sequence[Sequence[str]], width: int) -> list[Place]:
    """Give the blanks between columns to those that may need them: numbers grow to the left, words behind."""
    numeric = [_is_numeric(column) for column in columns]
    wide = []
    for at, (begin, end) in enumerate(places):
        before = places[at - 1][1] if at else 0
        after = places[at + 1][0] if at + 1 < len(places) else width + 1
        if numeric[at]:
            beside_words = at > 0 and begin > before and not numeric[at - 1]
            wide.append((before + beside_words, end))
        elif at + 1 < len(places) and numeric[at + 1]:
            wide.append((begin, end))
        else:
            wide.append((begin, max(end, after - 1)))
    return wide


def _is_numeric(column: Sequence[str]) -> bool:
    return sum(text[-1:].isdigit() for text in column) > 0.5 * len(column)
