"""Rows of columns with a separator between them, found in the texts of messages."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from acquire.drivers.numbers import Spelling
from acquire.learning.answers import Answers
from acquire.learning.layouts import FieldDraft, LayoutDraft, explained_share
from acquire.learning.record_study import RecordStudy
from acquire.learning.report import Claim, succession
from acquire.learning.spelling import NumberReader, decimal_question, spelling_of
from acquire.learning.texts import FieldTexts, unit_code
from acquire.learning.vocabulary import Vocabulary
from acquire.learning.words import quantity_of_label

SEPARATORS: Final = (";", "\t", ",", "|", "/", ":", "#", "!", "&", "~", "^", "_", "=", "*", "$", "@")
MOST_MARKS: Final = 12  # kinds of rows
LEAST_ROWS: Final = 2  # of a kind
MOST_COLUMNS: Final = 60


@dataclass(frozen=True, slots=True)
class Cells:
    """Rows of one kind, taken apart."""

    mark: str | None
    """The text of their first column, if they are known by it."""
    rows: list[list[str]]

    def columns(self) -> list[tuple[str, ...]]:
        """Return them column by column."""
        return list(zip(*self.rows, strict=True))


def row_layouts(texts: Sequence[str], answers: Answers, row_end: str = "") -> Iterator[LayoutDraft]:
    """Yield a layout for each separator that could be one.

    Parameters
    ----------
    texts : sequence of str
        Of rows.
    answers : Answers
        What somebody said.
    row_end : str
        What ends each row in a frame of several, as a driver file says it; empty if a frame is a row.
    """
    texts = [text for text in texts if text.strip()]
    for separator in (*SEPARATORS, "  ", " "):
        split = [split_row(text, separator) for text in texts]
        width = Counter(len(row) for row in split).most_common(1)[0][0] if split else 0
        enough = sum(len(row) > 1 for row in split) >= 0.5 * len(split)
        if (width > 1 or len(set(map(len, split))) > 1) and width <= MOST_COLUMNS and enough:
            yield _layout(split, separator, answers, row_end)
    if texts and not row_end:
        yield _layout([[text.strip()] for text in texts], _unused(texts), answers, row_end)


def split_row(text: str, separator: str) -> list[str]:
    """Return the stripped columns of a row; blanks in a row are one separator."""
    if separator == " ":
        return text.split()
    if separator == "  ":
        return [cell for cell in re.split("  +", text.strip(" ")) if cell]
    if '"' in text:
        return _unquoted(text, separator)
    return [cell.strip() for cell in text.split(separator)]


def _unquoted(text: str, separator: str) -> list[str]:
    import csv

    try:
        (row,) = csv.reader([text.replace("\r", " ").replace("\n", " ")], delimiter=separator)
    except (csv.Error, ValueError):
        return [text]
    return [cell.strip() for cell in row]


def _unused(texts: Sequence[str]) -> str:
    """Return a separator that never comes, for rows of one column."""
    used = set("".join(texts[:200]))
    return next((one for one in (";", "|", "\t", "~") if one not in used), "\t")


def _layout(split: list[list[str]], separator: str, answers: Answers, row_end: str) -> LayoutDraft:
    blanks = not separator.strip(" ")
    trailing = not blanks and _is_trailing(split)
    rows = [row[:-1] for row in split if len(row) > 1 and not row[-1]] if trailing else split
    kinds = kinds_of_rows(rows)
    texts = [cell for cells in kinds for row in cells.rows for cell in row]
    spelling, unclear, claim = spelling_of(_but_times(kinds, texts), separator)
    spelling = with_answer(spelling, answers)
    words = Vocabulary(answers)
    table: dict[str, object] = {"separator": r"\t" if separator == "\t" else separator}
    table |= {"runs": True} if blanks else {}
    table |= {"trailing": True} if trailing else {}
    table |= {"quoted": True} if any('"' in cell for row in split for cell in row) else {}
    table |= {"rows": row_end} if row_end else {}
    draft = LayoutDraft("delimited", table, [], spelling, words, 0.0, [claim])
    if unclear and answers.decimal is None:
        draft.questions.append(decimal_question(spelling.decimal, [text for text in texts if "," in text]))
    shares = []
    for cells in kinds:
        fields = fields_of(cells, many=len(kinds) > 1)
        parted = _take_parted_units(cells, separator, words)
        study = RecordStudy(
            fields,
            NumberReader(spelling),
            words,
            has_constants=True,
            mark_first=cells.mark is not None,
            constants=parted,
        )
        guesses = study.guesses()
        draft.records.append([FieldDraft({}, guess) for guess in guesses])
        shares.append((explained_share([one.texts for one in fields], guesses), len(cells.rows)))
    draft.explained = sum(share * count for share, count in shares) / (sum(count for _, count in shares) or 1)
    draft.claims.append(_claim(kinds, separator, len(split)))
    return draft


def _take_parted_units(cells: Cells, separator: str, words: Vocabulary) -> list[int]:
    """Take units that hold the separator, as g/L between slashes; return where their second halves stand."""
    found = []
    for at, (column, behind) in enumerate(pairwise(cells.columns()), 1):
        rests = {match[1] for text in column if (match := _UNIT_BEHIND.search(text))}
        if len(rests) == 1 and len(set(behind)) == 1 and behind[0]:
            (rest,) = rests
            code = unit_code(f"{rest}{separator}{behind[0]}", words.answers)
            if code is not None:
                words.take_parted_unit(rest, code)
                found.append(at)
    return found


_UNIT_BEHIND: Final = re.compile(r"[0-9] *([A-Za-zµ°]+)$")


def with_answer(spelling: Spelling, answers: Answers) -> Spelling:
    """Return a spelling with the decimal mark that somebody said."""
    said = answers.decimal
    if said is None or said == spelling.decimal:
        return spelling
    thousands = (
        spelling.decimal if not spelling.thousands or spelling.thousands == said else spelling.thousands
    )
    return Spelling(said, thousands, spelling.exponent, spelling.sign_apart, spelling.bare_point)


def _but_times(kinds: Sequence[Cells], texts: list[str]) -> list[str]:
    """Leave out columns of times, whose marks are no decimal marks."""
    from acquire.learning.moments import time_form_of

    columns = [column for cells in kinds for column in cells.columns()]
    timed = {id(column) for column in columns if time_form_of(column) is not None}
    return [text for column in columns if id(column) not in timed for text in column] if timed else texts


def _is_trailing(split: list[list[str]]) -> bool:
    return sum(len(row) > 1 and not row[-1] for row in split) >= 0.98 * len(split)


def kinds_of_rows(rows: list[list[str]]) -> list[Cells]:
    """Return the kinds of rows: those that begin with a constant each, and the one kind of all others."""
    marked = _marked(rows)
    rest = [row for row in rows if row[0] not in marked]
    kinds = [Cells(mark, _of_usual_width(found)) for mark, found in marked.items()]
    if rest and (not marked or len(rest) >= max(LEAST_ROWS, 0.02 * len(rows))):
        usual = _of_usual_width(rest)
        if not marked or len(usual) >= 0.5 * len(rest):
            kinds.append(Cells(None, usual))
    return kinds


def _marked(rows: list[list[str]]) -> dict[str, list[list[str]]]:
    by_mark: defaultdict[str, list[list[str]]] = defaultdict(list)
    for row in rows:
        by_mark[row[0]].append(row)
    marks = {mark: found for mark, found in by_mark.items() if _is_mark(mark) and len(found) >= LEAST_ROWS}
    if not marks or len(marks) > MOST_MARKS:
        return {}
    rest = [row for row in rows if row[0] not in marks]
    if len(marks) == 1 and len(rest) <= 0.1 * len(rows):
        return marks
    named = [quantity_of_label(mark) for mark in marks]
    if None not in named and len(set(named)) == len(named) > 1:
        return marks
    shapes = Counter({_shape(found): 0 for found in marks.values()})
    for found in [*marks.values(), *([rest] if rest else [])]:
        shapes[_shape(found)] += 1
    return {mark: found for mark, found in marks.items() if shapes[_shape(found)] == 1}


def _is_mark(text: str) -> bool:
    if not text or len(text) > 12 or text[0].isdigit() or text[0] in '+-.,<>"':
        return False
    return any(character.isalpha() for character in text) or not any(map(str.isalnum, text))


def _shape(rows: list[list[str]]) -> tuple[bool, ...]:
    """Return for each column whether it mostly begins with a number, the first one apart."""
    usual = _of_usual_width(rows)
    return tuple(
        sum(cell[:1].isdigit() or (cell[:1] in "+-" and cell[1:2].isdigit()) for cell in column)
        > 0.5 * len(usual)
        for column in list(zip(*usual, strict=True))[1:]
    )


def _of_usual_width(rows: list[list[str]]) -> list[list[str]]:
    width = Counter(map(len, rows)).most_common(1)[0][0]
    return [row for row in rows if len(row) == width]


def fields_of(cells: Cells, *, many: bool) -> list[FieldTexts]:
    """Return the columns of rows of one kind as fields, by their numbers."""
    before = f"{cells.mark} " if cells.mark is not None and many else ""
    return [FieldTexts(f"{before}column {at}", "", column) for at, column in enumerate(cells.columns(), 1)]


def _claim(kinds: Sequence[Cells], separator: str, total: int) -> Claim:
    fitting = sum(len(cells.rows) for cells in kinds)
    named = {" ": "blanks", "  ": "two or more blanks", "\t": "tabs"}.get(separator, repr(separator))
    marks = [repr(cells.mark) for cells in kinds if cells.mark is not None]
    known = f"; rows known by {', '.join(marks)} in front" if marks else ""
    widths = ", ".join(str(len(cells.rows[0])) for cells in kinds if cells.rows)
    because = f"{fitting} of {total} rows have {widths} columns"
    return Claim("layout", f"columns parted by {named}{known}", succession(fitting, total), because)
