"""Tables with a header row, found among the texts of lines."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from acquire.learning.answers import Answers
from acquire.learning.guess import Guess
from acquire.learning.layouts import FieldDraft, LayoutDraft, explained_share
from acquire.learning.record_study import RecordStudy
from acquire.learning.report import Claim, succession
from acquire.learning.rows import split_row, with_answer
from acquire.learning.spelling import NumberReader, decimal_question, spelling_of
from acquire.learning.texts import FieldTexts, unit_code
from acquire.learning.vocabulary import Vocabulary
from evaluate.units import fits, unit, units

SEPARATORS: Final = ("\t", ";", ",", "|", "  ")
MOST_BEFORE: Final = 40  # lines before a header row
LEAST_COLUMNS: Final = 2
_BRACKETED: Final = re.compile(r"^(.*?)[ ]*[\[(]([^\[\]()]{1,16})[\])]$")


def table_layouts(texts: Sequence[str], answers: Answers) -> Iterator[LayoutDraft]:
    """Yield a layout for each separator under which a header row stands above rows of its width."""
    for separator in SEPARATORS:
        split = [split_row(text, separator) for text in texts]
        at = _header_at(split)
        if at is not None:
            yield _layout(split, at, separator, answers, quoted=any('"' in text for text in texts))


def _header_at(split: Sequence[list[str]]) -> int | None:
    """Return which row is the header: the first of the usual width whose cells are names."""
    widths = Counter(len(row) for row in split if len(row) >= LEAST_COLUMNS)
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    for at, row in enumerate(split[:MOST_BEFORE]):
        if len(row) == width:
            return at if _is_header(row, split[at + 1 :]) else None
    return None


def _is_header(row: list[str], below: Sequence[list[str]]) -> bool:
    names = [cell for cell in row if cell]
    if len(names) < LEAST_COLUMNS or len(set(names)) < len(names) or not all(map(_is_name, names)):
        return False
    same = [other for other in below if len(other) == len(row)]
    with_numbers = sum(any(cell[:1].isdigit() or cell[1:2].isdigit() for cell in other) for other in same)
    return len(same) >= 1 and with_numbers >= 0.5 * len(same)


def _is_name(cell: str) -> bool:
    return any(character.isalpha() or character in "#°%" for character in cell) and not cell[0].isdigit()


def _layout(
    split: list[list[str]], at: int, separator: str, answers: Answers, *, quoted: bool
) -> LayoutDraft:
    header = split[at]
    rows = [row for row in split[at + 1 :] if len(row) == len(header) and row != header]
    trailing = separator != "  " and not header[-1] and all(not row[-1] for row in rows)
    if trailing:
        header, rows = header[:-1], [row[:-1] for row in rows]
    unit_texts = _units_row(rows, answers)
    rows = [row for row in rows if row != unit_texts] if unit_texts else rows
    columns = list(zip(*rows, strict=True)) if rows else [() for _ in header]
    spelling, unclear, claim = spelling_of(_but_times(columns), separator)
    spelling = with_answer(spelling, answers)
    words = Vocabulary(answers)
    table: dict[str, object] = {"separator": r"\t" if separator == "\t" else separator}
    table |= {"runs": True} if separator == "  " else {"quoted": True} if quoted else {}
    table |= {"trailing": True} if trailing else {}
    table |= {"header": True} | ({"preamble": at} if at else {}) | ({"units_row": True} if unit_texts else {})
    hints = unit_texts or [_unit_in(name) for name in header]
    fields = [_field(*one) for one in zip(header, columns, hints, strict=True)]
    study = RecordStudy(fields, NumberReader(spelling), words, has_constants=False)
    guesses = study.guesses()
    _take_spellings(guesses, unit_texts, words)
    unnamed = [guess for guess, name in zip(guesses, header, strict=True) if not name]
    for guess in unnamed:
        guess.table, guess.stand_in, guess.questions = {"kind": "ignore"}, None, []
    record = [FieldDraft({"label": name}, guess) for name, guess in zip(header, guesses, strict=True)]
    draft = LayoutDraft("delimited", table, [record], spelling, words, 0.0, [claim], drops_unread=True)
    if unclear and answers.decimal is None:
        draft.questions.append(decimal_question(spelling.decimal, []))
    draft.explained = explained_share([one.texts for one in fields], guesses)
    below = len(split) - at - 1 - bool(unit_texts)
    because = f"{len(rows)} of {below} rows below have its {len(header)} columns"
    draft.claims.append(
        Claim(
            "layout",
            f"a table under a header row: {', '.join(header)}",
            succession(len(rows), below),
            because,
        )
    )
    return draft


def _field(name: str, column: tuple[str, ...], unit: str) -> FieldTexts:
    return FieldTexts(
        name or "column without a name", _without_unit(name), column, unit_hint=unit.strip("[]() ")
    )


def _but_times(columns: Sequence[tuple[str, ...]]) -> list[str]:
    from acquire.learning.moments import time_form_of

    return [text for column in columns if time_form_of(column) is None for text in column]


def _units_row(rows: Sequence[list[str]], answers: Answers) -> list[str]:
    """Return the row of units below the header, if there is one."""
    if not rows:
        return []
    said = [cell for cell in rows[0] if cell.strip("[]() -")]
    known = [cell for cell in said if unit_code(cell, answers)]
    return (
        rows[0] if known and len(known) >= 0.5 * len(said) and not any(c[:1].isdigit() for c in said) else []
    )


def _take_spellings(guesses: Sequence[Guess], unit_texts: Sequence[str], words: Vocabulary) -> None:
    """Take how the row of units writes the unit of each value."""
    for guess, text in zip(guesses, unit_texts, strict=False):
        bare = text.strip("[]() ")
        code = unit_code(bare, words.answers) if bare else None
        if code is not None and guess.kind == "value":
            words.take_unit(bare, code)
            fitting = _units_beside(guess, code)
            if "unit" in guess.table and fitting:
                del guess.table["unit"]
                guess.table["units"] = fitting


def _units_beside(guess: Guess, code: str) -> list[str]:
    """Return the units that such a row may say another time: all of one dimension."""
    quantity = guess.table.get("quantity")
    alike = [one.code for one in units() if one.dimension == unit(code).dimension and one.code != code]
    return [code, *(one for one in alike if quantity is None or fits(quantity, one))]


def _unit_in(name: str) -> str:
    """Return the unit that a label ends with, in brackets or as its last word; empty if none does."""
    bracketed = _BRACKETED.match(name)
    if bracketed:
        return bracketed[2]
    head, _, last = name.replace("_", " ").replace("/ ", " ").rpartition(" ")
    return last if head and unit_code(last, Answers()) else ""


def _without_unit(name: str) -> str:
    bracketed = _BRACKETED.match(name)
    return bracketed[1] if bracketed and unit_code(bracketed[2], Answers()) else name
