from collections import Counter
from datetime import date

import pytest

from bench.limits_table import LimitsTableError, read_limits, shipped_limits
from evaluate.limits import LimitKind, limits_in_force, required_limit, shifted_limit, sugar_fits

HEADER = (
    "jurisdiction,wine_class,kind,limit_mg_l,shift_mg_l,unit,"
    "sugar_test,sugar_comparison,sugar_g_l,valid_from,source,status"
)
ROW = "Here,white,total,200,,mg/L total,sugar,<,5,2020-02-01,a regulation,seen"


def totals(jurisdiction: str, sugar: float) -> list[float]:
    found = limits_in_force(shipped_limits(), jurisdiction, LimitKind.TOTAL, date(2026, 1, 1))
    return [
        required_limit(row) for row in found if row.known and row.sugar_comparison and sugar_fits(row, sugar)
    ]


def test_reads_every_cell_of_a_row() -> None:
    (found,) = read_limits(["# a comment", HEADER, ROW])
    assert (found.jurisdiction, found.wine_class, found.unit) == ("Here", "white", "mg/L total")
    assert (found.kind, found.limit_mg_per_l, found.shift_mg_per_l) == (LimitKind.TOTAL, 200.0, None)
    assert (found.sugar_test, found.sugar_comparison, found.sugar_g_per_l) == ("sugar", "<", 5.0)
    assert (found.valid_from, found.source, found.status) == (date(2020, 2, 1), "a regulation", "seen")


def test_an_empty_day_is_an_unknown_day() -> None:
    (found,) = read_limits([HEADER, ROW.replace("2020-02-01", "")])
    assert found.valid_from is None


@pytest.mark.parametrize(
    ("cell", "bad"),
    [(",200,", ",two hundred,"), (",total,", ",sum,"), (",<,", ",=,"), ("2020-02-01", "1.2.2020")],
)
def test_refuses_a_cell_that_is_not_what_its_column_holds(cell: str, bad: str) -> None:
    with pytest.raises(LimitsTableError, match="row 1 of the limits cannot be read"):
        read_limits([HEADER, ROW.replace(cell, bad)])


def test_refuses_a_table_without_a_column() -> None:
    with pytest.raises(LimitsTableError, match="no column 'source'"):
        read_limits([HEADER.replace("source", "origin"), ROW])


def test_the_shipped_table_says_of_each_row_how_it_was_come_by() -> None:
    statuses = Counter(row.status for row in shipped_limits())
    assert statuses == {"seen": 22, "memory": 6, "unverified": 1}
    assert all(row.source and row.unit for row in shipped_limits())


def test_the_shipped_limits_of_the_union_turn_on_five_grams() -> None:
    # Delegated Regulation (EU) 2019/934, Annex I, Part B: 150 red and 200 white, 200 and 250 with sugar.
    assert totals("EU", 4.9) == [150.0, 200.0]
    assert totals("EU", 5.0) == [200.0, 250.0]


def test_the_shipped_recommendation_turns_on_four_grams_that_still_count_as_dry() -> None:
    # Resolution OENO 9/98.
    assert totals("OIV recommended", 4.0) == [150.0, 200.0]
    assert totals("OIV recommended", 4.1) == [300.0]


def test_the_shipped_australian_limits_stand_the_right_way_round() -> None:
    # Standard 4.5.1: 250 below 35 g/L of sugars, 300 above; one textbook prints them exchanged.
    assert totals("Australia", 34.9) == [250.0]
    assert totals("Australia", 35.1) == [300.0]


def test_the_shipped_canadian_limits_are_not_limits_of_the_total() -> None:
    rows = {row.kind: row.limit_mg_per_l for row in shipped_limits() if row.jurisdiction == "Canada"}
    assert rows == {LimitKind.FREE: 70.0, LimitKind.COMBINED: 350.0}


def test_the_shipped_rules_that_shift_a_limit_have_none_of_their_own() -> None:
    shifts = [row.shift_mg_per_l for row in shipped_limits() if row.shift_mg_per_l is not None]
    assert shifts == [50.0, -30.0]
    assert shifted_limit(200.0, shifts[1]) == 170.0


def test_a_limit_in_the_shipped_table_stands_alone_or_shifts() -> None:
    without = [row for row in shipped_limits() if row.limit_mg_per_l is None and row.shift_mg_per_l is None]
    assert [row.status for row in without] == ["unverified"]
