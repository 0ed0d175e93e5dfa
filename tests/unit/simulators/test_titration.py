"""The burette's own way of finding the end."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.iodine import SO2_G_PER_MOL, Flask, so2_mol
from simulators.noise import stream
from simulators.titration import TICK_S, End, Panel, Titration


def run(
    so2_mg_l: float, *, seed: int | None = None, floor_na: float = 3.0, panel: Panel | None = None
) -> Titration:
    panel = panel or Panel()
    flask = Flask(so2_mol(so2_mg_l, panel.aliquot_ml), panel.aliquot_ml + 8.0, panel.titrant_mol_l)
    titration = Titration(flask, panel, None if seed is None else stream(seed, "test"), floor_na)
    while titration.end is None:
        titration.tick()
    return titration


@settings(max_examples=25, deadline=None)
@given(st.floats(3.0, 125.0))
def test_the_end_lies_within_0_02_ml_of_stoichiometry(so2_mg_l: float) -> None:
    expected_ml = so2_mg_l * 1e-3 / SO2_G_PER_MOL * 50.0 / 0.01  # one iodine for each sulfur dioxide
    titration = run(so2_mg_l)
    assert titration.end is End.REACHED
    assert abs(titration.volume_ml - expected_ml) <= 0.02


@settings(max_examples=15, deadline=None)
@given(st.floats(3.0, 120.0), st.integers(0, 10_000))
def test_noise_moves_the_end_by_hundredths_at_most(so2_mg_l: float, seed: int) -> None:
    assert abs(run(so2_mg_l, seed=seed).volume_ml - run(so2_mg_l).volume_ml) <= 0.04


def test_a_burette_that_runs_out_says_so_and_gives_no_more_than_it_holds() -> None:
    titration = run(190.0)
    assert titration.end is End.RAN_OUT
    assert titration.volume_ml == pytest.approx(10.0, abs=1e-9)


def test_pins_that_conduct_before_the_first_dose_give_no_value() -> None:
    titration = run(30.0, floor_na=400.0)
    assert (titration.end, titration.volume_ml) == (End.NO_VALUE, 0.0)


def test_an_aborted_run_is_over() -> None:
    titration = Titration(Flask(1e-5, 58.0, 0.01), Panel(), None)
    titration.abort()
    assert titration.end is End.ABORTED


def test_the_current_stays_above_the_threshold_for_the_whole_hold() -> None:
    panel = Panel(hold_s=20.0)
    titration = Titration(Flask(so2_mol(10.0, 50.0), 58.0, 0.01), panel, None)
    currents = []
    while titration.end is None:
        titration.tick()
        currents.append(titration.current_na)
    assert min(currents[-round(20.0 / TICK_S) :]) >= panel.threshold_na


def test_the_result_follows_the_panel_and_not_the_truth() -> None:
    panel = Panel(titrant_mol_l=0.02, aliquot_ml=25.0, blank_ml=0.10)
    titration = Titration(Flask(0.0, 58.0, 0.01), panel, None)
    titration.volume_ml = 2.10
    assert titration.so2_mg_l() == pytest.approx(2.00 * 0.02 * 64.06 * 1000 / 25)
