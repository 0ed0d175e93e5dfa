"""Codes that a label, a person and a spreadsheet leave as they are."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.kinds.base import CODE_PATTERN
from bench.sample_codes import DIGITS, LETTERS, code, is_code

INDICES = st.integers(min_value=0, max_value=20_000_000)


def test_a_hundred_thousand_codes_are_all_different() -> None:
    assert len({code(index) for index in range(100_000)}) == 100_000


def test_codes_go_on_when_the_short_ones_are_used_up() -> None:
    first_longer = 17 * 17 * 5 * 17 * 5
    assert (len(code(first_longer - 1)), len(code(first_longer))) == (6, 8)
    assert is_code(code(first_longer))


@given(INDICES)
def test_no_code_has_signs_that_look_alike_or_spell_anything(index: int) -> None:
    assert set(code(index)) <= set(LETTERS + DIGITS)
    assert not set(code(index)) & set("0O1IL5S2Z8BEAU")
    assert re.match("[A-Z][A-Z]", code(index))
    assert re.fullmatch(CODE_PATTERN, code(index))


@given(INDICES, st.data())
def test_one_wrong_sign_is_noticed(index: int, data: st.DataObject) -> None:
    good = code(index)
    place = data.draw(st.integers(0, len(good) - 1))
    sign = data.draw(st.sampled_from(sorted(set(LETTERS + DIGITS) - {good[place]})))
    assert not is_code(good[:place] + sign + good[place + 1 :])


@given(INDICES, st.data())
def test_two_swapped_neighbours_are_noticed(index: int, data: st.DataObject) -> None:
    good = code(index)
    place = data.draw(st.integers(0, len(good) - 2))
    swapped = good[:place] + good[place + 1] + good[place] + good[place + 2 :]
    assert swapped == good or not is_code(swapped)


@given(INDICES, INDICES)
def test_different_numbers_have_different_codes(one: int, other: int) -> None:
    assert (code(one) == code(other)) == (one == other)


@pytest.mark.parametrize("text", ["", "CK4", "CK4H7MM", "ck4h7m", "1-2", "171E2", "MAR4"])
def test_what_is_no_code_is_told_apart(text: str) -> None:
    assert not is_code(text)


def test_samples_are_counted_from_zero() -> None:
    with pytest.raises(ValueError, match="from 0"):
        code(-1)
