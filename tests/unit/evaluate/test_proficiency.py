import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from evaluate.errors import OutOfRangeError
from evaluate.proficiency import Performance, Score, en_score, z_prime_score, z_score, zeta_score
from evaluate.statistics import standard_deviation
from tundish.selftest.tables import rows

GEAR = rows("qc/nist_gear.csv")
LEAD = {
    row["lab"]: row for row in rows("qc/ccqm_k30_lead_in_wine.csv")
}  # assigned 2.99, u 0.03, U 0.06 [mg/kg]
values = st.floats(-1e3, 1e3)
scatters = st.floats(0.01, 1e3)


def score_at(distance: float, function: Callable[..., Score]) -> Performance:
    """Return the performance of a result `distance` standard deviations of 0.5 above 10."""
    others = {z_score: (0.5,), z_prime_score: (0.3, 0.4)}[function]
    return function(10 + distance * 0.5, 10.0, *others).performance


def test_z_score__published_gear_diameters() -> None:
    sigma = standard_deviation(float(row["y"]) for row in GEAR)
    for row in GEAR[:39]:
        assert z_score(float(row["y"]), 1.0, sigma).value == pytest.approx(
            float(row["z_printed"]), abs=0.0016
        )


@pytest.mark.parametrize("function", [z_score, z_prime_score])
def test_z_score__limit_two_is_still_acceptable_and_three_asks_for_action(
    function: Callable[..., Score],
) -> None:
    assert score_at(2.0, function) is Performance.ACCEPTABLE
    assert score_at(2.001, function) is Performance.WARNING
    assert score_at(2.999, function) is Performance.WARNING
    assert score_at(3.001, function) is Performance.ACTION
    assert z_score(13.0, 10.0, 1.0).performance is Performance.ACTION


@given(values, values, scatters)
def test_z_score__law_mirrored_results_have_mirrored_scores(x: float, assigned: float, sigma: float) -> None:
    above, below = z_score(x, assigned, sigma), z_score(-x, -assigned, sigma)
    assert (above.value, above.performance) == (-below.value, below.performance)


@pytest.mark.parametrize(
    ("x", "assigned", "sigma"), [(math.nan, 1, 1), (1, math.inf, 1), (1, 1, 0), (1, 1, -1), (1, 1, math.nan)]
)
def test_z_score__refuses_no_number_and_no_scatter(x: float, assigned: float, sigma: float) -> None:
    with pytest.raises(OutOfRangeError):
        z_score(x, assigned, sigma)


@given(values, values, scatters)
def test_z_score__independent_of_uncertainties(x: float, assigned: float, sigma: float) -> None:
    difference = x - ufloat(assigned, sigma)
    assert z_score(x, assigned, sigma).value == pytest.approx(difference.nominal_value / difference.std_dev)


def test_z_prime_score__closed_form_of_a_right_triangle() -> None:
    assert z_prime_score(12.5, 10.0, 0.3, 0.4).value == pytest.approx(5.0, rel=1e-12)


def test_z_prime_score__limit_of_a_well_known_value_is_z() -> None:
    assert z_prime_score(11.0, 10.0, 0.5, 0.0) == z_score(11.0, 10.0, 0.5)


@given(values, values, scatters, scatters)
def test_z_prime_score__law_it_is_never_graver_than_z(x: float, a: float, sigma: float, u: float) -> None:
    assert abs(z_prime_score(x, a, sigma, u).value) <= abs(z_score(x, a, sigma).value)


@pytest.mark.parametrize(("sigma", "u"), [(0, 1), (1, -0.1), (math.nan, 1), (1, math.inf)])
def test_z_prime_score__refuses_no_scatter_and_negative_uncertainty(sigma: float, u: float) -> None:
    with pytest.raises(OutOfRangeError):
        z_prime_score(1.0, 1.0, sigma, u)


