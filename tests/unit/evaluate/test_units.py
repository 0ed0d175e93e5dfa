from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.unit_table import Unit
from evaluate.units import (
    UnitError,
    as_quantity,
    convert,
    fits,
    normalise,
    quantities,
    quantity,
    unit,
    unit_from_text,
    units,
)

VALUES = st.decimals(-10_000, 10_000, places=4)
SAME_DIMENSION = [
    (a.code, b.code) for a in units() for b in units() if a.dimension == b.dimension and a.code != b.code
]


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        ("1", "hL", "L", "100"),
        ("1", "gal_us", "L", "3.785411784"),
        ("100", "gal_us", "hL", "3.785411784"),
        ("212", "°F", "°C", "100"),
        ("-40", "°C", "°F", "-40"),
        ("20", "°C", "°F", "68"),
        ("0.6", "g/100mL", "g/L", "6"),
        ("1500", "mg/L", "g/L", "1.5"),
        ("25", "mmol/L", "mol/L", "0.025"),
        ("1000", "meq/L", "g/L tartaric", "75.043"),
        ("1000", "meq/L", "g/L sulfuric", "49.036"),
        ("1000", "meq/L", "g/L acetic", "60.052"),
        ("998.2", "kg/m3", "g/mL", "0.9982"),
        ("1", "SG 20/20", "g/mL", "0.998201"),
        ("80", "°Oe", "SG 20/20", "1.08"),
        ("1.095", "SG 20/20", "°Oe", "95"),
        ("-5", "°Oe", "g/mL", "0.993209995"),
        ("2", "min", "s", "120"),
        ("1.413", "mS/cm", "µS/cm", "1413"),
        ("250", "µL", "mL", "0.25"),
        ("1.5", "V", "mV", "1500"),
        ("2500", "nA", "µA", "2.5"),
        ("0.25", "kg", "g", "250"),
        ("5", "mg", "g", "0.005"),
    ],
)
def test_convert__closed_form_definitions_are_exact(
    value: str, source: str, target: str, expected: str
) -> None:
    assert convert(Decimal(value), source, target) == Decimal(expected)


def test_convert__published_factor_of_sulfuric_to_tartaric_acid() -> None:
    # A German laboratory page prints 1.531; the masses of one equivalent give 1.530.
    assert float(convert(Decimal(10), "g/L sulfuric", "g/L tartaric")) == pytest.approx(15.3, abs=0.02)


def test_convert__limit_the_same_unit_keeps_the_digits() -> None:
    assert str(convert(Decimal("12.30"), "mg/L", "mg/L")) == "12.30"


@given(VALUES, st.sampled_from(SAME_DIMENSION))
def test_convert__law_there_and_back_changes_nothing(value: Decimal, pair: tuple[str, str]) -> None:
    source, target = pair
    back = convert(convert(value, source, target), target, source)
    assert float(back) == pytest.approx(float(value), rel=1e-20, abs=1e-20)


@given(VALUES, VALUES, st.sampled_from(SAME_DIMENSION))
def test_convert__law_order_is_kept(a: Decimal, b: Decimal, pair: tuple[str, str]) -> None:
    low, high = sorted((a, b))
    assert convert(low, *pair) <= convert(high, *pair)


def test_convert__independent_atomic_weights_in_fractions() -> None:
    tartaric = (4 * Fraction("12.011") + 6 * Fraction("1.008") + 6 * Fraction("15.999")) / 2
    expected = 7 * 1000 / tartaric
    assert float(convert(Decimal(7), "g/L tartaric", "meq/L")) == pytest.approx(float(expected), rel=1e-15)


@pytest.mark.parametrize(
    ("source", "target", "reason"),
    [
        ("mol/L", "N", "molar_from_normality"),
        ("N", "mol/L", "equivalents"),
        ("ppm", "mg/L", "density"),
        ("°Brix", "g/mL", "sucrose"),
        ("mg/L", "mol/L", "molar mass"),
        ("g/L", "g/L tartaric", "basis"),
        ("pH", "mV", "no conversion exists"),
    ],
)
def test_convert__refuses_what_needs_knowledge_and_says_which(source: str, target: str, reason: str) -> None:
    with pytest.raises(UnitError, match=reason):
        convert(Decimal(1), source, target)


@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-Infinity"])
def test_convert__refuses_what_is_not_finite(bad: str) -> None:
    with pytest.raises(UnitError, match="finite"):
        convert(Decimal(bad), "mg/L", "g/L")


@pytest.mark.parametrize(
    ("source", "target"),
    [("ta_ph_7_0", "ta_ph_8_2"), ("ta_ph_8_2", "ta_ph_7_0"), ("ta_inflection", "ta_ph_8_2")],
)
def test_as_quantity__refuses_another_end_point_and_says_why(source: str, target: str) -> None:
    with pytest.raises(UnitError, match="depends on what buffers this wine"):
        as_quantity(Decimal("6.1"), source, target)


@pytest.mark.parametrize("bad", ["NaN", "Infinity"])
def test_as_quantity__refuses_what_is_not_finite(bad: str) -> None:
    with pytest.raises(UnitError, match="finite"):
        as_quantity(Decimal(bad), "ph", "ph")


def test_as_quantity__refuses_free_so2_as_total() -> None:
    with pytest.raises(UnitError, match="free sulfur dioxide is not total sulfur dioxide: measure it"):
        as_quantity(Decimal(30), "free_so2", "total_so2")


