import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.buffers import BufferTable, Certificate, PhthalateEdition, buffer_value, phthalate_ph
from evaluate.errors import EvaluateError, OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

HETZER = PhthalateEdition.HETZER_1977
TEMPERATURES = tuple(float(t) for t in range(0, 65, 5))
TABLE = BufferTable(
    "phthalate", HETZER.value, TEMPERATURES, tuple(phthalate_ph(t, HETZER) for t in TEMPERATURES)
)
SHORT = BufferTable("made up", "edition one", (10.0, 20.0, 40.0), (4.0, 5.0, 9.0))


@pytest.mark.parametrize(
    "row", rows("electrodes/phthalate_ph.csv"), ids=lambda row: f"{row['edition']}-{row['temperature_c']}"
)
def test_phthalate_ph__published_equations_give_their_tables(row: dict[str, str]) -> None:
    found = phthalate_ph(float(row["temperature_c"]), PhthalateEdition[row["edition"]])
    assert found == pytest.approx(float(row["ph"]), abs=0.00051)


def test_phthalate_ph__published_value_of_1946() -> None:
    # RP1690 states 4.005 at 25 degrees; its own equation gives 4.004.
    assert phthalate_ph(25.0, PhthalateEdition.HAMER_1946) == pytest.approx(4.005, abs=0.0015)


@pytest.mark.parametrize("edition", PhthalateEdition)
def test_phthalate_ph__limit_both_ends_of_the_range(edition: PhthalateEdition) -> None:
    assert phthalate_ph(0.0, edition) == pytest.approx(4.01, abs=0.005)
    assert phthalate_ph(60.0, edition) == pytest.approx(4.09, abs=0.01)


@given(st.floats(0.0, 60.0))
def test_phthalate_ph__law_two_editions_differ_by_less_than_a_hundredth(temperature: float) -> None:
    one, two = (phthalate_ph(temperature, edition) for edition in PhthalateEdition)
    assert abs(one - two) < 0.01


def test_phthalate_ph__independent_polynomial_through_the_table() -> None:
    table = [row for row in rows("electrodes/phthalate_ph.csv") if row["edition"] == "HETZER_1977"]
    fit = np.polynomial.Polynomial.fit(
        [float(row["temperature_c"]) for row in table], [float(row["ph"]) for row in table], 3
    )
    for temperature in np.linspace(2.0, 58.0, 15):
        assert phthalate_ph(float(temperature), HETZER) == pytest.approx(float(fit(temperature)), abs=0.001)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -0.1, 60.1])
def test_phthalate_ph__refuses_a_temperature_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="buffer temperature"):
        phthalate_ph(bad, HETZER)


def test_buffer_value__published_at_the_table_and_between() -> None:
    # Hetzer 1977: 4.001 at 20 degrees, 4.006 at 25 and 4.025 at 37.
    assert buffer_value(TABLE, 20.0).ph == pytest.approx(4.001, abs=0.0005)
    assert buffer_value(TABLE, 25.0).ph == pytest.approx(4.006, abs=0.0005)
    assert buffer_value(TABLE, 37.0).ph == pytest.approx(4.025, abs=0.0015)


def test_buffer_value__closed_form_a_straight_line_between_rows() -> None:
    value = buffer_value(SHORT, 25.0)
    assert (value.ph, value.edition, value.temperature_c, value.name) == (6.0, "edition one", 25.0, "made up")


@pytest.mark.parametrize(("temperature", "ph"), [(10.0, 4.0), (20.0, 5.0), (40.0, 9.0)])
def test_buffer_value__limit_a_row_gives_its_own_figure(temperature: float, ph: float) -> None:
    assert buffer_value(SHORT, temperature).ph == ph


def test_buffer_value__closed_form_a_certificate_moves_as_the_table_does() -> None:
    at_its_own = buffer_value(SHORT, 20.0, Certificate(5.02, 20.0))
    elsewhere = buffer_value(SHORT, 30.0, Certificate(5.02, 20.0))
    assert at_its_own.ph == pytest.approx(5.02)
    assert at_its_own.edition == "certificate"
    assert elsewhere.ph == pytest.approx(7.02)


def test_a_certificate_is_for_25_degrees_unless_it_says_otherwise() -> None:
    assert buffer_value(SHORT, 25.0, Certificate(6.5)).ph == pytest.approx(6.5)


@given(st.floats(0.0, 60.0))
def test_buffer_value__law_a_smooth_table_is_followed_within_a_thousandth(temperature: float) -> None:
    assert buffer_value(TABLE, temperature).ph == pytest.approx(phthalate_ph(temperature, HETZER), abs=0.001)


@given(st.floats(0.0, 60.0))
def test_buffer_value__independent_numpy_interpolation(temperature: float) -> None:
    theirs = float(np.interp(temperature, TABLE.temperature_c, TABLE.ph))
    assert buffer_value(TABLE, temperature).ph == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("bad", [9.9, 40.1, math.nan, math.inf])
def test_buffer_value__refuses_to_extrapolate(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="temperature of buffer made up"):
        buffer_value(SHORT, bad)
    with pytest.raises(OutOfRangeError, match="temperature"):
        buffer_value(SHORT, 20.0, Certificate(4.0, bad))


@pytest.mark.parametrize(
    ("temperatures", "ph", "error"),
    [
        ((10.0,), (4.0,), TooFewPointsError),
        ((10.0, 10.0), (4.0, 4.1), EvaluateError),
        ((20.0, 10.0), (4.0, 4.1), EvaluateError),
        ((10.0, 20.0), (4.0,), EvaluateError),
        ((10.0, 20.0), (4.0, 14.1), OutOfRangeError),
        ((10.0, 20.0), (-0.1, 4.0), OutOfRangeError),
        ((-1.0, 20.0), (4.0, 4.1), OutOfRangeError),
        ((10.0, 101.0), (4.0, 4.1), OutOfRangeError),
    ],
)
def test_a_table_that_is_none_is_refused(
    temperatures: tuple[float, ...], ph: tuple[float, ...], error: type[Exception]
) -> None:
    with pytest.raises(error):
        BufferTable("b", "e", temperatures, ph)


@pytest.mark.parametrize(
    ("ph", "temperature"), [(14.1, 25.0), (-0.1, 25.0), (4.0, -1.0), (4.0, 101.0), (math.nan, 25.0)]
)
def test_a_certificate_that_is_none_is_refused(ph: float, temperature: float) -> None:
    with pytest.raises(OutOfRangeError):
        Certificate(ph, temperature)


def test_the_ends_of_every_range_of_a_buffer_are_taken() -> None:
    table = BufferTable("b", "e", (0.0, 100.0), (0.0, 14.0))
    assert buffer_value(table, 50.0).ph == 7.0
    assert Certificate(14.0, 100.0).ph == 14.0
    assert Certificate(0.0, 0.0).ph == 0.0
