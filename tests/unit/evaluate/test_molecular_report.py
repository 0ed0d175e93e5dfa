import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError, UnknownNameError
from evaluate.molecular import molecular_so2
from evaluate.molecular_report import WineInputs, molecular_report

OIV = "oiv-as323-04c"
WINE = WineInputs(30.0, 3.40, 12.5, u_free_mg_per_l=1.0, u_ph=0.02, u_alcohol_pct_vol=0.2)


def test_molecular_report__closed_form_single_constant() -> None:
    found = molecular_report(WINE._replace(u_free_mg_per_l=0.0), "single-1.81")
    share = 1 / (1 + 10**1.59)
    assert found.molecular_mg_per_l == pytest.approx(30 * share)
    assert found.u_mg_per_l == pytest.approx(30 * share * math.log(10) * (1 - share) * 0.02)
    assert (found.constants, found.pk, found.temperature_c) == ("single-1.81", 1.81, None)
    assert found.remarks == ()


def test_molecular_report__limit_exact_inputs_have_no_uncertainty() -> None:
    found = molecular_report(WineInputs(30.0, 3.4, 12.5), OIV)
    assert found.u_mg_per_l == 0.0
    assert set(found.shares.values()) == {0.0}


def test_molecular_report__limit_only_free_is_uncertain() -> None:
    found = molecular_report(WineInputs(30.0, 3.4, 12.5, u_free_mg_per_l=1.5), OIV)
    assert found.u_mg_per_l / found.molecular_mg_per_l == pytest.approx(1.5 / 30)
    assert found.shares["free SO2"] == pytest.approx(1.0)


@given(st.floats(1, 100), st.floats(2.8, 4.0), st.floats(0, 20), st.floats(0.01, 2), st.floats(0.001, 0.05))
def test_molecular_report__law_the_shares_add_to_one(
    free: float, ph: float, alcohol: float, u_free: float, u_ph: float
) -> None:
    wine = WineInputs(free, ph, alcohol, u_free_mg_per_l=u_free, u_ph=u_ph, u_alcohol_pct_vol=0.1)
    found = molecular_report(wine._replace(u_temperature_c=0.5), OIV)
    assert sum(found.shares.values()) == pytest.approx(1.0)
    assert min(found.shares.values()) >= 0


def test_molecular_report__independent_monte_carlo() -> None:
    wine = WINE._replace(u_temperature_c=0.3)
    rng = np.random.default_rng(20251125)
    draws = molecular_so2(
        rng.normal(30.0, 1.0, 200_000),
        rng.normal(3.40, 0.02, 200_000),
        OIV,
        alcohol_pct_vol=rng.normal(12.5, 0.2, 200_000),
        temperature_c=rng.normal(25.0 + 1.5, 0.3, 200_000),
    )
    found = molecular_report(wine, OIV, temperature_c=26.5)
    assert found.u_mg_per_l == pytest.approx(float(np.std(draws)), rel=0.02)


def test_molecular_report__independent_share_of_each_input_by_leaving_it_out() -> None:
    wine = WINE._replace(u_temperature_c=0.3)
    whole = molecular_report(wine, OIV, temperature_c=26.0)
    without_ph = molecular_report(wine._replace(u_ph=0.0), OIV, temperature_c=26.0)
    without_alcohol = molecular_report(wine._replace(u_alcohol_pct_vol=0.0), OIV, temperature_c=26.0)
    without_temperature = molecular_report(wine._replace(u_temperature_c=0.0), OIV, temperature_c=26.0)
    assert 1 - (without_ph.u_mg_per_l / whole.u_mg_per_l) ** 2 == pytest.approx(whole.shares["pH"])
    assert 1 - (without_alcohol.u_mg_per_l / whole.u_mg_per_l) ** 2 == pytest.approx(whole.shares["alcohol"])
    assert 1 - (without_temperature.u_mg_per_l / whole.u_mg_per_l) ** 2 == pytest.approx(
        whole.shares["temperature"]
    )


