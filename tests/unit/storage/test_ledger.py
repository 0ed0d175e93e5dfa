from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from storage.errors import RowError
from storage.ledger import Head, digest_of, genesis, link_of, next_entry

START = genesis("a-store")
SAID: dict[str, Any] = {"at_us": 5, "actor": "AB", "actor_kind": "person", "reason": None, "rows": {}}


@given(st.integers(0, 2**63 - 1), st.binary(min_size=32, max_size=32))
def test_a_head_reads_back_as_it_was_written(number: int, link: bytes) -> None:
    head = Head(number, link)
    assert Head.parse(str(head)) == head


@pytest.mark.parametrize("bad", ["", "7", "7:", "7:abcd", "-1:" + "0" * 64, "x:" + "0" * 64, "7:" + "g" * 64])
def test_refuses_what_is_no_head(bad: str) -> None:
    with pytest.raises(ValueError, match=r"NUMBER:LINK|non-hexadecimal"):
        Head.parse(bad)


def test_two_stores_begin_with_different_links() -> None:
    assert genesis("one").link != genesis("other").link


def test_entries_are_numbered_without_a_gap() -> None:
    first = next_entry(START, "line.opened", **SAID)
    second = next_entry(Head(first.number, first.link), "line.closed", **SAID)
    assert (first.number, second.number) == (1, 2)


@pytest.mark.parametrize(
    ("field", "other"),
    [
        ("at_us", 6),
        ("actor", "CD"),
        ("actor_kind", "device"),
        ("reason", ""),
        ("rows", {"fault": [(1, None, None, "line", "x")]}),
    ],
)
def test_the_link_covers_everything_an_entry_says(field: str, other: object) -> None:
    one = next_entry(START, "line.opened", **SAID)
    changed = next_entry(START, "line.opened", **{**SAID, field: other})
    assert changed.link != one.link


def test_the_link_covers_the_action_and_the_link_before() -> None:
    links = {
        next_entry(head, action, **SAID).link for head in (START, genesis("b")) for action in ("a.b", "a.c")
    }
    assert len(links) == 4


def test_the_link_can_be_made_again_from_what_is_stored() -> None:
    entry = next_entry(START, "line.opened", **{**SAID, "reason": "a cable was changed"})
    assert link_of(START.link, entry[:-1]) == entry.link


def test_an_entry_without_rows_has_a_digest_of_its_own() -> None:
    assert digest_of({}) != digest_of({"fault": [(1, None, None, "line", "x")]})


def test_refuses_an_entry_whose_time_is_no_whole_number() -> None:
    with pytest.raises(RowError, match="whole number"):
        next_entry(START, "line.opened", **{**SAID, "at_us": "noon"})
