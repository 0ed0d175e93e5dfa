"""What a message may say beside its readings, and where its numbers are found again."""

from decimal import Decimal

from acquire.events import CalibrationPoint, CalibrationReport, CurvePoint, Outcome, Reading


def value(quantity: str, text: str, unit: str) -> Reading:
    return Reading(quantity, Outcome.VALUE, text, Decimal(text), unit)


ELAPSED = value("duration", "12.5", "s")
VOLUME = value("dispensed_volume", "0.450", "mL")
TEMPERATURE = value("temperature", "21.4", "°C")
PH = value("ph", "5.120", "pH")
POTENTIAL = value("potential", "108.3", "mV")


def test_a_curve_point_tells_its_axes_from_its_signals() -> None:
    point = CurvePoint((ELAPSED, VOLUME, PH, POTENTIAL, TEMPERATURE), sequence="0042")
    assert (point.elapsed, point.volume, point.temperature) == (ELAPSED, VOLUME, TEMPERATURE)
    assert point.signals == (PH, POTENTIAL)


def test_a_curve_point_may_lack_any_of_them() -> None:
    point = CurvePoint((VOLUME,))
    assert (point.elapsed, point.temperature, point.signals) == (None, None, ())


def test_a_calibration_report_groups_its_buffers() -> None:
    slope, offset = value("electrode_slope", "98.6", "%"), value("electrode_offset", "-2.1", "mV")
    sensitivity = value("electrode_sensitivity", "-58.3", "mV/pH")
    second = value("ph", "7.00", "pH")
    report = CalibrationReport((TEMPERATURE, PH, POTENTIAL, TEMPERATURE, second, slope, sensitivity, offset))
    assert (report.slope, report.sensitivity, report.offset) == (slope, sensitivity, offset)
    assert report.points == (CalibrationPoint(PH, POTENTIAL, TEMPERATURE), CalibrationPoint(second))


def test_a_calibration_report_without_buffers_has_no_points() -> None:
    assert CalibrationReport((TEMPERATURE,)).points == ()
