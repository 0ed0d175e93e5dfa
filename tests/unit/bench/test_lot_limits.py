"""Which limits of the shipped table apply to a lot: by colour and sugar, by name, or what is asked."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.kinds.cellar import Lot
from bench.limits_table import shipped_limits
from bench.lot_limits import limits_of, total_limit
from bench.refused import RefusedError

TODAY = date(2025, 10, 3)


def lot(**fields: Any) -> Lot:
    return Lot.model_validate({"name": "a lot", **fields})


@pytest.mark.parametrize(
    ("fields", "limit"),
    [
        # Delegated Regulation (EU) 2019/934, annex I part B, A.1 and A.2
        ({"jurisdiction": "EU", "colour": "red", "sugar_g_l": 4.9}, 150),
        ({"jurisdiction": "EU", "colour": "red", "sugar_g_l": 5.0}, 200),
        ({"jurisdiction": "EU", "colour": "white", "sugar_g_l": 1.2}, 200),
        ({"jurisdiction": "EU", "wine_class": "rose", "sugar_g_l": 12}, 250),
        # 27 CFR 4.22(b)(1)
        ({"jurisdiction": "US", "colour": "white"}, 350),
        # chosen by its name, as the table spells it
        ({"jurisdiction": "EU", "wine_class": "other sparkling wine", "colour": "white"}, 235),
        ({"jurisdiction": "OIV recommended", "wine_class": "red, reducing substances <= 4 g/L"}, 150),
    ],
)
def test_market_colour_and_sugar_give_the_limit_of_total_so2(fields: dict[str, Any], limit: float) -> None:
    assert total_limit(lot(**fields), "L", TODAY).limit_mg_per_l == limit
    assert [row.limit_mg_per_l for row in limits_of(lot(**fields), TODAY).apply] == [limit]


@pytest.mark.parametrize(
    ("fields", "asked"),
    [
        ({"colour": "red", "sugar_g_l": 2}, "jurisdiction"),
        ({"jurisdiction": "EU", "colour": "red"}, "sugar_g_l"),
        ({"jurisdiction": "EU", "sugar_g_l": 2}, "the colour"),
        ({"jurisdiction": "Atlantis", "colour": "red"}, "no place 'Atlantis'"),
        ({"jurisdiction": "OIV recommended", "colour": "red", "sugar_g_l": 2}, "reducing substances"),
        ({"jurisdiction": "New Zealand / imported to Australia", "colour": "red"}, "read"),
    ],
)
def test_what_is_wanting_is_asked_and_no_limit_is_guessed(fields: dict[str, Any], asked: str) -> None:
    found = limits_of(lot(**fields), TODAY)
    assert found.apply == ()
    assert any(asked in one for one in found.asks)
    with pytest.raises(RefusedError) as refused:
        total_limit(lot(**fields), "25-RI-01", TODAY)
    assert refused.value.rule == "lot.no_limit"
    assert asked in refused.value.detail


def test_a_place_may_limit_free_and_combined_apart() -> None:
    found = limits_of(lot(jurisdiction="Canada", colour="white"), TODAY)
    # Food and Drug Regulations (C.R.C. c. 870) B.02.100(b)(vii)
    assert [(row.kind.value, row.limit_mg_per_l) for row in found.apply] == [("free", 70), ("combined", 350)]


@given(
    colour=st.sampled_from(["", "red", "white", "rose"]),
    sugar=st.none() | st.floats(0, 300),
    place=st.sampled_from(sorted({row.jurisdiction for row in shipped_limits()})),
)
def test_special_lists_are_never_chosen_by_the_program(colour: str, sugar: float | None, place: str) -> None:
    found = limits_of(lot(jurisdiction=place, colour=colour, sugar_g_l=sugar), TODAY)
    for row in (*found.apply, *found.may_apply):
        assert "named list" not in row.wine_class
        assert "sparkling wine" not in row.wine_class
        assert row.jurisdiction == place
