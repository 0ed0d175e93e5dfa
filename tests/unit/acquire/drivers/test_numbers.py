"""Numbers are read as they are spelled, and nothing else is a number."""

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.numbers import AnswerReader, Answers, Spelling
from acquire.drivers.refusal import Refusal
from acquire.events import Outcome

ANSWERS = Answers({"----": Outcome.NO_VALUE, "9999": Outcome.ABOVE_RANGE}, {">": Outcome.ABOVE_RANGE})
PLAIN = AnswerReader(Spelling(), ANSWERS)


@pytest.mark.parametrize(
    ("spelling", "text", "value"),
    [
        (Spelling(), "3.410", "3.410"),
        (Spelling(), "-0.50", "-0.50"),
        (Spelling(), "\u22120.5", "-0.5"),
        (Spelling(), "007", "7"),
        (Spelling(decimal=","), "+3,41", "3.41"),
        (Spelling(decimal=",", thousands="."), "1.234,5", "1234.5"),
        (Spelling(decimal=",", thousands="."), "1234,5", "1234.5"),
        (Spelling(thousands=" "), "1 234 567", "1234567"),
        (Spelling(exponent=True), "3.41E-02", "0.0341"),
        (Spelling(sign_apart=True), "-  3.41", "-3.41"),
        (Spelling(bare_point=True), ".5", "0.5"),
        (Spelling(bare_point=True), "5.", "5"),
    ],
)
def test_reads_a_number_as_it_is_spelled(spelling: Spelling, text: str, value: str) -> None:
    assert AnswerReader(spelling, Answers()).read(text) == (Outcome.VALUE, Decimal(value))


def test_keeps_trailing_zeros() -> None:
    assert str(PLAIN.read("3.410")[1]) == "3.410"


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "nan",
        "inf",
        "1_000",
        "0x10",
        "1e3",
        ".5",
        "5.",
        "3,41",
        "- 3",
        "--3",
        "3.4.1",
        "٣",
        "1,234",
        "3.41 ",
    ],
)
def test_refuses_what_is_no_number_in_the_declared_spelling(text: str) -> None:
    with pytest.raises(Refusal) as caught:
        PLAIN.read(text)
    assert caught.value.reason == "not_a_number"


@pytest.mark.parametrize("text", ["12.34", "1.2345", "1.23.456", ".123"])
def test_refuses_thousands_marks_that_do_not_stand_before_three_digits(text: str) -> None:
    with pytest.raises(Refusal):
        AnswerReader(Spelling(decimal=",", thousands="."), Answers()).read(text)


def test_a_token_is_never_a_number_even_if_it_looks_like_one() -> None:
    assert PLAIN.read("9999") == (Outcome.ABOVE_RANGE, None)


def test_a_range_mark_makes_a_bound() -> None:
    assert PLAIN.read("> 10.00") == (Outcome.ABOVE_RANGE, Decimal("10.00"))


@pytest.mark.parametrize("text", [">", ">>3", "<3", ">----", "3>"])
def test_refuses_a_range_mark_without_its_number(text: str) -> None:
    with pytest.raises(Refusal):
        PLAIN.read(text)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("21.4C", ("21.4", "C")),
        ("21.4 deg C", ("21.4", "deg C")),
        (">10.0 mL", (">10.0", "mL")),
        ("---- mL", ("----", "mL")),
        ("----", ("----", "")),
        ("3.4.1 mL", ("3.4", ".1 mL")),
        ("words", ("words", "")),
    ],
)
def test_splits_a_number_from_what_is_written_behind_it(text: str, parts: tuple[str, str]) -> None:
    assert PLAIN.split(text) == parts


@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-(10**9), max_value=10**9))
def test_every_number_written_with_a_decimal_comma_is_read_back_exactly(value: Decimal) -> None:
    text = f"{value:f}".replace(".", ",")
    assert AnswerReader(Spelling(decimal=","), Answers()).read(text) == (Outcome.VALUE, value)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(Refusal):
        outcome, value = PLAIN.read(text)
        assert (value is not None) or outcome is not Outcome.VALUE


def test_a_long_run_of_digits_and_blanks_is_refused_at_once() -> None:
    reader = AnswerReader(Spelling(thousands=" ", sign_apart=True, exponent=True, bare_point=True), ANSWERS)
    for text in ("1 " * 2000, " " * 4000, "1" * 4000, "> " * 2000, "-" + " " * 4000):
        with pytest.raises(Refusal):
            reader.read(text)
