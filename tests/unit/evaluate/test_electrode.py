import math
from fractions import Fraction

import numpy as np
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from evaluate.buffers import CERTIFICATE, BufferValue
from evaluate.electrode import BufferReading, Electrode, fit_electrode, mv_from_ph, nernst_slope, ph_from_mv
from evaluate.errors import ContradictionError, EvaluateError, OutOfRangeError, TooFewPointsError
from tundish.selftest.tables import rows

TEMPERATURES = st.floats(0.0, 100.0)
ELECTRODE = Electrode(0.97, 12.0, 25.0, ("edition one",))


def reading(ph: float, mv: float, temperature_c: float = 25.0, edition: str = "edition one") -> BufferReading:
    return BufferReading(BufferValue(f"pH {ph}", ph, temperature_c, edition), mv)


# The ideal slope.


@pytest.mark.parametrize(
    "row", rows("electrodes/nernst_slope.csv")[::10], ids=lambda row: row["temperature_c"]
)
def test_nernst_slope__published_constants(row: dict[str, str]) -> None:
    assert nernst_slope(float(row["temperature_c"])) == pytest.approx(float(row["slope_mv_per_ph"]), abs=6e-6)


def test_nernst_slope__published_usp() -> None:
    # USP <791>: 0.05916 + 0.000198 (t - 25) V.
    for temperature in (0.0, 20.0, 25.0, 50.0):
        assert nernst_slope(temperature) == pytest.approx(59.16 + 0.198 * (temperature - 25), abs=0.012)


def test_nernst_slope__limit_both_ends() -> None:
    assert nernst_slope(0.0) == pytest.approx(54.19881, abs=6e-6)
    assert nernst_slope(100.0) == pytest.approx(74.04065, abs=1e-3)


@given(TEMPERATURES)
def test_nernst_slope__law_in_proportion_to_absolute_temperature(temperature: float) -> None:
    share = (temperature + 273.15) / 273.15
    assert nernst_slope(temperature) == pytest.approx(nernst_slope(0.0) * share, rel=1e-12)


def test_nernst_slope__independent_scipy_constants() -> None:
    volts = (
        math.log(10)
        * scipy.constants.R
        * scipy.constants.zero_Celsius
        / scipy.constants.value("Faraday constant")
    )
    assert nernst_slope(0.0) == pytest.approx(1000 * volts, rel=1e-12)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -0.1, 100.1])
def test_nernst_slope__refuses_a_temperature_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="temperature"):
        nernst_slope(bad)


# Calibration.


def test_fit_electrode__published_readings_of_a_report() -> None:
    # Twenty readings of one electrode in mV and pH: mV = 408.86 - 57.779 pH, largest residual 0.40 mV.
    table = rows("titration_curves/oxalic_acid_naoh_mv_and_ph.csv")
    fitted = fit_electrode([reading(float(row["ph"]), float(row["mv"])) for row in table])
    assert fitted.slope_mv_per_ph == pytest.approx(57.779, abs=0.0005)
    assert fitted.offset_mv == pytest.approx(408.86 - 7 * 57.779, abs=0.01)
    assert fitted.slope_pct == pytest.approx(97.7, abs=0.05)
    assert max(map(abs, fitted.residuals_ph)) == pytest.approx(0.40 / 57.779, abs=0.0001)


def test_fit_electrode__closed_form_two_buffers() -> None:
    fitted = fit_electrode([reading(4.0, 177.0), reading(7.0, 3.0)])
    assert fitted.slope_mv_per_ph == pytest.approx(58.0)
    assert fitted.slope_pct == pytest.approx(100 * 58.0 / 59.15934, rel=1e-6)
    assert fitted.offset_mv == pytest.approx(3.0)
    assert fitted.zero_point_ph == pytest.approx(7.0 + 3.0 / 58.0)
    assert fitted.residuals_ph == pytest.approx((0.0, 0.0), abs=1e-12)
    assert (fitted.buffers_ph, fitted.editions) == ((4.0, 7.0), ("edition one",))


def test_fit_electrode__closed_form_residuals_are_found_less_buffer() -> None:
    # Three buffers, the middle one 3 mV too high: the line is 1 mV higher, the middle reads 2 mV too acid.
    fitted = fit_electrode([reading(4.0, 174.0), reading(7.0, 3.0), reading(10.0, -174.0)])
    assert fitted.offset_mv == pytest.approx(1.0)
    assert fitted.residuals_ph == pytest.approx((1 / 58.0, -2 / 58.0, 1 / 58.0))


