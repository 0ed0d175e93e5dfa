import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import ContradictionError, OutOfRangeError
from evaluate.titre import iodine_from_iodate, iodine_from_thiosulfate, net_titre_ml

VOLUMES = st.floats(0.01, 100.0)
STRENGTHS = st.floats(1e-4, 1.0)
NOT_FINITE = (math.nan, math.inf, -math.inf)


def test_net_titre_ml__closed_form_a_difference() -> None:
    assert net_titre_ml(5.25, 0.25) == 5.0


def test_net_titre_ml__limit_no_blank_leaves_the_titre_alone() -> None:
    assert net_titre_ml(5.25) == 5.25


def test_net_titre_ml__limit_a_titre_at_its_blank_is_zero() -> None:
    assert net_titre_ml(0.25, 0.25) == 0.0


@given(VOLUMES, st.floats(0.0, 1.0))
def test_net_titre_ml__law_adding_the_blank_gives_the_titre_back(titre: float, share: float) -> None:
    blank = titre * share
    assert net_titre_ml(titre, blank) + blank == pytest.approx(titre, rel=1e-12)


def test_net_titre_ml__independent_exact_fractions() -> None:
    exact = Fraction("12.34") - Fraction("0.15")
    assert net_titre_ml(12.34, 0.15) == pytest.approx(float(exact), rel=1e-14)


def test_net_titre_ml__refuses_a_titre_below_its_blank() -> None:
    with pytest.raises(ContradictionError, match="below its blank"):
        net_titre_ml(0.10, 0.11)


@pytest.mark.parametrize("bad", [-0.01, *NOT_FINITE])
def test_net_titre_ml__refuses_what_is_no_volume(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        net_titre_ml(bad)
    with pytest.raises(OutOfRangeError):
        net_titre_ml(5.0, bad)


def test_iodine_from_iodate__closed_form_the_official_french_titrant() -> None:
    # 1/384 mol/L of iodate is the titrant of 1/128 mol/L of iodine.
    assert iodine_from_iodate(1 / 384) == pytest.approx(1 / 128, rel=1e-15)


def test_iodine_from_iodate__published_normal_solution() -> None:
    # 3.5667 g/L KIO3 is 0.1000 eq/L against thiosulfate, which is 0.05 mol/L of iodine; certificate practice.
    assert iodine_from_iodate(3.5667 / 213.9998) == pytest.approx(0.0500, abs=1e-6)


def test_iodine_from_iodate__limit_a_trace_stays_a_trace() -> None:
    assert iodine_from_iodate(1e-300) == pytest.approx(3e-300)


@given(STRENGTHS, st.floats(0.1, 10.0))
def test_iodine_from_iodate__law_it_is_proportional(strength: float, factor: float) -> None:
    assert iodine_from_iodate(strength * factor) == pytest.approx(factor * iodine_from_iodate(strength))


def test_iodine_from_iodate__independent_electron_balance() -> None:
    # Iodate takes 6 electrons to iodide; iodine takes 2. Of the 6 iodine atoms, 5 come from iodide.
    assert iodine_from_iodate(0.01) / 0.01 == pytest.approx((5 + 1) / 2)


@pytest.mark.parametrize("bad", [0.0, -0.01, *NOT_FINITE])
def test_iodine_from_iodate__refuses_what_is_no_strength(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        iodine_from_iodate(bad)


def test_iodine_from_thiosulfate__closed_form_two_thiosulfate_an_iodine() -> None:
    assert iodine_from_thiosulfate(0.0200, 25.0, 25.0) == pytest.approx(0.0100, rel=1e-15)


def test_iodine_from_thiosulfate__limit_a_titre_at_the_blank_is_no_iodine() -> None:
    assert iodine_from_thiosulfate(0.02, 0.05, 25.0, blank_ml=0.05) == 0.0


@given(STRENGTHS, VOLUMES, VOLUMES)
def test_iodine_from_thiosulfate__law_the_electrons_balance(c: float, v: float, taken: float) -> None:
    assert iodine_from_thiosulfate(c, v, taken) * taken * 2 == pytest.approx(c * v)


def test_iodine_from_thiosulfate__independent_exact_fractions_with_a_blank() -> None:
    exact = Fraction("0.0201") * (Fraction("24.85") - Fraction("0.05")) / (2 * 20)
    assert iodine_from_thiosulfate(0.0201, 24.85, 20.0, blank_ml=0.05) == pytest.approx(
        float(exact), rel=1e-13
    )


@pytest.mark.parametrize(
    ("c", "v", "taken", "blank"),
    [(0.0, 25, 25, 0), (0.02, -1, 25, 0), (0.02, 25, 0, 0), (0.02, 25, 25, -1), (math.nan, 25, 25, 0)],
)
def test_iodine_from_thiosulfate__refuses_bad_inputs(c: float, v: float, taken: float, blank: float) -> None:
    with pytest.raises(OutOfRangeError):
        iodine_from_thiosulfate(c, v, taken, blank_ml=blank)
