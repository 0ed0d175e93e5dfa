"""How numbers are spelt, judged from texts."""

import pytest

from acquire.learning.spelling import NumberReader, spelling_of


@pytest.mark.parametrize(
    ("texts", "decimal", "thousands"),
    [
        (["3.41", "21.4"], ".", ""),
        (["3,41", "21,4"], ",", ""),
        (["1.234,5", "987,6"], ",", "."),
        (["1,234.5", "987.6"], ".", ","),
        (["1'456.2", "701.9"], ".", "'"),
        (["1 234,5", "12,5"], ",", " "),
        (["0,992", "1,021"], ",", ""),
        (["12", "7"], ".", ""),
    ],
)
def test_marks_are_found(texts: list[str], decimal: str, thousands: str) -> None:
    spelling, is_open, _ = spelling_of(texts)
    assert (spelling.decimal, spelling.thousands, is_open) == (decimal, thousands, False)
    assert all(NumberReader(spelling).is_number(text) for text in texts)


def test_three_digits_behind_a_comma_leave_it_open() -> None:
    spelling, is_open, claim = spelling_of(["3,412", "1,021"])
    assert (spelling.decimal, is_open) == (",", True)
    assert claim.confidence < 0.7


def test_a_comma_between_columns_is_no_decimal_mark() -> None:
    spelling, _, _ = spelling_of(["3,41"], separator=",")
    assert spelling.decimal == "."


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("3.41", ("", "3.41", "")),
        ("<0.05 mg/L", ("<", "0.05", "mg/L")),
        ("-12.5mV", ("", "-12.5", "mV")),
        ("21.4 C S", ("", "21.4", "C S")),
    ],
)
def test_a_number_is_taken_apart(text: str, parts: tuple[str, str, str]) -> None:
    spelling, _, _ = spelling_of([text])
    assert NumberReader(spelling).parts(text) == parts


@pytest.mark.parametrize("text", ["2025-10-06", "08:41", "1.2.3", "W-1007", "", "----", "12/34"])
def test_what_only_begins_like_a_number_is_none(text: str) -> None:
    spelling, _, _ = spelling_of(["3.41"])
    assert NumberReader(spelling).parts(text) is None
