import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from evaluate.check_standard import CalibrationLine, check_limit, check_values
from evaluate.errors import OutOfRangeError
from tundish.selftest.tables import rows

LINE = CalibrationLine(0.2817, 0.9767, 0.06826, 38)  # [µm] NIST/SEMATECH e-Handbook 2.3.7.1
CHECKS = rows("qc/nist_linewidth_check.csv")
READINGS = [float(row["y_read"]) for row in CHECKS]
KNOWN = [float(row["x_known"]) for row in CHECKS]


def line(**changes: float) -> CalibrationLine:
    return LINE._replace(**changes)  # type: ignore[arg-type]  # one number at a time


def test_check_values__published_linewidths() -> None:
    """Published readings and line; the values were worked out from them."""
    expected = [float(row["control_value"]) for row in CHECKS]
    assert check_values(LINE, READINGS, KNOWN) == pytest.approx(expected, abs=5.1e-5)


def test_check_values__limit_a_reading_on_the_line_is_found_right() -> None:
    assert check_values(CalibrationLine(1.0, 2.0, 0.1, 5), [7.0], [3.0]).tolist() == [0.0]


@given(st.floats(-10, 10), st.floats(0.1, 10), st.floats(-10, 10), st.floats(-1, 1))
def test_check_values__law_an_offset_of_the_content_is_found_again(
    intercept: float, slope: float, content: float, offset: float
) -> None:
    reading = intercept + slope * (content + offset)
    found = check_values(CalibrationLine(intercept, slope, 0.1, 5), [reading], [content])
    assert found[0] == pytest.approx(offset, abs=1e-9)


@pytest.mark.parametrize("bad", [line(slope=0.0), line(slope=math.nan), line(intercept=math.inf)])
def test_check_values__refuses_a_line_that_tells_nothing(bad: CalibrationLine) -> None:
    with pytest.raises(OutOfRangeError):
        check_values(bad, READINGS, KNOWN)


@pytest.mark.parametrize(
    ("readings", "known"), [([1.0], [1.0, 2.0]), ([math.nan], [1.0]), ([1.0], [math.inf])]
)
def test_check_values__refuses_numbers_that_do_not_pair_up(readings: list[float], known: list[float]) -> None:
    with pytest.raises(OutOfRangeError):
        check_values(LINE, readings, known)


def test_check_values__independent_polynomial_inverse_of_numpy() -> None:
    roots = [np.roots([LINE.slope, LINE.intercept - y])[0] - x for y, x in zip(READINGS, KNOWN, strict=True)]
    assert check_values(LINE, READINGS, KNOWN) == pytest.approx(roots, abs=1e-12)


def test_check_limit__published_linewidths_the_fourth_day_is_outside() -> None:
    """Published readings and line; limit and verdicts were worked out from them."""
    assert check_limit(LINE) == pytest.approx(0.17455, abs=1e-5)
    outside = np.abs(check_values(LINE, READINGS, KNOWN)) > check_limit(LINE)
    assert outside.tolist() == [row["outside"] == "1" for row in CHECKS]


def test_check_limit__closed_form_of_one_degree_of_freedom() -> None:
    found = check_limit(line(degrees_of_freedom=1, slope=1.0), standards=1)
    assert found == pytest.approx(0.06826 * math.tan(0.475 * math.pi), rel=1e-9)


def test_check_limit__limit_of_one_standard_and_many_readings_is_1_96_deviations() -> None:
    found = check_limit(line(degrees_of_freedom=10_000_000, slope=-1.0), standards=1)
    assert found == pytest.approx(0.06826 * 1.959964, rel=1e-5)


@given(st.integers(1, 10), st.floats(0.5, 0.99))
def test_check_limit__law_more_standards_and_more_certainty_widen_it(
    standards: int, probability: float
) -> None:
    found = check_limit(LINE, standards=standards, probability=probability)
    assert found < check_limit(LINE, standards=standards + 1, probability=probability)
    assert found < check_limit(LINE, standards=standards, probability=probability + 0.005)


@pytest.mark.parametrize(
    "bad",
    [
        line(slope=0.0),
        line(residual_s=0.0),
        line(residual_s=-1.0),
        line(degrees_of_freedom=0),
        line(residual_s=math.nan),
    ],
)
def test_check_limit__refuses_a_line_without_scatter_or_freedom(bad: CalibrationLine) -> None:
    with pytest.raises(OutOfRangeError):
        check_limit(bad)


@pytest.mark.parametrize(("standards", "probability"), [(0, 0.95), (3, 0.49), (3, 1.0), (3, math.nan)])
def test_check_limit__refuses_no_standards_and_no_probability(standards: int, probability: float) -> None:
    with pytest.raises(OutOfRangeError):
        check_limit(LINE, standards=standards, probability=probability)


def test_check_limit__independent_quantile_of_scipy() -> None:
    tail = 0.5 * (1 - math.exp(math.log(0.95) / 3))
    assert check_limit(LINE) == pytest.approx(0.06826 * stats.t.isf(tail, 38) / 0.9767, rel=1e-9)
