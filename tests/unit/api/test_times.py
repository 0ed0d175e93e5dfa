import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.times import age_in_words, parse_rfc3339, rfc3339

CENTURIES_US = st.integers(min_value=0, max_value=7_258_118_400_000_000)  # to the year 2200


@given(CENTURIES_US)
def test_a_moment_comes_back_from_its_text(at_us: int) -> None:
    assert parse_rfc3339(rfc3339(at_us)) == at_us


@given(CENTURIES_US, CENTURIES_US)
def test_texts_sort_as_their_moments(one: int, other: int) -> None:
    assert (rfc3339(one) < rfc3339(other)) == (one < other)


def test_any_offset_names_the_same_moment() -> None:
    assert parse_rfc3339("2025-10-03T10:15:30+02:00") == parse_rfc3339("2025-10-03T08:15:30Z")


def test_a_plus_sign_that_became_a_blank_is_understood() -> None:
    assert parse_rfc3339("2025-10-03T10:15:30 02:00") == parse_rfc3339("2025-10-03T08:15:30Z")


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_a_moment_just_beyond_the_calendar_is_still_a_number(text: str) -> None:
    assert abs(parse_rfc3339(text)) > 62_000_000_000 * 10**6  # 1970 lies 62e9 s after the year 1


@pytest.mark.parametrize(
    "text",
    ["2025-10-03T08:15:30", "2025-10-03", "yesterday", "", "1759479330", "2025-13-03T08:15:30Z", "9" * 500],
)
def test_what_is_no_moment_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match="write it like"):
        parse_rfc3339(text)


@pytest.mark.parametrize(
    ("age_s", "words"),
    [
        (-5, "just now"),
        (9, "just now"),
        (10, "10 s ago"),
        (119, "119 s ago"),
        (240, "4 min ago"),
        (7200, "2 h ago"),
        (172_800, "2 days ago"),
    ],
)
def test_ages_are_told_in_words(age_s: int, words: str) -> None:
    assert age_in_words(age_s * 1_000_000) == words
