"""The what-if sheet as pages: old beside new, which decision changes, applied, taken back."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, SECOND, enter_wine, measure
from tests.unit.bench.acts import take_in

MG_PER_ML_FREE = 0.01 * (32.06 + 2 * 15.999) / 50 * 1000
WINDOW = "begin=2025-10-03T00:00&end=2025-10-03T12:00"
WEAK = f"/what-if?kind=factor&{WINDOW}&titrant=I-0925&course=step&at_1=&factor_1=0.77"
AT = "2025-10-03T08:00:00Z"


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as rest:
        enter_wine(rest, jurisdiction="EU", sugar_g_l=1.0, molecular_low_mg_l=0.5, molecular_high_mg_l=0.9)
        yield rest


def measured(rest: Rest) -> None:
    """Measure 40 mg/L of free SO2 at pH 3.60: 0.64 mg/L molecular with pK 1.81."""
    measure(rest, "ph", 3.60, AT)
    measure(rest, "free", 40 / MG_PER_ML_FREE, AT)


def words_of(rest: Rest, address: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", rest.page(address)).split())


def body_of(rest: Rest, address: str) -> str:
    """Return the page's form that applies, as it stands there."""
    found = re.search(r'data-act="POST /api/v1/[a-z/]+" data-body=\'([^\']*)\'', rest.page(address))
    assert found is not None
    return found[1]


def test_the_sheet_shows_old_beside_new_and_which_decision_changes(rest: Rest) -> None:
    measured(rest)
    words = words_of(rest, WEAK)
    assert "2 results would change, 1 decision with them" in words
    assert re.search(r"free sulfur dioxide 40\.00 30\.80 mg/L none", words, re.IGNORECASE)
    # 40 x 0.8 / (1 + 10^(3.60 - 1.81))
    assert "0.64 0.51 mg/L none" in words or f"band of {LOT}: inside" in words


def test_a_decision_that_changes_is_told_over_rest_too(rest: Rest) -> None:
    measured(rest)
    body = {"begin": "2025-10-03T00:00:00Z", "end": "2025-10-03T12:00:00Z", "titrant": "I-0925"}
    factors = [{"at": "2025-10-03T00:00:00Z", "factor": 0.7}]
    items = rest.post("/what-if", {**body, "factors": factors})["items"]
    told = [change for one in items for change in one["decisions"]]
    assert told == [
        {"about": f"band of {LOT}", "before": "inside", "after": "below: look what a dose would do"}
    ]


def test_what_is_applied_is_what_was_shown_and_is_taken_back(rest: Rest) -> None:
    measured(rest)
    made = rest.post("/amendments", {**json.loads(body_of(rest, WEAK)), "reason": "weak iodine"})["id"]
    words = words_of(rest, f"/what-if/{made}")
    assert "In force , 2 results" in words
    assert "40.00 30.80 mg/L" in words
    assert f"Amendment {made}" in words_of(rest, "/what-if")
    rest.post(f"/amendments/{made}/undo", {"reason": "it was not"})
    words = words_of(rest, f"/what-if/{made}")
    assert "Undone , 2 results" in words
    assert "Why it is taken back" not in words
    assert rest.request("GET", "/what-if/999999").status_code == 404


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("kind=factor&titrant=NOBODY&factor_1=0.77", "there is no reagent"),
        ("kind=aliquot&method=NOBODY&sample_ml=25", "there is no method"),
        ("kind=factor&titrant=I-0925", "What if?"),
    ],
    ids=["no such titrant", "no such method", "no factor yet"],
)
def test_what_cannot_be_supposed_is_said(rest: Rest, query: str, words: str) -> None:
    assert words in words_of(rest, f"/what-if?{query}&{WINDOW}")


def test_factors_may_be_those_that_standardisations_found(rest: Rest) -> None:
    measured(rest)
    assert "None: look at the window" in words_of(
        rest, f"/what-if?kind=factor&{WINDOW}&titrant=I-0925&found=true"
    )  # it was computed with that factor already
    strengths = [0.0092] * 3
    rest.post(
        "/standardisations",
        {
            "titrant": "I-0925",
            "strengths_mol_per_l": strengths,
            "again_mol_per_l": strengths,
            "at": "2025-10-03T11:00:00Z",
        },
    )
    words = words_of(rest, f"/what-if?kind=factor&{WINDOW}&titrant=I-0925&found=true&course=line")
    assert "2 results would change" in words
    assert "0.9200 of nominal" in words


def test_another_aliquot_is_shown_too(rest: Rest) -> None:
    measured(rest)
    words = words_of(rest, f"/what-if?kind=aliquot&{WINDOW}&method=free&sample_ml=25")
    assert "40.00 80.00 mg/L" in words


def test_another_sample_is_shown_with_what_it_decides_and_applied_by_a_tie(rest: Rest, store: Store) -> None:
    rest.record("lots", "25-ME-01", name="rosé", colour="rose", jurisdiction="EU", sugar_g_l=1.0)
    rest.record("samples", "S-ME", lot="25-ME-01")
    rest.record("methods", "said", name="total SO2", quantity="total_so2", instruments=["m-1"])
    filler = Filler(store, at_us=rest.now_us)
    line = filler.open("total", "m-1")
    (reading,) = filler.hear(line, b"170", [Answer("total_so2", "170", "mg/L", sample=FIRST)])
    take_in(store)
    address = f"/what-if?kind=sample&reading={reading}&sample=S-ME"
    (result,) = [one["id"] for one in rest.get("/results", quantity="total_so2")["items"]]
    assert f'href="/what-if?kind=sample&amp;reading={reading}"' in rest.page(f"/results/{result}")
    words = words_of(rest, address)
    assert f"{FIRST} → S-ME" in words
    assert f"limit of {LOT}, 150 mg/L: outside → not decided" in words
    assert "limit of 25-ME-01, 200 mg/L: not decided → inside" in words
    assert body_of(rest, address) == f'{{"samples": {{"{reading}": "S-ME"}}}}'
    rest.post("/ties/reassign", {"samples": {str(reading): "S-ME"}, "reason": "beakers exchanged"})
    assert "belongs to S-ME already" in words_of(rest, address)
    assert "no result stands on reading 999" in words_of(rest, "/what-if?kind=sample&reading=999&sample=S-ME")


def test_a_driver_that_is_asked_for_is_answered_in_words(rest: Rest) -> None:
    assert "Another driver" in rest.page("/what-if/driver").replace("another", "Another")
    answer: Any = rest.request("GET", "/what-if/driver?line=ph&driver=nobody")
    assert answer.status_code == 200
    assert SECOND not in answer.text
