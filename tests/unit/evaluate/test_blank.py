import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.blank import Blank, Procedure, TitrationKind, Titre, evaluate_blank, take_off_blank
from evaluate.errors import ContradictionError, OutOfRangeError, TooFewPointsError

ACIDITY = Procedure("acidity, fixed value", 8.2, "lot 7")
VOLUMES = st.floats(0.0, 50.0)


def blank(volume_ml: float) -> Blank:
    return Blank(volume_ml, 0.0, 3, ACIDITY)


def test_evaluate_blank__closed_form_worked_by_hand() -> None:
    found = evaluate_blank([0.10, 0.12, 0.14], ACIDITY, 0.05)
    assert found.volume_ml == pytest.approx(0.12)
    assert found.span_ml == pytest.approx(0.04)
    assert (found.n, found.procedure) == (3, ACIDITY)


def test_evaluate_blank__limit_one_replicate_has_no_span() -> None:
    assert evaluate_blank([0.1], ACIDITY, 0.0).span_ml == 0.0


def test_evaluate_blank__limit_of_the_span() -> None:
    assert evaluate_blank([0.0, 0.5], ACIDITY, 0.5).volume_ml == 0.25
    with pytest.raises(ContradictionError, match=r"blanks spread by 0\.5 mL, 0\.4 mL is allowed"):
        evaluate_blank([0.0, 0.5], ACIDITY, 0.4)


@given(st.lists(VOLUMES, min_size=1, max_size=8))
def test_evaluate_blank__law_the_blank_lies_among_its_replicates(volumes: list[float]) -> None:
    found = evaluate_blank(volumes, ACIDITY, 50.0)
    assert min(volumes) - 1e-9 <= found.volume_ml <= max(volumes) + 1e-9


def test_evaluate_blank__independent_numpy() -> None:
    volumes = [0.11, 0.13, 0.08, 0.10]
    found = evaluate_blank(volumes, ACIDITY, 1.0)
    assert found.volume_ml == pytest.approx(float(np.mean(volumes)))
    assert found.span_ml == pytest.approx(float(np.ptp(volumes)))


@pytest.mark.parametrize("bad", [-0.01, math.nan, math.inf])
def test_evaluate_blank__refuses_what_is_no_volume(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        evaluate_blank([0.1, bad], ACIDITY, 1.0)
    with pytest.raises(OutOfRangeError, match="span allowed"):
        evaluate_blank([0.1], ACIDITY, bad)


def test_evaluate_blank__refuses_no_replicates() -> None:
    with pytest.raises(TooFewPointsError):
        evaluate_blank([], ACIDITY, 1.0)


def test_take_off_blank__closed_form_direct_and_back() -> None:
    direct = take_off_blank(Titre(17.25, ACIDITY), blank(0.25), "tundish")
    back = take_off_blank(Titre(5.0, ACIDITY), blank(20.5), "tundish", TitrationKind.BACK)
    assert direct == Titre(17.0, ACIDITY, "tundish")
    assert back.volume_ml == 15.5


def test_take_off_blank__limit_a_titre_at_its_blank_is_zero() -> None:
    assert take_off_blank(Titre(0.25, ACIDITY), blank(0.25), "tundish").volume_ml == 0.0
    assert take_off_blank(Titre(0.25, ACIDITY), blank(0.25), "t", TitrationKind.BACK).volume_ml == 0.0


@given(VOLUMES, VOLUMES)
def test_take_off_blank__law_instrument_and_raw_frames_give_one_result(net: float, blank_ml: float) -> None:
    raw = take_off_blank(Titre(net + blank_ml, ACIDITY), blank(blank_ml), "tundish")
    by_instrument = Titre(net, ACIDITY, "burette 1")
    assert raw.volume_ml == pytest.approx(by_instrument.volume_ml, abs=1e-9)


def test_take_off_blank__independent_exact_fractions() -> None:
    exact = Fraction("28.63") - Fraction("0.02")
    assert take_off_blank(Titre(28.63, ACIDITY), blank(0.02), "t").volume_ml == pytest.approx(float(exact))


@pytest.mark.parametrize("taken_by", ["tundish", "burette 1"])
def test_take_off_blank__refuses_to_take_it_off_twice(taken_by: str) -> None:
    with pytest.raises(ContradictionError, match=f"off already, taken by {taken_by}"):
        take_off_blank(Titre(17.0, ACIDITY, taken_by), blank(0.25), "tundish")


@pytest.mark.parametrize(
    "other",
    [
        Procedure("acidity, inflection", 8.2, "lot 7"),
        Procedure("acidity, fixed value", 7.0, "lot 7"),
        Procedure("acidity, fixed value", 8.2, "lot 8"),
    ],
)
def test_take_off_blank__refuses_a_blank_of_another_procedure(other: Procedure) -> None:
    with pytest.raises(ContradictionError, match="titrate one the same way"):
        take_off_blank(Titre(17.0, other), blank(0.25), "tundish")


def test_take_off_blank__refuses_less_than_nothing() -> None:
    with pytest.raises(ContradictionError, match="below its blank"):
        take_off_blank(Titre(0.2, ACIDITY), blank(0.25), "tundish")
    with pytest.raises(
        ContradictionError, match=r"a back titration of 0\.3 mL is above its blank of 0\.25 mL"
    ):
        take_off_blank(Titre(0.3, ACIDITY), blank(0.25), "tundish", TitrationKind.BACK)


@pytest.mark.parametrize("bad", [-0.01, math.nan, math.inf])
@pytest.mark.parametrize("kind", TitrationKind)
def test_take_off_blank__refuses_what_is_no_volume(bad: float, kind: TitrationKind) -> None:
    with pytest.raises(OutOfRangeError):
        take_off_blank(Titre(bad, ACIDITY), blank(0.25), "tundish", kind)
    with pytest.raises(OutOfRangeError):
        take_off_blank(Titre(0.25, ACIDITY), blank(bad), "tundish", kind)
