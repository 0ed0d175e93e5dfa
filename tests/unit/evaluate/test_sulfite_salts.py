import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError
from evaluate.sulfite_salts import (
    POTASSIUM_METABISULFITE,
    SODIUM_METABISULFITE,
    SULFITE_SALTS,
    Rounding,
    rise_mg_per_l,
    round_to_step,
    salt_mass_g,
    share_from_titration,
    solution_volume_ml,
)

NOT_FINITE = (math.nan, math.inf, -math.inf)
RISES = st.floats(0.0, 400.0)
WINES = st.floats(1.0, 100_000.0)
SHARES = st.floats(0.3, 1.0)


def test_the_strength_of_potassium_metabisulfite_is_the_printed_one() -> None:
    # Practical Winery & Vineyard, January 2014, p. 58: 57.6 %.
    assert POTASSIUM_METABISULFITE.so2_share == pytest.approx(0.576, abs=0.0005)


def test_the_strengths_of_salts_are_those_of_their_atoms() -> None:
    oxygen, sulfur = Fraction("15.999"), Fraction("32.06")
    so2 = 2 * (sulfur + 2 * oxygen)
    disulfite = 2 * sulfur + 5 * oxygen
    assert POTASSIUM_METABISULFITE.so2_share == pytest.approx(
        float(so2 / (2 * Fraction("39.0983") + disulfite))
    )
    assert SODIUM_METABISULFITE.so2_share == pytest.approx(float(so2 / (2 * Fraction("22.990") + disulfite)))
    assert {salt.so2_share for salt in SULFITE_SALTS.values()} > {0.50}


@pytest.mark.parametrize(
    ("dose", "volume", "grams"), [(50, 4600, 399.3), (45, 1420, 110.9), (18, 2900, 90.6)]
)
def test_salt_mass_g__closed_form_doses_by_hand(dose: float, volume: float, grams: float) -> None:
    # 57.6 % salt; worked on paper.
    assert salt_mass_g(dose, volume, 0.576) == pytest.approx(grams, abs=0.05)


def test_salt_mass_g__published_chart_at_half_strength() -> None:
    # A winemakers' chart: 100 mg/L in 100 US gallons takes 75.7 g, because it counts 50 % yield.
    assert salt_mass_g(100.0, 378.5411784, 0.50) == pytest.approx(75.7, abs=0.05)


def test_salt_mass_g__limit_no_rise_no_salt() -> None:
    assert salt_mass_g(0.0, 1000.0, 0.576) == 0.0


@given(RISES, WINES, SHARES)
def test_salt_mass_g__law_the_rise_comes_back(rise: float, volume: float, share: float) -> None:
    assert rise_mg_per_l(salt_mass_g(rise, volume, share), volume, share) == pytest.approx(rise)


def test_salt_mass_g__independent_exact_fractions() -> None:
    exact = Fraction("32.5") * Fraction("1234.5") / 1000 / Fraction("0.562")
    assert salt_mass_g(32.5, 1234.5, 0.562) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize(
    ("rise", "volume", "share"),
    [(-1, 100, 0.5), (501, 100, 0.5), (10, 0, 0.5), (10, 100, 0), (10, 100, 1.01), (math.nan, 100, 0.5)],
)
def test_salt_mass_g__refuses_bad_inputs(rise: float, volume: float, share: float) -> None:
    with pytest.raises(OutOfRangeError):
        salt_mass_g(rise, volume, share)


def test_rise_mg_per_l__closed_form_by_hand() -> None:
    assert rise_mg_per_l(100.0, 1000.0, 0.576) == pytest.approx(57.6)


def test_rise_mg_per_l__limit_pure_gas_counts_whole() -> None:
    assert rise_mg_per_l(10.0, 1000.0, 1.0) == pytest.approx(10.0)


@given(st.floats(0, 1000), WINES)
def test_rise_mg_per_l__law_half_the_wine_doubles_the_rise(salt: float, volume: float) -> None:
    assert rise_mg_per_l(salt, volume / 2, 0.5) == pytest.approx(2 * rise_mg_per_l(salt, volume, 0.5))


def test_rise_mg_per_l__independent_exact_fractions() -> None:
    exact = Fraction("399.3") * 1000 * Fraction("0.576") / 4600
    assert rise_mg_per_l(399.3, 4600.0, 0.576) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize("bad", [-0.1, *NOT_FINITE])
