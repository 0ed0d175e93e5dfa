import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from evaluate.blend import MIXES_BY_VOLUME, BlendPart, blend_expectation
from evaluate.errors import NotPredictableError, OutOfRangeError, TooFewPointsError
from evaluate.units import UnitError, quantities

PARTS = [
    BlendPart(225.0, 24.0, 1.0, 0.02),
    BlendPart(228.0, 9.3, 0.8, 0.02),
    BlendPart(450.0, 21.5, 0.9, 0.01),
]
PART = st.builds(
    BlendPart, st.floats(1.0, 1e5), st.floats(0.0, 300.0), st.floats(0.0, 10.0), st.floats(0.0, 0.1)
)


def test_blend_expectation__closed_form_volume_weighted_mean() -> None:
    found = blend_expectation("ta_ph_8_2", [BlendPart(100.0, 6.0, 0.1), BlendPart(300.0, 8.0, 0.1)])
    assert found.value == 7.5
    assert found.volume_l == 400.0
    assert found.u == pytest.approx(0.1 * math.sqrt(1 + 9) / 4, rel=1e-14)
    assert found.remark == ""


def test_blend_expectation__limit_a_single_part_is_itself_and_its_volume_does_not_matter() -> None:
    found = blend_expectation("alcohol", [BlendPart(1000.0, 13.1, 0.05, 0.5)])
    assert found.value == 13.1
    assert found.u == pytest.approx(0.05, rel=1e-14)


def test_blend_expectation__limit_equal_parts_without_doubt() -> None:
    assert blend_expectation("va", [BlendPart(10.0, 0.4), BlendPart(20.0, 0.4)]).u == 0.0


@given(st.lists(PART, min_size=1, max_size=12))
def test_blend_expectation__law_it_lies_between_its_parts(parts: list[BlendPart]) -> None:
    found = blend_expectation("total_so2", parts).value
    values = [part.value for part in parts]
    assert min(values) * (1 - 1e-12) <= found <= max(values) * (1 + 1e-12)


@given(st.lists(PART, min_size=2, max_size=8), st.floats(0.01, 100.0))
def test_blend_expectation__law_only_the_ratio_of_the_volumes_matters(
    parts: list[BlendPart], scale: float
) -> None:
    scaled = [part._replace(volume_l=part.volume_l * scale) for part in parts]
    one, other = blend_expectation("total_so2", parts), blend_expectation("total_so2", scaled)
    assert one.value == pytest.approx(other.value, rel=1e-9)
    assert one.u == pytest.approx(other.u, rel=1e-9, abs=1e-12)


def test_blend_expectation__independent_exact_fractions() -> None:
    exact = sum(Fraction(part.volume_l) * Fraction(part.value) for part in PARTS) / sum(
        Fraction(part.volume_l) for part in PARTS
    )
    assert blend_expectation("free_so2", PARTS).value == pytest.approx(float(exact), rel=1e-14)


def test_blend_expectation__independent_uncertainties_package() -> None:
    volumes = [ufloat(part.volume_l, part.volume_l * part.u_volume_share) for part in PARTS]
    values = [ufloat(part.value, part.u_value) for part in PARTS]
    expected = sum(v * x for v, x in zip(volumes, values, strict=True)) / sum(volumes)
    assert blend_expectation("total_so2", PARTS).u == pytest.approx(expected.std_dev, rel=1e-9)


def test_blend_expectation__independent_monte_carlo() -> None:
    random = np.random.default_rng(20251006)
    volumes = np.array([random.normal(p.volume_l, p.volume_l * p.u_volume_share, 200_000) for p in PARTS])
    values = np.array([random.normal(p.value, p.u_value, 200_000) for p in PARTS])
    simulated = (volumes * values).sum(axis=0) / volumes.sum(axis=0)
    assert blend_expectation("total_so2", PARTS).u == pytest.approx(float(simulated.std()), rel=0.01)


def test_free_so2_comes_with_the_remark_that_it_settles() -> None:
    assert "settles anew" in blend_expectation("free_so2", PARTS).remark
    assert blend_expectation("total_so2", PARTS).remark == ""


@pytest.mark.parametrize("code", sorted({one.code for one in quantities()} - MIXES_BY_VOLUME))
def test_blend_expectation__refuses_what_does_not_mix_by_volume(code: str) -> None:
    with pytest.raises(NotPredictableError, match="of a blend cannot be computed from its parts: measure it"):
        blend_expectation(code, PARTS)


@pytest.mark.parametrize("code", sorted(MIXES_BY_VOLUME))
def test_what_mixes_by_volume_is_in_the_registry(code: str) -> None:
    assert blend_expectation(code, PARTS).value == pytest.approx((5400.0 + 2120.4 + 9675.0) / 903.0)


def test_blend_expectation__refuses_an_unknown_quantity_and_no_parts() -> None:
    with pytest.raises(UnitError, match="unknown quantity"):
        blend_expectation("sulfur", PARTS)
    with pytest.raises(TooFewPointsError, match="parts of the blend"):
        blend_expectation("va", [])


@pytest.mark.parametrize(
    "bad",
    [
        {"volume_l": 0.0},
        {"volume_l": math.nan},
        {"value": math.inf},
        {"u_value": -0.1},
        {"u_value": math.nan},
        {"u_volume_share": -0.01},
        {"u_volume_share": 1.001},
    ],
)
def test_blend_expectation__refuses_a_number_that_cannot_be(bad: dict[str, float]) -> None:
    with pytest.raises(OutOfRangeError):
        blend_expectation("total_so2", [PARTS[0]._replace(**bad)])
