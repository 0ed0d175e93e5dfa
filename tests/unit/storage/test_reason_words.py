"""Both databases write the reasons of a cell as the program does."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import literal, select

from storage.csv_text.reason_words import reason_words
from storage.sheets.wording import reason_codes
from storage.store import Store


def in_the_cell(store: Store, kept: str | None) -> str | None:
    with store.reader() as connection:
        said: str | None = connection.execute(select(reason_words(literal(kept)))).scalar()
    return said


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        (
            '[{"code":"check.unknown","evidence":"burette-1"},{"code":"duplicate.apart"}]',
            "check.unknown; duplicate.apart",
        ),
        ('["above its limit","the third in a row"]', "above its limit; the third in a row"),
        ("[]", None),
        (None, None),
    ],
)
def test_reasons_are_told_in_their_order_and_none_is_an_empty_cell(
    store: Store, kept: str | None, said: str | None
) -> None:
    assert in_the_cell(store, kept) == said


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])  # the store is only read
@given(words=st.lists(st.one_of(WORDS, WORDS.map(lambda word: {"code": word})), max_size=4))
def test_a_cell_says_what_the_program_says(store: Store, words: list[str | dict[str, str]]) -> None:
    kept = json.dumps(words, ensure_ascii=False)
    assert (in_the_cell(store, kept) or "") == reason_codes(kept)
