"""Iodine, sulfur dioxide and two pins."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.iodine import (
    PHENOL_PER_S,
    PIN_LIMIT_NA,
    PIN_NA_PER_MOL_L,
    TRIIODIDE_L_PER_MOL,
    Flask,
    so2_mol,
    split_iodine,
)

CONCENTRATIONS = st.floats(1e-9, 0.1)


def stirred(flask: Flask, time_s: float = 20.0) -> Flask:
    for _ in range(round(time_s * 10)):
        flask.stir(0.1)
    return flask


@given(CONCENTRATIONS, CONCENTRATIONS)
def test_iodine_and_triiodide_are_in_equilibrium_and_balance(iodine: float, iodide: float) -> None:
    free, bound = split_iodine(iodine, iodide)
    assert free + bound == pytest.approx(iodine, rel=1e-12)
    assert bound == pytest.approx(TRIIODIDE_L_PER_MOL * free * (iodide - bound), rel=1e-6)


def test_without_iodide_there_is_no_triiodide() -> None:
    assert split_iodine(1e-4, 0.0) == (1e-4, 0.0)


def test_in_plenty_of_iodide_nearly_all_iodine_is_bound() -> None:
    free, bound = split_iodine(1e-6, 0.1)
    assert free / bound == pytest.approx(1.0 / (TRIIODIDE_L_PER_MOL * 0.1), rel=1e-4)


def test_the_amount_in_an_aliquot_follows_from_the_molar_mass() -> None:
    assert so2_mol(64.058, 50.0) == pytest.approx(5.0e-5, rel=1e-12)


def test_sulfur_dioxide_takes_iodine_one_to_one() -> None:
    flask = Flask(so2_mol=2.0e-5, volume_ml=58.0, titrant_mol_l=0.01)
    flask.dose(1.5)
    stirred(flask)
    assert flask.so2_mol == pytest.approx(0.5e-5, rel=1e-9)
    assert flask.iodine_mol == 0.0


def test_each_iodine_that_reacts_leaves_two_iodides() -> None:
    flask = Flask(so2_mol=2.0e-5, volume_ml=58.0, titrant_mol_l=0.01, titrant_iodide_mol_l=0.0)
    flask.dose(1.0)
    assert stirred(flask).iodide_mol == pytest.approx(2.0e-5, rel=1e-9)


def test_iodine_beyond_the_sulfur_dioxide_is_to_spare() -> None:
    flask = Flask(so2_mol=1.0e-5, volume_ml=58.0, titrant_mol_l=0.01)
    flask.dose(1.2)
    spare_mol = stirred(flask, 5.0).iodine_mol
    assert 2.0e-6 * math.exp(-PHENOL_PER_S * 5.0) * 0.999 < spare_mol < 2.0e-6


@given(st.floats(0.0, 1e-4), st.lists(st.floats(0.0, 0.1), max_size=30))
def test_no_amount_ever_falls_below_zero(so2: float, doses_ml: list[float]) -> None:
    flask = Flask(so2_mol=so2, volume_ml=58.0, titrant_mol_l=0.01)
    for dose_ml in doses_ml:
        flask.dose(dose_ml)
        flask.stir(0.5)
    assert min(flask.so2_mol, flask.iodine_mol, flask.drop_mol, flask.iodide_mol) >= 0.0


def test_without_iodine_the_pins_pass_nothing() -> None:
    assert Flask(so2_mol=1e-5, volume_ml=58.0, titrant_mol_l=0.01).pin_current_na() == 0.0


def test_a_little_free_iodine_passes_its_full_share() -> None:
    flask = Flask(so2_mol=0.0, volume_ml=50.0, titrant_mol_l=0.01, iodine_mol=5e-8)
    assert flask.pin_current_na() == pytest.approx(PIN_NA_PER_MOL_L * 1e-6, rel=1e-9)


def test_the_amplifier_ends_at_its_limit() -> None:
    assert Flask(0.0, 50.0, 0.01, iodine_mol=1e-3).pin_current_na() == PIN_LIMIT_NA


def test_the_pins_feel_a_drop_the_more_the_scarcer_the_sulfur_dioxide() -> None:
    currents = [Flask(so2, 58.0, 0.01, drop_mol=2e-7).pin_current_na() for so2 in (2e-5, 3e-6, 3e-7)]
    assert currents == sorted(currents)
    assert currents[0] < 1.0 < currents[-1]
