import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from evaluate.errors import OutOfRangeError
from evaluate.plausibility import (
    USUAL_RANGE,
    Doubt,
    Estimate,
    judge_acidity_rise,
    judge_against_expected,
    judge_range,
)
from evaluate.units import UnitError, quantities, quantity

CHEMISTRY = Path(__file__).parents[3] / "docs" / "chemistry.md"

VALUE = st.floats(0.1, 500.0)
U = st.floats(0.01, 10.0)


def doubt(found: float, expected: float, u: float = 1.0, **options: object) -> Doubt | None:
    verdict = judge_against_expected(Estimate(found, u), Estimate(expected, 0.0), **options)  # type: ignore[arg-type]
    return None if verdict is None else verdict.doubt


# The range of a quantity.


def test_judge_range__closed_form_a_ph_with_its_decimal_mark_lost() -> None:
    found = judge_range("ph", 34.2)
    assert found is not None
    assert found.doubt is Doubt.OUTSIDE_RANGE
    assert found.evidence == "pH of 34.2 pH, usual are 2.5 to 4.5"
    assert "decimal mark" in found.advice


@pytest.mark.parametrize(
    ("code", "value"), [("ph", 2.74), ("ph", 4.01), ("free_so2", 1.0), ("free_so2", 72.0)]
)
def test_judge_range__published_extremes_of_red_wines_are_inside(code: str, value: float) -> None:
    assert judge_range(code, value) is None


@pytest.mark.parametrize(("code", "ends"), USUAL_RANGE.items())
def test_judge_range__limit_the_ends_are_inside(code: str, ends: tuple[float, float]) -> None:
    for end, beyond in zip(ends, (-math.inf, math.inf), strict=True):
        assert judge_range(code, end) is None
        assert judge_range(code, math.nextafter(end, beyond)) is not None


@given(
    st.sampled_from([one.code for one in quantities() if one.code not in USUAL_RANGE]), st.floats(-1e9, 1e9)
)
def test_judge_range__law_a_quantity_without_a_range_is_never_doubted(code: str, value: float) -> None:
    assert judge_range(code, value) is None


@given(st.sampled_from(sorted(USUAL_RANGE)), st.floats(-100.0, 1000.0))
def test_judge_range__independent_numpy_clip(code: str, value: float) -> None:
    assert (judge_range(code, value) is None) == (float(np.clip(value, *USUAL_RANGE[code])) == value)


def test_judge_range__refuses_an_unknown_quantity_and_what_is_no_number() -> None:
    with pytest.raises(UnitError):
        judge_range("acid", 5.0)
    with pytest.raises(OutOfRangeError):
        judge_range("ph", math.nan)


def test_the_ranges_are_those_of_the_documents() -> None:
    lines = CHEMISTRY.read_text(encoding="utf-8").splitlines()
    start = lines.index("| quantity | usual | unit |") + 2
    shown = [line.strip("| ").split(" | ") for line in lines[start : lines.index("", start)]]
    ranges = {code.strip("`"): usual.split(" to ") for code, usual, _ in shown}
    assert {code: (float(low), float(high)) for code, (low, high) in ranges.items()} == dict(USUAL_RANGE)
    assert {code.strip("`"): unit for code, _, unit in shown} == {
        code: quantity(code).unit for code in USUAL_RANGE
    }


# What was expected.


def test_judge_against_expected__closed_form_within_three_standard_uncertainties() -> None:
    both = Estimate(30.0, 0.6), Estimate(26.0, 0.8)  # u of the difference is 1.0
    assert judge_against_expected(both[0]._replace(value=29.0), both[1]) is None
    verdict = judge_against_expected(*both)
    assert verdict is not None
    assert verdict.doubt is Doubt.NOT_EXPECTED
    assert verdict.evidence == "30 found, 26 ± 3 expected"


def test_judge_against_expected__closed_form_fifty_millilitres_for_twenty_five() -> None:
    verdict = judge_against_expected(
        Estimate(60.5, 1.0), Estimate(30.0, 1.0), sample_ml=25.0, other_samples_ml=(20.0, 50.0)
    )
    assert verdict is not None
    assert verdict.doubt is Doubt.SAMPLE_VOLUME
    assert verdict.evidence == "60.5 found, 30 ± 4.2 expected; with 50 mL for 25 mL it would be 30.25"
    assert verdict.advice == "ask which pipette was used; if in doubt, measure again with 25 mL"


def test_judge_against_expected__closed_form_the_closest_of_several_volumes_is_named() -> None:
    verdict = judge_against_expected(
        Estimate(12.0, 1.0), Estimate(30.0, 2.0), sample_ml=50.0, other_samples_ml=(25.0, 20.0, 19.0)
    )
    assert verdict is not None
    assert "with 20 mL for 50 mL it would be 30" in verdict.evidence


def test_judge_against_expected__limit_without_uncertainty_only_the_very_value_fits() -> None:
    assert judge_against_expected(Estimate(5.0, 0.0), Estimate(5.0, 0.0)) is None
    assert doubt(5.0, math.nextafter(5.0, 6.0), u=0.0) is Doubt.NOT_EXPECTED


def test_judge_against_expected__limit_no_volume_is_named_without_the_one_in_use() -> None:
    assert doubt(60.0, 30.0, other_samples_ml=(50.0,)) is Doubt.NOT_EXPECTED
    assert doubt(60.0, 30.0, sample_ml=25.0) is Doubt.NOT_EXPECTED