@pytest.mark.parametrize(("field", "step"), [("alcohol", 0.5), ("temperature", 0.5)])
def test_molecular_report__independent_difference_over_one_uncertainty(field: str, step: float) -> None:
    alone = {
        "alcohol": WineInputs(30.0, 3.4, 12.5, u_alcohol_pct_vol=step),
        "temperature": WineInputs(30.0, 3.4, 12.5, u_temperature_c=step),
    }
    shifted = {
        "alcohol": molecular_so2(30.0, 3.4, OIV, alcohol_pct_vol=[12.0, 13.0], temperature_c=22.5),
        "temperature": molecular_so2(30.0, 3.4, OIV, alcohol_pct_vol=12.5, temperature_c=[22.0, 23.0]),
    }
    low, high = shifted[field]
    found = molecular_report(alone[field], OIV, temperature_c=22.5)
    assert found.u_mg_per_l == pytest.approx((high - low) / 2, rel=0.01)
    assert found.shares[field] == pytest.approx(1.0)


def test_molecular_report__closed_form_the_steeper_side_of_the_kink_counts() -> None:
    wine = WineInputs(30.0, 3.4, 10.0, u_temperature_c=0.5)
    low, at, high = molecular_so2(30.0, 3.4, OIV, alcohol_pct_vol=10.0, temperature_c=[29.5, 30.0, 30.5])
    found = molecular_report(wine, OIV, temperature_c=30.0)
    assert found.u_mg_per_l == pytest.approx(at - low, rel=0.03)
    assert found.u_mg_per_l > 1.5 * (high - at)


def test_molecular_report__limit_at_the_edge_of_the_table_one_side_is_enough() -> None:
    at_edge = molecular_report(WineInputs(30.0, 3.4, 12.5, u_temperature_c=0.5), OIV)
    inside = molecular_report(WineInputs(30.0, 3.4, 12.5, u_temperature_c=0.5), OIV, temperature_c=20.5)
    assert at_edge.u_mg_per_l / at_edge.molecular_mg_per_l == pytest.approx(
        inside.u_mg_per_l / inside.molecular_mg_per_l, rel=0.02
    )
    top = molecular_report(WineInputs(30.0, 3.4, 12.5, u_temperature_c=0.5), OIV, temperature_c=40.0)
    assert top.u_mg_per_l > 0


def test_molecular_report__closed_form_says_at_which_temperature_it_is_given() -> None:
    assert molecular_report(WINE, OIV).remarks == ("given at 20 °C",)
    assert molecular_report(WINE, OIV).temperature_c == 20.0
    assert molecular_report(WINE, OIV, wine_temperature_c=14.0).remarks == (
        "given at 20 °C, not at the 14 °C of the wine",
    )
    assert molecular_report(WINE, OIV, wine_temperature_c=20.0).remarks == ("given at 20 °C",)


def test_molecular_report__closed_form_says_that_red_wine_has_an_upper_value() -> None:
    assert any(
        "upper value" in remark for remark in molecular_report(WINE._replace(red=True), "single-1.81").remarks
    )


@pytest.mark.parametrize(("alcohol", "count"), [(15.0, 1), (15.1, 2)])
def test_molecular_report__limit_says_where_the_table_was_not_read(alcohol: float, count: int) -> None:
    assert len(molecular_report(WINE._replace(alcohol_pct_vol=alcohol), OIV).remarks) == count


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_molecular_report__refuses_a_bad_uncertainty(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        molecular_report(WINE._replace(u_free_mg_per_l=bad), OIV)
    with pytest.raises(OutOfRangeError):
        molecular_report(WINE._replace(u_ph=bad), OIV)
    with pytest.raises(OutOfRangeError):
        molecular_report(WINE._replace(u_alcohol_pct_vol=bad), OIV)
    with pytest.raises(OutOfRangeError):
        molecular_report(WINE._replace(u_temperature_c=bad), OIV)


def test_molecular_report__refuses_a_bad_cellar_temperature() -> None:
    with pytest.raises(OutOfRangeError):
        molecular_report(WINE, OIV, wine_temperature_c=math.nan)


def test_molecular_report__refuses_an_unknown_set() -> None:
    with pytest.raises(UnknownNameError):
        molecular_report(WINE, "none")