def test_rise_mg_per_l__refuses_bad_inputs(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        rise_mg_per_l(bad, 1000.0, 0.576)
    with pytest.raises(OutOfRangeError):
        rise_mg_per_l(10.0, bad, 0.576)


def test_solution_volume_ml__closed_form_a_tenth_of_salt_is_5_76_per_cent_so2() -> None:
    # 100 g/L of salt at 57.6 % holds 57.6 g/L SO2: 57.6 mg/L in 1000 L needs one litre.
    assert solution_volume_ml(57.6, 1000.0, 100.0, 0.576) == pytest.approx(1000.0)


def test_solution_volume_ml__limit_no_rise_no_solution() -> None:
    assert solution_volume_ml(0.0, 1000.0, 100.0, 0.576) == 0.0


@given(RISES, WINES, st.floats(1, 300), SHARES)
def test_solution_volume_ml__law_the_solution_holds_the_salt(
    rise: float, wine: float, salt: float, share: float
) -> None:
    litres = solution_volume_ml(rise, wine, salt, share) / 1000
    assert litres * salt == pytest.approx(salt_mass_g(rise, wine, share))


def test_solution_volume_ml__independent_exact_fractions() -> None:
    exact = Fraction(30) * 225 / (Fraction(80) * Fraction("0.55"))
    assert solution_volume_ml(30.0, 225.0, 80.0, 0.55) == pytest.approx(float(exact), rel=1e-13)


@pytest.mark.parametrize("bad", [0.0, -1.0, *NOT_FINITE])
def test_solution_volume_ml__refuses_a_solution_without_salt(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        solution_volume_ml(30.0, 225.0, bad, 0.55)


def test_share_from_titration__closed_form_by_hand() -> None:
    assert share_from_titration(5.5, 10.0) == pytest.approx(0.55)


def test_share_from_titration__limit_none_and_all() -> None:
    assert share_from_titration(0.0, 10.0) == 0.0
    assert share_from_titration(10.0, 10.0) == 1.0


@given(st.floats(0, 1), st.floats(0.1, 300))
def test_share_from_titration__law_share_times_salt_is_what_was_found(share: float, salt: float) -> None:
    assert share_from_titration(share * salt, salt) * salt == pytest.approx(share * salt)


def test_share_from_titration__independent_exact_fractions() -> None:
    assert share_from_titration(5.61, 9.98) == pytest.approx(
        float(Fraction("5.61") / Fraction("9.98")), rel=1e-14
    )


@pytest.mark.parametrize(
    ("found", "salt"), [(-0.1, 10), (10.1, 10), (1, 0), (1, -1), (math.nan, 10), (1, math.nan)]
)
def test_share_from_titration__refuses_bad_inputs(found: float, salt: float) -> None:
    with pytest.raises(OutOfRangeError):
        share_from_titration(found, salt)


@pytest.mark.parametrize(
    ("mass", "step", "nearest", "down"),
    [
        (399.305, 0.1, 399.3, 399.3),
        (399.36, 0.1, 399.4, 399.3),
        (0.25, 0.1, 0.3, 0.2),
        (0.3, 0.1, 0.3, 0.3),
        (7.4, 5.0, 5.0, 5.0),
        (7.5, 5.0, 10.0, 5.0),
    ],
)
def test_round_to_step__closed_form_halves_go_up(
    mass: float, step: float, nearest: float, down: float
) -> None:
    assert round_to_step(mass, step) == nearest
    assert round_to_step(mass, step, Rounding.DOWN) == down


def test_round_to_step__limit_less_than_half_a_step_is_nothing() -> None:
    assert round_to_step(0.049, 0.1) == 0.0


@given(st.floats(0, 1e5), st.sampled_from([0.0001, 0.001, 0.01, 0.1, 1.0, 5.0]))
def test_round_to_step__law_never_further_than_half_a_step(mass: float, step: float) -> None:
    assert abs(round_to_step(mass, step) - mass) <= step / 2 * (1 + 1e-9) + 1e-10
    assert round_to_step(mass, step, Rounding.DOWN) <= mass


@given(st.integers(0, 10**6), st.sampled_from([1, 10, 100, 1000]))
def test_round_to_step__independent_integers_by_hand(thousandths: int, parts: int) -> None:
    step = Fraction(1, parts)
    exact = Fraction(thousandths, 1000)
    expected = ((exact / step + Fraction(1, 2)) // 1) * step
    assert round_to_step(thousandths / 1000, 1 / parts) == pytest.approx(float(expected), abs=1e-9)


@pytest.mark.parametrize(("mass", "step"), [(-1, 0.1), (1, 0), (1, -0.1), (math.nan, 0.1), (1, math.inf)])
def test_round_to_step__refuses_bad_inputs(mass: float, step: float) -> None:
    with pytest.raises(OutOfRangeError):
        round_to_step(mass, step)
