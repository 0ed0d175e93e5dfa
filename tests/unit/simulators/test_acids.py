"""The pH of a wine-like mixture."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.acids import (
    ACETIC,
    POTASSIUM_G_PER_MOL,
    TARTARIC,
    Wine,
    charge_residual_mol_l,
    davies_log_gamma,
    ionic_strength,
    potassium_for_ph,
    species_mol_l,
    wine_ph,
)

NOTHING = Wine(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
WINES = st.builds(
    Wine,
    tartaric_g_l=st.floats(1.0, 6.0),
    malic_g_l=st.floats(0.0, 5.0),
    lactic_g_l=st.floats(0.0, 3.0),
    acetic_g_l=st.floats(0.0, 1.0),
    succinic_g_l=st.floats(0.0, 1.5),
    potassium_g_l=st.floats(0.0, 2.0),
)


@settings(max_examples=30, deadline=None)
@given(WINES)
def test_the_charges_balance(wine: Wine) -> None:
    ph = wine_ph(wine)
    strength_mol_l = 0.0
    for _ in range(20):
        strength_mol_l = ionic_strength(wine, ph, strength_mol_l)
    assert abs(charge_residual_mol_l(wine, ph, strength_mol_l)) < 1e-9


def test_one_weak_acid_agrees_with_the_closed_form() -> None:
    k, c = 10.0 ** -ACETIC.pk[0], 0.1
    closed_form = -math.log10((-k + math.sqrt(k * k + 4.0 * k * c)) / 2.0)
    acid = replace(NOTHING, acetic_g_l=c * ACETIC.molar_mass_g)
    assert wine_ph(acid, ideal=True) == pytest.approx(closed_form, abs=1e-6)  # leaves water's own ions out


def test_water_alone_is_neutral() -> None:
    assert wine_ph(NOTHING, ideal=True) == pytest.approx(13.995 / 2, abs=1e-9)


def test_saturated_hydrogen_tartrate_has_the_ph_of_the_standard_buffer() -> None:
    # pH 3.557 at 25 °C and 0.0341 mol/kg: Buck et al., Pure and Applied Chemistry 74 (2002) 2169.
    # The constants are rounded to 0.01 and Davies' equation is good to some hundredths at this strength.
    buffer = replace(
        NOTHING, tartaric_g_l=0.0341 * TARTARIC.molar_mass_g, potassium_g_l=0.0341 * POTASSIUM_G_PER_MOL
    )
    assert wine_ph(buffer) == pytest.approx(3.557, abs=0.05)


def test_at_its_constant_an_acid_is_half_dissociated() -> None:
    free, bare = species_mol_l(ACETIC, 0.02, ACETIC.pk[0], 0.0)
    assert free == pytest.approx(bare) == pytest.approx(0.01)


def test_ions_at_infinite_dilution_are_ideal() -> None:
    assert davies_log_gamma(2, 0.0) == 0.0


def test_a_doubly_charged_ion_departs_four_times_as_far() -> None:
    assert davies_log_gamma(2, 0.04) == pytest.approx(4.0 * davies_log_gamma(1, 0.04))


@settings(max_examples=20, deadline=None)
@given(WINES, st.floats(3.0, 4.0))
def test_the_potassium_for_a_ph_gives_that_ph(wine: Wine, ph: float) -> None:
    mixture = replace(wine, potassium_g_l=potassium_for_ph(wine, ph))
    assert wine_ph(mixture) == pytest.approx(ph, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(WINES, st.floats(0.05, 1.0))
def test_more_potassium_raises_the_ph(wine: Wine, more_g_l: float) -> None:
    assert wine_ph(replace(wine, potassium_g_l=wine.potassium_g_l + more_g_l)) > wine_ph(wine)


def test_refuses_a_ph_that_no_potassium_can_give() -> None:
    with pytest.raises(ValueError, match="below that of the acids alone"):
        potassium_for_ph(replace(NOTHING, tartaric_g_l=4.0), 1.0)
