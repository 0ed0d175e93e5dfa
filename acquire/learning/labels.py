"""Values behind labels, found in the texts of messages."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final

from acquire.learning.answers import Answers
from acquire.learning.layouts import FieldDraft, LayoutDraft, explained_share, letters_in
from acquire.learning.manners import manners_of
from acquire.learning.moments import time_form_of
from acquire.learning.pairs import Manner, Pairs, pairs_of
from acquire.learning.record_study import RecordStudy
from acquire.learning.report import Claim, succession
from acquire.learning.rows import with_answer
from acquire.learning.spelling import NumberReader, decimal_question, spelling_of
from acquire.learning.texts import FieldTexts
from acquire.learning.vocabulary import Vocabulary

LEAST_SHARE: Final = 0.5  # of the texts that must be made of pairs
LOOKED_AT: Final = 400  # texts by which labels are found


def label_layouts(
    texts: Sequence[str], answers: Answers, row_end: str = "", end_text: str = ""
) -> Iterator[LayoutDraft]:
    """Yield a layout for each manner in which texts are made of labels with values.

    Parameters
    ----------
    texts : sequence of str
        Of frames.
    answers : Answers
        What somebody said.
    row_end : str
        The characters between the lines of a frame; empty if a frame is a line.
    end_text : str
        The same as a driver file writes it.
    """
    for manner, labels in manners_of(texts[:LOOKED_AT], row_end):
        pairs = pairs_of(texts, manner, labels)
        if len(pairs.values) >= max(2, LEAST_SHARE * len(texts)):
            yield _layout(pairs, len(texts), answers, end_text)


def _layout(pairs: Pairs, total: int, answers: Answers, end_text: str) -> LayoutDraft:
    labels = [label for label in pairs.labels if any(label in values for values in pairs.values)]
    columns = {label: tuple(values.get(label) for values in pairs.values) for label in labels}
    timed = {
        label for label, texts in columns.items() if time_form_of([text for text in texts if text], label)
    }
    texts = [text for label in labels if label not in timed for text in columns[label] if text]
    spelling, unclear, claim = spelling_of(texts)
    spelling = with_answer(spelling, answers)
    words = Vocabulary(answers)
    fields = [FieldTexts(label.strip(":=<>[]#, ") or label, _name(label), columns[label]) for label in labels]
    study = RecordStudy(fields, NumberReader(spelling), words, has_constants=False)
    guesses = study.guesses()
    record = [
        FieldDraft(_place(label, columns[label]), guess) for label, guess in zip(labels, guesses, strict=True)
    ]
    draft = LayoutDraft("labelled", _table(pairs.manner, end_text), [record], spelling, words, 0.0, [claim])
    if unclear and answers.decimal is None:
        draft.questions.append(decimal_question(spelling.decimal, [text for text in texts if "," in text]))
    draft.explained = _explained(pairs, fields, draft)
    draft.ignore_lines = _idle_lines(pairs)
    because = f"{len(pairs.values)} of {total} messages are made of them"
    said = f"labels {', '.join(map(repr, labels))} with {_manner_words(pairs.manner)}"
    draft.claims.append(Claim("layout", said, succession(len(pairs.values), total), because))
    return draft


def _name(label: str) -> str:
    return label.strip(":=<>[]#,. ")


def _place(label: str, texts: Sequence[str | None]) -> dict[str, Any]:
    place: dict[str, Any] = {"label": label}
    return place | {"required": False} if None in texts else place


def _table(manner: Manner, end_text: str) -> dict[str, Any]:
    between = end_text or {"\t": r"\t"}.get(manner.between, manner.between)
    table: dict[str, Any] = {"between": between, "label_end": manner.label_end}
    table |= {"several": True} if manner.several else {}
    return table | ({"leader": manner.leader} if manner.leader else {})


def _explained(pairs: Pairs, fields: Sequence[FieldTexts], draft: LayoutDraft) -> float:
    """Return how much is explained; labels are, lines without one are not."""
    values = sum(letters_in(text) for one in fields for text in one.texts if text)
    labels = sum(letters_in(label) for one in pairs.values for label, value in one.items() if value)
    idle = sum(letters_in(piece) * count for piece, count in pairs.idle.items())
    share = explained_share([one.texts for one in fields], draft.guesses)
    return (share * values + labels) / (values + labels + 0.5 * idle or 1)


def _idle_lines(pairs: Pairs) -> list[str]:
    """Return how lines without a label begin: a title, a rule."""
    found: Counter[str] = Counter()
    for piece, count in pairs.idle.items():
        found[idle_beginning(piece)] += count
    return [begin for begin in found if begin and not any(label.startswith(begin) for label in pairs.labels)]


def idle_beginning(line: str) -> str:
    """Return by how much of its beginning a line that says nothing can be known."""
    signs = line[: len(line) - len(line.lstrip(line[0]))] if line and not line[0].isalnum() else ""
    if len(signs) >= 3:
        return signs[:3]
    words = line.split()
    kept = []
    for word in words[:4]:
        if any(character.isdigit() for character in word):
            break
        kept.append(word)
    return " ".join(kept) if kept and line.startswith(" ".join(kept)) else ""


def _manner_words(manner: Manner) -> str:
    end = {" ": "a blank", "": "nothing"}.get(manner.label_end, repr(manner.label_end))
    between = {" ": "blanks", "\t": "tabs"}.get(manner.between, repr(manner.between))
    return f"{end} behind each and {between} between pairs"