def test_fit_electrode__limit_an_ideal_electrode() -> None:
    fitted = fit_electrode([reading(ph, 59.15934 * (7 - ph)) for ph in (4.0, 7.0, 9.18)])
    assert fitted.slope_share == pytest.approx(1.0, rel=1e-6)
    assert fitted.offset_mv == pytest.approx(0.0, abs=1e-9)
    assert fitted.zero_point_ph == pytest.approx(7.0)


@given(st.floats(0.8, 1.1), st.floats(-60.0, 60.0), TEMPERATURES)
def test_fit_electrode__law_readings_of_an_electrode_give_it_back(
    share: float, offset: float, temperature: float
) -> None:
    made = Electrode(share, offset, temperature, ())
    phs = [4.006, 6.865, 9.18]
    mvs = mv_from_ph(made, phs, temperature).tolist()
    fitted = fit_electrode([reading(ph, mv, temperature) for ph, mv in zip(phs, mvs, strict=True)])
    assert fitted.slope_share == pytest.approx(share, rel=1e-9)
    assert fitted.offset_mv == pytest.approx(offset, abs=1e-8)


def test_fit_electrode__independent_polyfit() -> None:
    phs, mvs = [4.0, 6.9, 9.2, 10.0], [180.0, 6.0, -125.0, -171.0]
    slope, intercept = np.polyfit(phs, mvs, 1)
    fitted = fit_electrode([reading(ph, mv, 20.0) for ph, mv in zip(phs, mvs, strict=True)])
    assert fitted.slope_mv_per_ph == pytest.approx(-float(slope))
    assert fitted.offset_mv == pytest.approx(float(intercept + 7 * slope))


def test_the_temperature_of_a_calibration_is_the_mean_of_its_buffers() -> None:
    assert fit_electrode([reading(4.0, 177.0, 20.0), reading(7.0, 3.0, 22.0)]).temperature_c == 21.0


def test_a_certificate_may_stand_beside_one_edition() -> None:
    fitted = fit_electrode([reading(4.0, 177.0), reading(7.0, 3.0, edition=CERTIFICATE)])
    assert fitted.editions == ("edition one", CERTIFICATE)


def test_fit_electrode__refuses_mixed_editions() -> None:
    with pytest.raises(ContradictionError, match="edition one, edition two; take all from one table"):
        fit_electrode([reading(4.0, 177.0), reading(7.0, 3.0, edition="edition two")])


def test_fit_electrode__refuses_swapped_buffers() -> None:
    with pytest.raises(ContradictionError, match="were buffers swapped"):
        fit_electrode([reading(7.0, 177.0), reading(4.0, 3.0)])


def test_fit_electrode__refuses_a_probe_that_shows_one_potential() -> None:
    with pytest.raises(ContradictionError, match="changes by 0 mV"):
        fit_electrode([reading(7.0, 10.0), reading(4.0, 10.0)])


def test_fit_electrode__refuses_temperatures_that_differ() -> None:
    with pytest.raises(ContradictionError, match=r"from 20 to 22\.1 °C; bring them within 2 °C"):
        fit_electrode([reading(4.0, 177.0, 20.0), reading(7.0, 3.0, 22.1)])


def test_fit_electrode__refuses_one_buffer() -> None:
    with pytest.raises(TooFewPointsError, match="buffers: 1 given, at least 2"):
        fit_electrode([reading(4.0, 177.0)])


def test_fit_electrode__refuses_one_buffer_twice() -> None:
    with pytest.raises(EvaluateError, match="all x"):
        fit_electrode([reading(4.0, 177.0), reading(4.0, 176.0)])


@pytest.mark.parametrize("bad", [math.nan, math.inf, 2000.1, -2000.1])
def test_fit_electrode__refuses_what_is_no_potential(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="potential"):
        fit_electrode([reading(4.0, bad), reading(7.0, 3.0)])


# From potential to pH and back.


def test_ph_from_mv__published_readings_of_a_report() -> None:
    table = rows("titration_curves/oxalic_acid_naoh_mv_and_ph.csv")
    electrode = Electrode(57.779 / 59.15934, 408.86 - 7 * 57.779, 25.0, ())
    found = ph_from_mv(electrode, [float(row["mv"]) for row in table], 25.0)
    assert found == pytest.approx([float(row["ph"]) for row in table], abs=0.0075)


