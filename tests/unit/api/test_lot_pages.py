"""The pages of lots: where each stands, and for one its limits, its course and what a dose would do."""

import re
from collections.abc import Iterator

import pytest

from api.lot_chart import DAY_US, Slope, lot_chart
from storage.store import Store
from tests.fakes.rest import Rest, rest_on
from tests.fakes.wine_over_rest import FIRST, LOT, enter_wine, measure

FREE_MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 50 * 1000  # [mg/L per mL]
TOTAL_MG_PER_ML = 0.01 * (32.06 + 2 * 15.999) / 20 * 1000  # [mg/L per mL]


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    with rest_on(store) as one:
        yield one


def words(text: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def measured(rest: Rest, **lot: object) -> None:
    """Enter a wine with 25 mg/L free, 60 mg/L total and pH 3.40."""
    enter_wine(rest, **lot)  # type: ignore[arg-type]
    measure(rest, "ph", 3.4, "2025-10-02T12:30:00Z", FIRST)
    measure(rest, "free", 25 / FREE_MG_PER_ML, "2025-10-02T13:00:00Z", FIRST)
    measure(rest, "total", 60 / TOTAL_MG_PER_ML, "2025-10-02T13:10:00Z", FIRST)


def test_an_empty_cellar_says_how_a_lot_is_entered(rest: Rest) -> None:
    assert "No lot is stored" in rest.page("/lots")


def test_each_lot_stands_against_its_band_in_words(rest: Rest) -> None:
    measured(rest, molecular_low_mg_l=0.5, molecular_high_mg_l=0.8)
    text = words(rest.page("/lots"))
    # 25 mg/L at pH 3.4 with pK 1.81: 25 / (1 + 10^1.59) = 0.63 mg/L
    assert re.search(rf"{LOT} Pinot noir 3\.40 .* 25\.00 .* 0\.63 .* 60\.00 .* in its band", text)


def test_a_lot_without_a_band_says_so(rest: Rest) -> None:
    measured(rest)
    assert "no band set" in rest.page("/lots")
    text = words(rest.page(f"/lots/{LOT}"))
    assert "No forecast" in text
    assert "Free sulfur dioxide, so far and on" in text


def test_a_dose_is_worked_out_with_what_it_stands_on(rest: Rest) -> None:
    measured(rest, jurisdiction="EU", sugar_g_l=1.0)
    asked = rest.get(f"/lots/{LOT}/dose", mg_l=20)
    text = words(rest.page(f"/lots/{LOT}?dose=20"))
    assert f"Free SO2 to expect {asked['free_mg_l']:.0f} mg/L" in text
    assert "Total SO2 80 mg/L" in text
    assert "against a limit of 150 mg/L: inside" in text
    assert "check it against your own regulations" in text


def test_a_dose_that_cannot_be_told_says_what_to_measure(rest: Rest) -> None:
    enter_wine(rest)
    assert "has no free_so2 that may be used: measure it" in rest.page(f"/lots/{LOT}?dose=20")


@pytest.mark.parametrize("dose", ["-1", "much", "501"])
def test_a_dose_that_makes_no_sense_is_refused(rest: Rest, dose: str) -> None:
    enter_wine(rest)
    assert rest.request("GET", f"/lots/{LOT}?dose={dose}").status_code == 422


def test_an_unknown_lot_is_not_found(rest: Rest) -> None:
    answer = rest.request("GET", "/lots/NONE")
    assert answer.status_code == 404
    assert "there is no lot 'NONE'" in answer.text


def test_the_drawing_puts_later_to_the_right_and_more_higher() -> None:
    chart = lot_chart([(0, 30.0), (10 * DAY_US, 20.0)], 20 * DAY_US, None, (None, None))
    assert chart is not None
    first, second = chart.dots
    assert first.x < second.x < chart.now_x < chart.width
    assert first.y < second.y
    assert (chart.line, chart.band_top) == (None, None)


def test_the_line_of_the_drawing_goes_through_its_points_and_stays_in_it() -> None:
    slope = Slope(0, 30.0, -1.0)
    chart = lot_chart([(0, 30.0), (10 * DAY_US, 20.0)], 20 * DAY_US, slope, (10.0, 25.0))
    assert chart is not None
    assert chart.line is not None
    x1, y1, x2, y2 = chart.line
    first, second = chart.dots
    assert (x1, y1) == (first.x, first.y)
    on_line = y1 + (second.x - x1) / (x2 - x1) * (y2 - y1)
    assert second.y == pytest.approx(on_line)
    assert 0 <= y2 <= chart.height
    assert chart.band_top is not None
    assert chart.band_bottom is not None
    assert chart.band_top < chart.band_bottom


def test_values_that_do_not_move_are_drawn_too() -> None:
    chart = lot_chart([(0, 5.0)], 0, None, (None, None))
    assert chart is not None
    assert 0 < chart.dots[0].y < chart.height


def test_nothing_is_drawn_of_nothing() -> None:
    assert lot_chart([], 0, None, (0.5, 0.8)) is None
