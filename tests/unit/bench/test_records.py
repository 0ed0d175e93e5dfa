"""Records in versions: made, changed, named by each other, never overwritten."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench import records
from bench.actor import Actor
from bench.canonical_json import from_text, to_text
from bench.kinds.cellar import Lot, Sample, Vessel
from bench.kinds.laboratory import Method
from bench.kinds.registry import KINDS
from bench.refused import MalformedError, NotThereError, RefusedError
from bench.rules import RULES
from storage.ledger import ActorKind
from storage.queries.records import links_of, record_history, records_naming, records_of_kind
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US

MALLOW = Actor("MAL", ActorKind.PERSON, NOON_US)
DAY_US = 86_400_000_000
Answer = TypeVar("Answer")


def act(store: Store, work: Callable[[Transaction], Answer]) -> Answer:
    return store.writer.submit(work).result(10)


def make(store: Store, kind: str, code: str, **fields: Any) -> int:
    return act(store, lambda tx: records.make(tx, MALLOW, kind, code, fields, valid_from_us=NOON_US))


def revise(store: Store, code: str, expected: int, valid_from_us: int = NOON_US, **fields: Any) -> int:
    return act(
        store,
        lambda tx: records.revise(
            tx, MALLOW, "lot", code, fields, valid_from_us=valid_from_us, expected_version=expected
        ),
    )


def test_a_record_is_found_by_its_code(store: Store) -> None:
    lot_id = make(store, "lot", "25-RI-01", name="Riesling", wine_class="white")
    with store.reader() as connection:
        found = records.find(connection, Lot, "25-RI-01")
    assert (found.record_id, found.version.version, found.body.name) == (lot_id, 1, "Riesling")


def test_a_code_is_given_once_a_kind(store: Store) -> None:
    make(store, "lot", "T01", name="a lot")
    make(store, "vessel", "T01", vessel_kind="tank", capacity_l=5000)
    with pytest.raises(RefusedError) as refused:
        make(store, "lot", "T01", name="another")
    assert refused.value.rule == "record.code_taken"


def test_a_change_makes_a_version_and_keeps_the_old_one(store: Store) -> None:
    lot_id = make(store, "lot", "25-RI-01", name="Riesling")
    assert revise(store, "25-RI-01", 1, name="Riesling, dry") == 2
    with store.reader() as connection:
        history = record_history(connection, lot_id)
    assert [from_text(one.version.body)["name"] for one in history] == ["Riesling", "Riesling, dry"]
    assert {one.actor for one in history} == {"MAL"}


def test_of_two_people_who_change_the_same_version_the_second_is_told(store: Store) -> None:
    make(store, "lot", "25-RI-01", name="Riesling")
    revise(store, "25-RI-01", 1, name="first")
    with pytest.raises(RefusedError, match="read it again") as refused:
        revise(store, "25-RI-01", 1, name="second")
    assert refused.value.rule == "record.changed_meanwhile"
    with store.reader() as connection:
        assert records.find(connection, Lot, "25-RI-01").body.name == "first"


def test_a_version_holds_from_its_moment_on(store: Store) -> None:
    lot_id = make(store, "lot", "25-RI-01", name="must")
    revise(store, "25-RI-01", 1, NOON_US + DAY_US, name="wine")
    with store.reader() as connection:
        before = records.held_at(connection, Lot, lot_id, NOON_US + DAY_US - 1)
        after = records.held_at(connection, Lot, lot_id, NOON_US + DAY_US)
        first = records.held_at(connection, Lot, lot_id, NOON_US - 1)
    assert before is not None
    assert first == before
    assert after is not None
    assert (before.body.name, after.body.name) == ("must", "wine")


def test_what_a_sample_names_is_linked(store: Store) -> None:
    lot_id = make(store, "lot", "24-ME-02", name="Merlot")
    barrels = [make(store, "vessel", code, vessel_kind="barrel", capacity_l=225) for code in ("B101", "B102")]
    fields = {"lot": "24-ME-02", "composition": "composite", "parts": ["B101", "B102"]}
    sample_id = make(store, "sample", "W-1007", **fields)
    with store.reader() as connection:
        assert links_of(connection, sample_id, 1) == [("lot", lot_id), *(("parts", one) for one in barrels)]
        assert [one.code for one in records_naming(connection, lot_id, "lot", "sample")] == ["W-1007"]


def test_a_sample_of_a_lot_that_is_not_there_is_refused_whole(store: Store) -> None:
    with pytest.raises(NotThereError, match="no lot '25-XX-01'"):
        make(store, "sample", "W-1", lot="25-XX-01")
    with store.reader() as connection:
        assert records_of_kind(connection, "sample") == []


@pytest.mark.parametrize(
    ("kind", "fields", "said"),
    [
        ("vessel", {"vessel_kind": "bucket", "capacity_l": 10}, "vessel_kind"),
        ("vessel", {"vessel_kind": "tank", "capacity_l": 0}, "capacity_l"),
        ("vessel", {"vessel_kind": "tank", "capacity_l": float("inf")}, "capacity_l"),
        ("lot", {"name": "a", "molecular_low_mg_l": 0.8, "molecular_high_mg_l": 0.5}, "lower first"),
        ("lot", {"name": "a\x00b"}, "name"),
        ("lot", {"name": "a", "owner": "somebody"}, "owner"),
        ("sample", {"composition": "composite", "parts": ["B101"]}, "at least two"),
        ("sample", {"drawn_at": "2025-10-09T08:00:00"}, "drawn_at"),
        ("method", {"name": "a", "quantity": "freeness"}, "freeness"),
        ("method", {"name": "a", "quantity": "ph", "formula": "guess"}, "guess"),
        ("method", {"name": "a", "quantity": "free_so2", "aliquot_ml": 0}, "aliquot_ml"),
        ("recipe", {}, "no kind of record"),
    ],
)
def test_fields_that_do_not_fit_are_named(store: Store, kind: str, fields: dict[str, Any], said: str) -> None:
    with pytest.raises(MalformedError, match=said):
        make(store, kind, "X1", **fields)


@pytest.mark.parametrize("code", ["", " a", "-1", "a b", "x" * 41, "a\n", "=1+1"])
def test_codes_that_people_or_sheets_would_stumble_on_are_refused(store: Store, code: str) -> None:
    with pytest.raises(MalformedError) as refused:
        make(store, "lot", code, name="a")
    assert refused.value.rule == "record.code_malformed"


def test_a_slip_in_the_year_is_refused(store: Store) -> None:
    make(store, "lot", "25-RI-01", name="Riesling")
    with pytest.raises(MalformedError) as refused:
        revise(store, "25-RI-01", 1, NOON_US + 400 * DAY_US, name="later")
    assert refused.value.rule == "record.future"


def test_a_retired_record_takes_part_in_nothing_new(store: Store) -> None:
    make(store, "vessel", "T01", vessel_kind="tank", capacity_l=5000)
    fields = {"vessel_kind": "tank", "capacity_l": 5000}
    act(
        store,
        lambda tx: records.revise(
            tx, MALLOW, "vessel", "T01", fields, valid_from_us=NOON_US, expected_version=1, retired=True
        ),
    )
    with store.reader() as connection:
        assert records.find(connection, Vessel, "T01").version.retired
        with pytest.raises(RefusedError) as refused:
            records.find_usable(connection, Vessel, "T01")
    assert refused.value.rule == "record.retired"


def test_every_rule_raised_here_is_a_known_rule() -> None:
    raised = {
        line.split('"')[1] for line in Path(records.__file__).read_text().split("Error(")[1:] if '"' in line
    }
    assert {rule for rule in raised if rule.startswith("record.")} <= set(RULES)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=10,
    )
)
def test_canonical_text_reads_back_and_is_the_same_again(content: Any) -> None:
    text = to_text(content)
    assert to_text(from_text(text)) == text


@pytest.mark.parametrize("model", [Lot, Sample, Vessel, Method])
def test_each_model_knows_its_kind(model: Any) -> None:
    assert KINDS[records.kind_of(model)] is model