def test_ph_from_mv__closed_form_exact_fractions() -> None:
    slope = Fraction("0.97") * Fraction("59.15934")
    exact = 7 + (Fraction(12) - Fraction("150.5")) / slope
    assert float(ph_from_mv(ELECTRODE, 150.5, 25.0)) == pytest.approx(float(exact), abs=1e-6)


def test_ph_from_mv__limit_the_offset_is_seven_at_any_temperature() -> None:
    assert ph_from_mv(ELECTRODE, 12.0, [0.0, 25.0, 100.0]).tolist() == [7.0, 7.0, 7.0]


@given(st.floats(0.0, 14.0), TEMPERATURES)
def test_ph_from_mv__law_there_and_back(ph: float, temperature: float) -> None:
    mv = mv_from_ph(ELECTRODE, ph, temperature)
    assert float(ph_from_mv(ELECTRODE, mv, temperature)) == pytest.approx(ph, abs=1e-10)


def test_ph_from_mv__independent_error_of_a_wrong_temperature() -> None:
    # To first order (pH - 7) dT / T: 0.06 pH for 5 degrees at pH 3.5.
    mv = mv_from_ph(ELECTRODE, 3.5, 25.0)
    error = float(ph_from_mv(ELECTRODE, mv, 30.0)) - 3.5
    assert error == pytest.approx(3.5 * 5.0 / 298.15, rel=0.02)


def test_ph_from_mv__limit_shapes_are_broadcast() -> None:
    assert ph_from_mv(ELECTRODE, [[1.0], [2.0]], [20.0, 25.0, 30.0]).shape == (2, 3)
    assert ph_from_mv(ELECTRODE, 1.0, 20.0).shape == ()


@pytest.mark.parametrize(
    ("mv", "temperature"), [(math.nan, 25.0), (2000.1, 25.0), (-2000.1, 25.0), (0.0, -0.1), (0.0, 100.1)]
)
def test_ph_from_mv__refuses_what_no_electrode_shows(mv: float, temperature: float) -> None:
    with pytest.raises(OutOfRangeError):
        ph_from_mv(ELECTRODE, [0.0, mv], temperature)


def test_mv_from_ph__published_slope_for_an_ideal_electrode() -> None:
    # 59.159 mV a pH at 25 degrees: 177.48 mV three below the zero point.
    ideal = Electrode(1.0, 0.0, 25.0, ())
    assert float(mv_from_ph(ideal, 4.0, 25.0)) == pytest.approx(3 * 59.15934, abs=1e-4)


def test_mv_from_ph__limit_seven_is_the_offset() -> None:
    assert mv_from_ph(ELECTRODE, 7.0, [0.0, 50.0]).tolist() == [12.0, 12.0]


@given(st.floats(-2.0, 15.0), st.floats(0.01, 1.0))
def test_mv_from_ph__law_the_potential_falls_with_ph(ph: float, more: float) -> None:
    assert float(mv_from_ph(ELECTRODE, ph + more, 25.0)) < float(mv_from_ph(ELECTRODE, ph, 25.0))


def test_mv_from_ph__independent_numpy_line() -> None:
    phs = np.linspace(2.0, 12.0, 11)
    expected = np.polyval([-0.97 * 59.15934, 12.0 + 7 * 0.97 * 59.15934], phs)
    assert mv_from_ph(ELECTRODE, phs, 25.0) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(("ph", "temperature"), [(math.nan, 25.0), (16.1, 25.0), (-2.01, 25.0), (7.0, 101.0)])
def test_mv_from_ph__refuses_what_is_no_ph(ph: float, temperature: float) -> None:
    with pytest.raises(OutOfRangeError):
        mv_from_ph(ELECTRODE, ph, temperature)


def test_buffers_two_degrees_apart_are_of_one_temperature() -> None:
    assert fit_electrode([reading(4.0, 177.0, 20.0), reading(7.0, 3.0, 22.0)]).temperature_c == 21.0
    with pytest.raises(ContradictionError):
        fit_electrode([reading(4.0, 177.0, 20.0), reading(7.0, 3.0, 22.01)])


def test_the_ends_of_every_range_are_taken() -> None:
    assert fit_electrode([reading(4.0, 2000.0), reading(7.0, -2000.0)]).slope_share > 1
    assert mv_from_ph(ELECTRODE, [-2.0, 16.0], [0.0, 100.0]).shape == (2,)
    assert ph_from_mv(ELECTRODE, [-2000.0, 2000.0], [0.0, 100.0]).shape == (2,)