@given(VALUE, VALUE, U, st.floats(0.01, 100.0))
def test_judge_against_expected__law_the_unit_does_not_matter(
    found: float, expected: float, u: float, scale: float
) -> None:
    distance = abs(found - expected) / u
    assume(abs(distance - 3.0) > 1e-6)
    assert doubt(found, expected, u) == doubt(found * scale, expected * scale, u * scale)


@given(VALUE, U, st.sampled_from([10.0, 20.0, 25.0, 50.0, 100.0]))
def test_judge_against_expected__law_a_wrong_volume_alone_is_always_explained(
    true: float, u: float, taken_ml: float
) -> None:
    read = true * taken_ml / 40.0
    assume(abs(read - true) > 3.0 * u)
    assert doubt(read, true, u, sample_ml=40.0, other_samples_ml=(taken_ml,)) is Doubt.SAMPLE_VOLUME


@given(VALUE, VALUE, U, U)
def test_judge_against_expected__independent_z_of_the_difference(
    x: float, e: float, u: float, v: float
) -> None:
    z = abs(x - e) / float(np.sqrt(np.square(u) + np.square(v)))
    assume(abs(z - 3.0) > 1e-9)
    assert (judge_against_expected(Estimate(x, u), Estimate(e, v)) is None) == (z <= 3.0)


@pytest.mark.parametrize(
    ("found", "expected", "options"),
    [
        (Estimate(math.nan, 1.0), Estimate(1.0, 1.0), {}),
        (Estimate(1.0, 1.0), Estimate(math.inf, 1.0), {}),
        (Estimate(1.0, -1.0), Estimate(1.0, 1.0), {}),
        (Estimate(1.0, 1.0), Estimate(1.0, math.nan), {}),
        (Estimate(1.0, 1.0), Estimate(1.0, 1.0), {"coverage": 0.0}),
        (Estimate(99.0, 1.0), Estimate(1.0, 1.0), {"sample_ml": 0.0}),
        (Estimate(99.0, 1.0), Estimate(1.0, 1.0), {"sample_ml": 25.0, "other_samples_ml": (0.0,)}),
    ],
)
def test_judge_against_expected__refuses_what_cannot_be(
    found: Estimate, expected: Estimate, options: dict[str, float]
) -> None:
    with pytest.raises(OutOfRangeError):
        judge_against_expected(found, expected, **options)  # type: ignore[arg-type]


# Acidity that has risen.


@pytest.mark.parametrize(("now", "doubted"), [(7.1, False), (7.5, True), (9.0, True), (9.4, False)])
def test_judge_acidity_rise__published_up_to_two_grams_of_carbon_dioxide(now: float, doubted: bool) -> None:
    verdict = judge_acidity_rise(Estimate(now, 0.03), Estimate(7.0, 0.04))
    assert (verdict is not None) == doubted
    if verdict is not None:
        assert verdict.doubt is Doubt.CARBON_DIOXIDE
        assert "degas it" in verdict.advice


def test_judge_acidity_rise__closed_form_of_its_words() -> None:
    verdict = judge_acidity_rise(Estimate(7.5, 0.03), Estimate(7.0, 0.04))
    assert verdict is not None
    assert verdict.evidence == "7.50 g/L found, 7.00 before: 0.50 more, 0.15 is within uncertainty"


def test_judge_acidity_rise__limit_both_ends_of_what_carbon_dioxide_can_make() -> None:
    before = Estimate(6.0, 0.0)
    assert judge_acidity_rise(Estimate(6.0, 0.0), before) is None
    assert judge_acidity_rise(Estimate(math.nextafter(6.0, 7.0), 0.0), before) is not None
    assert judge_acidity_rise(Estimate(8.0, 0.0), before) is not None
    assert judge_acidity_rise(Estimate(math.nextafter(8.0, 9.0), 0.0), before) is None


@given(st.floats(2.0, 20.0), st.floats(0.0, 10.0), st.floats(0.0, 0.5))
def test_judge_acidity_rise__law_a_fall_is_never_doubted(before: float, fall: float, u: float) -> None:
    assert judge_acidity_rise(Estimate(max(0.0, before - fall), u), Estimate(before, u)) is None


@given(st.floats(2.0, 20.0), st.floats(2.0, 20.0), st.floats(0.001, 0.5), st.floats(0.001, 0.5))
def test_judge_acidity_rise__independent_z_of_the_difference(x: float, e: float, u: float, v: float) -> None:
    band = 3.0 * float(np.sqrt(np.square(u) + np.square(v)))
    assume(min(abs(x - e - band), abs(x - e - band - 2.0)) > 1e-9)
    assert (judge_acidity_rise(Estimate(x, u), Estimate(e, v)) is not None) == (band < x - e < band + 2.0)


def test_judge_acidity_rise__refuses_what_is_no_acidity() -> None:
    good = Estimate(6.0, 0.05)
    for bad in (Estimate(math.nan, 0.05), Estimate(-1.0, 0.05), Estimate(6.0, -0.05)):
        with pytest.raises(OutOfRangeError):
            judge_acidity_rise(bad, good)
        with pytest.raises(OutOfRangeError):
            judge_acidity_rise(good, bad)
    with pytest.raises(OutOfRangeError):
        judge_acidity_rise(good, good, coverage=0.0)
