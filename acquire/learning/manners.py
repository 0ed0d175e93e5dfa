"""The manners in which texts could be labels with values, and which labels those would be."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from acquire.learning.answers import Answers
from acquire.learning.pairs import Manner
from acquire.learning.texts import unit_code
from acquire.learning.words import DRIFTING, GOOD_CODES, STABLE, outcome_of_word

MOST_LABELS: Final = 40
LEAST_TIMES: Final = 2  # a label comes
_NUMBER_BEGINS: Final = re.compile(r"[<>=≤≥]?[ ]*[+\-−]?[ ]*[0-9.,]*[0-9]")
_SIGNED: Final = re.compile(r"[^\W\d][^=:]*[=:]")
_NO_LABEL: Final = Answers()


def manners_of(texts: Sequence[str], row_end: str = "") -> Iterator[tuple[Manner, list[str]]]:
    """Yield each manner in which texts could be pairs, with its labels."""
    if row_end:
        yield from _line_manners(texts, row_end)
        return
    for label_end in ("=", ":"):
        yield from _with_labels(Manner(" ", label_end), _words_before(texts, label_end))
    for label_end in ("=", ":"):
        yield from _with_labels(Manner(" ", ""), _glued_with_head(texts, label_end))
    yield from _with_labels(Manner(" ", " "), _words_before_numbers(texts))
    yield from _with_labels(Manner(" ", ""), _glued(texts))
    for between in (";", ",", "|", "\t", "/", "&"):
        if sum(between in text for text in texts) < 0.5 * len(texts):
            continue
        pieces = [piece.strip() for text in texts for piece in text.split(between) if piece.strip()]
        for label_end in ("=", ":", " ", ""):
            yield from _with_labels(Manner(between, label_end), _leading(pieces, label_end))


def _line_manners(texts: Sequence[str], row_end: str) -> Iterator[tuple[Manner, list[str]]]:
    """Yield manners in which each line holds a pair, or several."""
    pieces = [piece.strip() for text in texts for piece in text.split(row_end) if piece.strip()]
    for label_end in (":", "=", " ", ""):
        leader = _leader(pieces, label_end)
        for several in (False, True):
            labels = _leading(pieces, label_end)
            if several:
                labels = _and_inside(pieces, label_end, labels)
            yield from _with_labels(Manner(row_end, label_end, several, leader), labels)
    yield from _with_labels(Manner(row_end, " ", leader=_leader(pieces, " ")), _steady_words(pieces))
    signs = _leader(pieces, "")
    yield from _with_labels(
        Manner(row_end, "", several=True, leader=signs + ":="), _report_labels(texts, row_end)
    )
    leader = _leader(pieces, "")
    if leader:
        labels = [label.rstrip(leader + " :=") for label in _leading(pieces, " ")]
        signs = leader + "".join(sign for sign in ":=" if any(sign in piece for piece in pieces))
        yield from _with_labels(Manner(row_end, "", leader=signs), [label for label in labels if label])


def _with_labels(manner: Manner, labels: Sequence[str]) -> Iterator[tuple[Manner, list[str]]]:
    known = list(dict.fromkeys(label for label in labels if label and label == label.strip()))
    if known and len(known) <= MOST_LABELS:
        yield manner, known


def _frequent(found: Counter[str], total: int) -> list[str]:
    least = max(LEAST_TIMES, 0.02 * total) if total > 3 else 1
    return [label for label, count in found.items() if count >= least]


def _words_before(texts: Sequence[str], label_end: str) -> list[str]:
    pattern = re.compile(
        rf"(?<![^ \t])([^\s\d{re.escape(label_end)}][^\s{re.escape(label_end)}]*)[ \t]*{re.escape(label_end)}"
    )
    found = Counter(label for text in texts for label in dict.fromkeys(pattern.findall(text)))
    return [_lengthened(label, label_end, texts) for label in _frequent(found, len(texts))]


def _lengthened(label: str, label_end: str, texts: Sequence[str]) -> str:
    """Return a label with the words that always stand before it."""
    for _ in range(3):
        pattern = re.compile(rf"(?<![^ \t]){re.escape(label)}[ \t]*{re.escape(label_end)}")
        before = [text[: match.start()].split() for text in texts if (match := pattern.search(text))]
        words = {words[-1] if words else "" for words in before}
        if len(words) != 1:
            return label
        word = words.pop()
        if not word or not word[0].isalpha() or _may_end_a_value(word) or word.endswith(label_end):
            return label
        label = f"{word} {label}"
    return label


def _may_end_a_value(word: str) -> bool:
    folded = word.casefold()
    if folded in STABLE | DRIFTING | GOOD_CODES or outcome_of_word(word) is not None:
        return True
    return unit_code(word, _NO_LABEL) is not None or any(character.isdigit() for character in word)


def _glued_with_head(texts: Sequence[str], label_end: str) -> list[str]:
    """Return labels with their ends, and what stands before the first of them in all texts."""
    labels = _words_before(texts, label_end)
    if not labels:
        return []
    pattern = re.compile(rf"(?<![^ \t])(?:{'|'.join(map(re.escape, labels))}){re.escape(label_end)}")
    heads = Counter(
        _opening(text[: match.start()].strip()) for text in texts if (match := pattern.search(text))
    )
    head, count = heads.most_common(1)[0] if heads else ("", 0)
    if not head or count < 0.9 * len(texts):
        return []
    return [head, *(f"{label}{label_end}" for label in labels)]


def _opening(head: str) -> str:
    """Return the sign or the word with which something begins."""
    match = re.match(r"[^\w\s]+|[A-Za-z]+", head)
    return match[0] if match else ""


def _words_before_numbers(texts: Sequence[str]) -> list[str]:
    found: Counter[str] = Counter()
    units: set[str] = set()
    for text in texts:
        words = text.split()
        found.update(list(dict.fromkeys(word for word, after in pairwise(words) if _names(word, after))))
        units |= {word for before, word in pairwise(words) if _is_unit_of(before, word)}
    return [_lengthened(label, "", texts) for label in _frequent(found, len(texts)) if label not in units]


def _is_unit_of(before: str, word: str) -> bool:
    """Tell whether a word is the unit of the number before it, and hardly the label of the one behind it."""
    return (
        _NUMBER_BEGINS.fullmatch(before) is not None
        and word.casefold() not in ("ph", "mv")
        and (unit_code(word, _NO_LABEL) is not None)
    )


def _names(word: str, after: str) -> bool:
    return word[0].isalpha() and not any(map(str.isdigit, word)) and _NUMBER_BEGINS.match(after) is not None


def _glued(texts: Sequence[str]) -> list[str]:
    pattern = re.compile(r"(?<![^ \t])([A-Za-z%/°]{1,12}[:=#]?)(?=[<>]?[+\-]?[0-9.])")
    found = Counter(label for text in texts for label in dict.fromkeys(pattern.findall(text)))
    return _frequent(found, len(texts))


def _leading(pieces: Sequence[str], label_end: str) -> list[str]:
    """Return the labels with which pieces begin."""
    found: Counter[str] = Counter()
    for piece in pieces:
        if label_end in ("=", ":"):
            label, end, _ = piece.partition(label_end)
            found[label.strip() if end and not label[:1].isdigit() else ""] += 1
        elif _SIGNED.match(piece) is None:  # a sign behind the label is the end of it, and not glued
            found[_text_before_number(piece, label_end)] += 1
    found.pop("", None)
    return _frequent(found, len(pieces))


def _report_labels(texts: Sequence[str], row_end: str) -> list[str]:
    """Return the texts that come in most messages, parted by blanks, dots or a sign from what changes."""
    found: Counter[str] = Counter()
    leads: Counter[str] = Counter()  # how often something stands behind a text in its line
    for text in texts:
        for line in text.split(row_end):
            chunks = [chunk.strip() for chunk in _CHUNK_ENDS.split(line.strip())]
            found.update(chunks)
            leads.update(chunks[:-1])
    often, nearly_all = max(LEAST_TIMES, 0.15 * len(texts)), 0.9 * len(texts)
    return [
        label
        for label, count in found.items()
        if ((count >= often and leads[label] > 0.5 * count) or count >= nearly_all) and _may_be_label(label)
    ]


_CHUNK_ENDS: Final = re.compile(r"(?: *[._·*]{3,} *| *[:=](?: +|$)|:(?=_)| {2,}|\t)")


def _may_be_label(text: str) -> bool:
    has_letter = any(character.isalpha() for character in text)
    few_digits = sum(map(str.isdigit, text)) <= 3
    return (has_letter and few_digits and not text[0].isdigit()) or re.fullmatch(
        r"[0-9]{1,2}[).:]", text
    ) is not None


def _steady_words(pieces: Sequence[str]) -> list[str]:
    """Return the words with which pieces begin, as far as they come again; the last word is never one."""
    return [
        label for label, count in _steadily((), [piece.split() for piece in pieces]) if count >= LEAST_TIMES
    ]


def _steadily(path: tuple[str, ...], rows: Sequence[list[str]]) -> Iterator[tuple[str, int]]:
    groups: dict[str, list[list[str]]] = {}
    for row in rows:
        groups.setdefault(row[len(path)], []).append(row)
    depth = len(path) + 1
    goes_on = all(len(found) >= LEAST_TIMES and _is_steady(word) for word, found in groups.items())
    if path and (not goes_on or any(len(row) <= depth for row in rows)):
        yield " ".join(path), len(rows)
        return
    for word, found in groups.items():
        deeper = [row for row in found if len(row) > depth]
        if deeper and _is_steady(word):
            yield from _steadily((*path, word), deeper)


def _is_steady(word: str) -> bool:
    return word[0].isalpha() or any(character.isalpha() for character in word)


def _text_before_number(piece: str, label_end: str) -> str:
    match = re.match(r"([^\W\d][^\d<>+\-]*?)[ .:=]*(?=[<>]?[ ]*[+\-]?[ ]*[0-9])", piece)
    if match is None:
        first, _, more = piece.partition(" ")
        return first if label_end == " " and more and first[:1].isalpha() else ""
    label = match[1].strip()
    glued = len(piece) > match.end(1) and piece[match.end(1)] not in " \t."
    return "" if label_end == " " and glued else label


def _leader(pieces: Sequence[str], label_end: str) -> str:
    """Return the characters that fill the room between label and value."""
    filled = Counter[str]()
    for piece in pieces:
        match = re.search(r"([._·*])\1{2,}[ :=]*[^\s._·*:=]", piece)
        filled.update(match[1] if match else "")
    signs = [sign for sign, count in filled.items() if count >= 2 and sign != label_end]
    return "".join(sorted(signs))


def _and_inside(pieces: Sequence[str], label_end: str, labels: Sequence[str]) -> list[str]:
    """Return labels and those that stand within lines, two blanks or more behind the pair before."""
    if label_end not in ("=", ":"):
        return []
    pattern = re.compile(rf"(?<=  )([^\W\d][^\s{label_end}]*(?: [^\s{label_end}]+)*)[ \t]*{label_end}")
    found = Counter(label for piece in pieces for label in pattern.findall(piece))
    inside = _frequent(found, len(pieces))
    return [*labels, *inside] if inside else []
