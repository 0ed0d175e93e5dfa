"""The cellar and what is drawn from it."""

from itertools import islice

import pytest

from simulators.acids import wine_ph
from simulators.samples import LOTS, Lot, otterquill


@pytest.mark.parametrize("lot", LOTS, ids=lambda lot: lot.code)
def test_the_acids_of_a_lot_give_its_ph(lot: Lot) -> None:
    assert lot.wine().potassium_g_l > 0
    assert wine_ph(lot.wine()) == pytest.approx(lot.ph, abs=1e-6)


def test_samples_are_numbered_and_go_round_the_lots() -> None:
    samples = list(islice(otterquill(1), 2 * len(LOTS)))
    assert [samples[0].id, samples[6].id] == ["W-1001", "W-1007"]
    assert [sample.lot for sample in samples] == [lot.code for lot in LOTS] * 2


def test_a_seed_fixes_the_truth() -> None:
    assert list(islice(otterquill(7), 20)) == list(islice(otterquill(7), 20))
    assert list(islice(otterquill(7), 20)) != list(islice(otterquill(8), 20))


def test_free_is_never_more_than_total_and_never_below_zero() -> None:
    assert all(0.0 <= sample.free_mg_l <= sample.total_mg_l for sample in islice(otterquill(3), 500))


def test_each_malic_acid_that_is_gone_has_become_one_lactic_acid() -> None:
    lot = Lot("x", 10.0, 40.0, 3.5, 3.0, 0.0, 1.34087)  # 0.01 mol/L of malic acid at the start
    assert lot.wine().lactic_g_l == pytest.approx(0.90078, abs=1e-6)
