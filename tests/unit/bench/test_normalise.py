"""What a reading amounts to in the unit its quantity is kept in."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.normalise import NOT_A_VALUE, PLAIN_WORDS, UNIT_DOES_NOT_FIT, UNKNOWN_QUANTITY, Normal, normal


def test_digits_stay_as_they_are_where_the_unit_is_right() -> None:
    assert normal("ph", "value", "3.410", "pH") == Normal("3.410", "pH")


def test_parts_per_million_of_sulfur_dioxide_are_milligrams_a_litre() -> None:
    assert normal("free_so2", "value", "28.50", "ppm") == Normal(
        "28.50", "mg/L"
    )  # common practice, no source


def test_fahrenheit_becomes_celsius_exactly() -> None:
    assert normal("temperature", "value", "68.0", "°F") == Normal("20", "°C")


def test_sulfuric_acidity_becomes_tartaric_by_the_ratio_of_equivalents() -> None:
    # 75.043 g/eq tartaric over 49.036 g/eq sulfuric = 1.53036; printed as 1.53 in wine tables
    found = normal("ta_ph_7_0", "value", "4.00", "g/L sulfuric").numeral
    assert found is not None
    assert Decimal(found) == pytest.approx(Decimal("6.121"), abs=Decimal("0.001"))


@pytest.mark.parametrize("outcome", ["above_range", "no_value", "not_stable", "aborted"])
def test_what_is_no_value_has_no_number(outcome: str) -> None:
    assert normal("free_so2", outcome, "10.00", "mg/L") == Normal(None, None, NOT_A_VALUE)


def test_an_unknown_quantity_is_noted_not_guessed() -> None:
    assert normal("colour", "value", "1", "mg/L") == Normal(None, None, UNKNOWN_QUANTITY)


def test_a_unit_that_does_not_fit_is_noted_not_guessed() -> None:
    assert normal("ph", "value", "3.4", "mL") == Normal(None, None, UNIT_DOES_NOT_FIT)


def test_every_note_has_plain_words() -> None:
    assert set(PLAIN_WORDS) == {NOT_A_VALUE, UNKNOWN_QUANTITY, UNIT_DOES_NOT_FIT}


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-1000, max_value=1000, places=3))
def test_a_numeral_is_always_plain(value: Decimal) -> None:
    found = normal("temperature", "value", f"{value:f}", "°F").numeral
    assert found is not None
    assert "E" not in found
    assert Decimal(found).is_finite()