@given(values, values, scatters, scatters)
def test_z_prime_score__independent_of_uncertainties(x: float, a: float, sigma: float, u: float) -> None:
    difference = ufloat(x, sigma) - ufloat(a, u)
    expected = difference.nominal_value / difference.std_dev
    assert z_prime_score(x, a, sigma, u).value == pytest.approx(expected)


@pytest.mark.parametrize(
    ("lab", "zeta"), [("KRISS", -2.663), ("NMIJ", -1.662), ("LNE", 2.087), ("INM", 4.765)]
)
def test_zeta_score__published_lead_in_wine(lab: str, zeta: float) -> None:
    """Published inputs; the scores were worked out from them."""
    row = LEAD[lab]
    u = float(row["U"]) / float(row["k"])
    assert zeta_score(float(row["value"]), u, 2.99, 0.03).value == pytest.approx(zeta, abs=1e-3)


def test_zeta_score__limit_signals_begin_past_two_and_at_three() -> None:
    found = [zeta_score(10 + d, 0.6, 10.0, 0.8).performance for d in (2.0, 2.001, 3.001)]
    assert found == [Performance.ACCEPTABLE, Performance.WARNING, Performance.ACTION]


@given(values, scatters, values, scatters)
def test_zeta_score__law_exchanging_the_two_changes_the_sign(x: float, u: float, a: float, ua: float) -> None:
    assert zeta_score(x, u, a, ua).value == -zeta_score(a, ua, x, u).value


@pytest.mark.parametrize(("u", "ua"), [(0, 0), (-0.1, 1), (1, -0.1), (math.nan, 1), (1, math.inf)])
def test_zeta_score__refuses_negative_or_no_uncertainty(u: float, ua: float) -> None:
    with pytest.raises(OutOfRangeError):
        zeta_score(1.0, u, 1.0, ua)


@given(values, scatters, values, scatters)
def test_zeta_score__independent_of_uncertainties(x: float, u: float, a: float, ua: float) -> None:
    difference = ufloat(x, u) - ufloat(a, ua)
    expected = difference.nominal_value / difference.std_dev
    assert zeta_score(x, u, a, ua).value == pytest.approx(expected)


EN = [("KRISS", -1.304), ("NMIJ", -0.831), ("LGC", 0.086), ("LNE", 1.043), ("INM", 2.383), ("NIM", 0.444)]


@pytest.mark.parametrize(("lab", "en"), EN)
def test_en_score__published_lead_in_wine(lab: str, en: float) -> None:
    """Published inputs; the scores were worked out from them."""
    found = en_score(float(LEAD[lab]["value"]), float(LEAD[lab]["U"]), 2.99, 0.06)
    assert found.value == pytest.approx(en, abs=1e-3)
    assert (found.performance is Performance.ACTION) == (abs(en) > 1)


def test_en_score__limit_one_is_still_satisfactory() -> None:
    assert en_score(11.0, 0.6, 10.0, 0.8).performance is Performance.ACCEPTABLE
    assert en_score(11.001, 0.6, 10.0, 0.8).performance is Performance.ACTION
    assert en_score(8.999, 0.6, 10.0, 0.8).performance is Performance.ACTION


@given(values, scatters, values, scatters)
def test_en_score__law_it_is_half_of_zeta_at_k_two(x: float, u: float, a: float, ua: float) -> None:
    zeta = zeta_score(x, u, a, ua).value
    assert 2 * en_score(x, 2 * u, a, 2 * ua).value == pytest.approx(zeta, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("u", "ua"), [(0, 0), (-0.1, 1), (1, -0.1), (math.nan, 1), (1, math.inf)])
def test_en_score__refuses_negative_or_no_uncertainty(u: float, ua: float) -> None:
    with pytest.raises(OutOfRangeError):
        en_score(1.0, u, 1.0, ua)


@given(values, scatters, values, scatters)
def test_en_score__independent_of_uncertainties(x: float, u: float, a: float, ua: float) -> None:
    difference = ufloat(x, u) - ufloat(a, ua)
    expected = difference.nominal_value / difference.std_dev
    assert en_score(x, u, a, ua).value == pytest.approx(expected)