def test_as_quantity__refuses_one_end_point_against_none() -> None:
    with pytest.raises(UnitError, match="is not volatile acidity"):
        as_quantity(Decimal(6), "ta_ph_7_0", "va")


@given(VALUES, st.sampled_from([one.code for one in quantities()]))
def test_as_quantity__law_a_quantity_is_itself(value: Decimal, code: str) -> None:
    assert as_quantity(value, code, code) is value


def test_as_quantity__closed_form_the_number_is_not_touched() -> None:
    assert str(as_quantity(Decimal("6.10"), "ta_ph_7_0", "ta_ph_7_0")) == "6.10"


def test_as_quantity__limit_zero_passes() -> None:
    assert as_quantity(Decimal(0), "va", "va") == 0


def test_as_quantity__independent_no_two_quantities_share_a_meaning() -> None:
    passed = [(a.code, b.code) for a in quantities() for b in quantities() if _passes(a.code, b.code)]
    assert passed == [(one.code, one.code) for one in quantities()]


def _passes(source: str, target: str) -> bool:
    try:
        as_quantity(Decimal(1), source, target)
    except UnitError:
        return False
    return True


def test_normalise__closed_form_into_the_unit_that_is_kept() -> None:
    assert normalise(Decimal("0.65"), "ta_ph_8_2", "g/L tartaric") == Decimal("0.65")
    assert normalise(Decimal("0.032"), "free_so2", "g/L") == Decimal(32)


def test_normalise__limit_a_unit_of_the_trade_keeps_the_number() -> None:
    assert normalise(Decimal(32), "free_so2", "ppm") == Decimal(32)


@given(VALUES, st.sampled_from(quantities()))
def test_normalise__law_the_kept_unit_changes_nothing(value: Decimal, one: object) -> None:
    code = one.code  # type: ignore[attr-defined]  # hypothesis types the sample as object
    assert normalise(value, code, quantity(code).unit) == value


def test_normalise__independent_temperature_by_arithmetic() -> None:
    assert normalise(Decimal(59), "temperature", "°F") == (Decimal(59) - 32) * 5 / 9


def test_normalise__refuses_a_unit_of_something_else() -> None:
    with pytest.raises(UnitError, match="free sulfur dioxide is never given in °C; it is kept in mg/L"):
        normalise(Decimal(1), "free_so2", "°C")


@pytest.mark.parametrize("unit_code", ["mg/L", "g/L", "ppm"])
def test_normalise__refuses_what_is_not_finite(unit_code: str) -> None:
    with pytest.raises(UnitError, match="finite"):
        normalise(Decimal("Infinity"), "free_so2", unit_code)


def test_fits__closed_form_mass_concentrations_and_ppm_for_so2() -> None:
    assert fits("free_so2", "g/L")
    assert fits("free_so2", "ppm")
    assert not fits("free_so2", "meq/L")


@given(st.sampled_from([one.code for one in quantities()]))
def test_fits__law_every_quantity_fits_its_own_unit(code: str) -> None:
    assert fits(code, quantity(code).unit)


def test_fits__refuses_an_unknown_unit() -> None:
    with pytest.raises(UnitError, match="unknown unit 'furlong'"):
        fits("ph", "furlong")


def test_quantity__refuses_an_unknown_code_and_lists_the_known() -> None:
    with pytest.raises(UnitError, match=r"unknown quantity 'ta'; known quantities: .*ta_ph_7_0"):
        quantity("ta")


@pytest.mark.parametrize(
    ("code", "basis", "end_point"),
    [
        ("ta_ph_7_0", "tartaric acid", "pH 7.0"),
        ("ta_ph_8_2", "tartaric acid", "pH 8.2"),
        ("ta_inflection", "tartaric acid", "inflection"),
        ("va", "acetic acid", None),
        ("yan_formol", "nitrogen", None),
        ("free_so2", "SO2", None),
        ("brix", "sucrose", None),
        ("ph", None, None),
    ],
)
def test_quantity__closed_form_basis_and_end_point_belong_to_the_meaning(
    code: str, basis: str | None, end_point: str | None
) -> None:
    assert (quantity(code).basis, quantity(code).end_point) == (basis, end_point)


@given(st.sampled_from(quantities()))
def test_quantities__law_codes_are_unique_and_units_exist(one: object) -> None:
    codes = [each.code for each in quantities()]
    assert len(set(codes)) == len(codes)
    assert all(unit(each.unit) for each in quantities())


def test_a_unit_of_its_own_is_the_base_of_its_dimension() -> None:
    found = Unit("bar", "pressure")
    assert found.factor == 1
    assert found.offset == 0


def test_unit__refuses_an_unknown_code() -> None:
    with pytest.raises(UnitError, match="unknown unit 'mg/l'"):
        unit("mg/l")


@pytest.mark.parametrize("text", ["mg/l", "MG / L", "mg.L-1", "mg L-1"])
def test_unit_from_text__closed_form_spellings_of_instruments(text: str) -> None:
    assert unit_from_text(text).code == "mg/L"


def test_unit_from_text__refuses_an_unknown_spelling() -> None:
    with pytest.raises(UnitError, match="no unit is written 'bushel'"):
        unit_from_text("bushel")


def test_units__law_no_spelling_means_two_units() -> None:
    folded = ["".join(text.split()).casefold() for one in units() for text in {one.code, *one.spellings}]
    by_unit = {
        ("".join(t.split()).casefold(), one.code) for one in units() for t in (one.code, *one.spellings)
    }
    assert len(by_unit) == len({text for text, _ in by_unit})
    assert folded
