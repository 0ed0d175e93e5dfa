import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import EvaluateError, OutOfRangeError
from evaluate.orp import ReferenceElectrode, check_orp, ferri_ferrocyanide_potential, potential_against_she
from tundish.selftest.tables import rows

SILVER = ReferenceElectrode("silver chloride, saturated", 197.0, "recalled")
HYDROGEN = ReferenceElectrode("hydrogen", 0.0, "definition")
POTENTIALS = st.floats(-1000.0, 1000.0)


@pytest.mark.parametrize(
    "row", rows("electrodes/ferri_ferrocyanide.csv"), ids=lambda row: row["temperature_c"]
)
def test_ferri_ferrocyanide_potential__published_table(row: dict[str, str]) -> None:
    # Standard Methods 1997, table 2580:I, in whole millivolts.
    found = ferri_ferrocyanide_potential(float(row["temperature_c"]))
    assert found == pytest.approx(float(row["mv_she"]), abs=0.5)


def test_ferri_ferrocyanide_potential__limit_both_ends() -> None:
    assert ferri_ferrocyanide_potential(1.0) == pytest.approx(480.8)
    assert ferri_ferrocyanide_potential(30.0) == pytest.approx(417.0)


@given(st.floats(1.0, 29.0))
def test_ferri_ferrocyanide_potential__law_a_degree_costs_the_same_everywhere(temperature: float) -> None:
    step = ferri_ferrocyanide_potential(temperature + 1) - ferri_ferrocyanide_potential(temperature)
    assert step == pytest.approx(-2.2)


def test_ferri_ferrocyanide_potential__independent_line_through_the_table() -> None:
    table = rows("electrodes/ferri_ferrocyanide.csv")
    slope, at_zero = np.polyfit(
        [float(r["temperature_c"]) for r in table], [float(r["mv_she"]) for r in table], 1
    )
    assert ferri_ferrocyanide_potential(20.0) == pytest.approx(float(at_zero + 20 * slope), abs=0.3)


@pytest.mark.parametrize("bad", [0.9, 30.1, math.nan, math.inf])
def test_ferri_ferrocyanide_potential__refuses_a_temperature_outside(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="temperature"):
        ferri_ferrocyanide_potential(bad)


def test_potential_against_she__closed_form_the_two_add() -> None:
    assert potential_against_she(231.0, SILVER) == 428.0


def test_potential_against_she__limit_hydrogen_adds_nothing() -> None:
    assert potential_against_she(-123.4, HYDROGEN) == -123.4


@given(POTENTIALS, POTENTIALS)
def test_potential_against_she__law_differences_stay(one: float, two: float) -> None:
    difference = potential_against_she(one, SILVER) - potential_against_she(two, SILVER)
    assert difference == pytest.approx(one - two, abs=1e-9)


def test_potential_against_she__independent_by_another_reference() -> None:
    # 231 mV against silver chloride is 184 mV against calomel (244 mV): the same potential.
    calomel = ReferenceElectrode("calomel, saturated", 244.0, "recalled")
    assert potential_against_she(184.0, calomel) == potential_against_she(231.0, SILVER)


@pytest.mark.parametrize("bad", [2000.1, -2000.1, math.nan, math.inf])
def test_potential_against_she__refuses_what_is_no_potential(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="potential"):
        potential_against_she(bad, SILVER)


def test_check_orp__published_check_solution() -> None:
    # 428 mV against hydrogen at 25 degrees.
    check = check_orp(235.0, SILVER, 428.0)
    assert (check.found_mv_she, check.offset_mv, check.passes) == (432.0, 4.0, True)


@pytest.mark.parametrize(("mv", "passes"), [(241.0, True), (241.1, False), (221.0, True), (220.9, False)])
def test_check_orp__limit_of_the_tolerance(mv: float, passes: bool) -> None:
    assert check_orp(mv, SILVER, 428.0).passes is passes


def test_check_orp__limit_ten_millivolts_unless_another_is_given() -> None:
    assert check_orp(231.0, SILVER, 428.0).tolerance_mv == 10.0


@given(POTENTIALS, POTENTIALS)
def test_check_orp__law_an_offset_taken_off_passes(mv: float, expected: float) -> None:
    offset = check_orp(mv, HYDROGEN, expected).offset_mv
    assert check_orp(mv - offset, HYDROGEN, expected, 1e-6).passes


def test_check_orp__independent_nernst_of_a_pair_at_half() -> None:
    # Twice as much iron(III) as iron(II) lies 59.159 log10 2 above the formal potential at 25 degrees.
    mv = 675.0 + 59.15934 * math.log10(2.0)
    assert check_orp(mv, HYDROGEN, 675.0).offset_mv == pytest.approx(17.8087, abs=0.001)


@pytest.mark.parametrize(
    ("mv", "expected", "tolerance"),
    [
        (math.nan, 428.0, 10.0),
        (2000.1, 428.0, 10.0),
        (231.0, math.inf, 10.0),
        (231.0, -2000.1, 10.0),
        (231.0, 428.0, 0.0),
    ],
)
def test_check_orp__refuses_what_is_no_check(mv: float, expected: float, tolerance: float) -> None:
    with pytest.raises(OutOfRangeError):
        check_orp(mv, SILVER, expected, tolerance)


@pytest.mark.parametrize(
    ("name", "mv", "source"), [(" ", 197.0, "s"), ("n", 197.0, ""), ("n", 1000.1, "s"), ("n", -1000.1, "s")]
)
def test_a_reference_electrode_needs_a_name_a_potential_and_a_source(
    name: str, mv: float, source: str
) -> None:
    with pytest.raises(EvaluateError):
        ReferenceElectrode(name, mv, source)
