import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evaluate.errors import UnknownNameError
from evaluate.so2_constants import CONSTANT_SETS, REFERENCE_TEMPERATURE_C, constant_set
from tundish.selftest import tables

NAMES = ("single-1.81", "single-1.77", "oiv-as323-04c")
TABLE_I = tables.rows("wine/so2_pk_thermodynamic.csv")


@pytest.mark.parametrize("row", TABLE_I, ids=lambda row: f"{row['alcohol_pct_vol']}-{row['temperature_c']}")
def test_constant_set__published_table_of_the_standard_cell_by_cell(row: dict[str, str]) -> None:
    chosen = constant_set("oiv-as323-04c")
    up = chosen.alcohol_pct_vol.index(float(row["alcohol_pct_vol"]))
    along = chosen.temperature_c.index(float(row["temperature_c"]))
    assert chosen.pk_thermodynamic[up][along] == float(row["value"])


def test_constant_set__published_rows_from_memory_are_named_as_such() -> None:
    recalled = {float(row["alcohol_pct_vol"]) for row in TABLE_I if row["status"] == "memory"}
    limit = constant_set("oiv-as323-04c").recalled_above_pct_vol
    assert limit == 15.0
    assert recalled == {20.0}


@pytest.mark.parametrize(
    ("name", "pk"), [("single-1.81", 1.81), ("single-1.77", 1.77), ("oiv-as323-04c", None)]
)
def test_constant_set__closed_form_the_name_says_the_figure(name: str, pk: float | None) -> None:
    assert constant_set(name).pk == pk


def test_constant_set__closed_form_ionic_strength_of_the_standard() -> None:
    assert constant_set("oiv-as323-04c").ionic_strength_mol_per_l == 0.038


@given(st.sampled_from(NAMES))
def test_constant_set__law_a_set_has_one_figure_or_a_whole_table(name: str) -> None:
    chosen = constant_set(name)
    cells = [len(row) for row in chosen.pk_thermodynamic]
    assert (chosen.pk is None) == bool(cells)
    assert cells == [len(chosen.temperature_c)] * len(chosen.alcohol_pct_vol)


def test_constant_set__law_every_set_names_a_source() -> None:
    assert tuple(CONSTANT_SETS) == NAMES
    assert all(one.source and one.title for one in CONSTANT_SETS.values())


def test_constant_set__limit_the_reference_temperature_is_where_the_table_begins() -> None:
    assert constant_set("oiv-as323-04c").temperature_c[0] == REFERENCE_TEMPERATURE_C == 20.0


def test_constant_set__independent_the_recalled_row_continues_those_that_were_read() -> None:
    # Second differences along alcohol are constant to 0.002 at each temperature, the recalled row among them.
    second = np.diff(constant_set("oiv-as323-04c").pk_thermodynamic, n=2, axis=0)
    assert np.ptp(second, axis=0).max() == pytest.approx(0.002, abs=0.0005)


def test_constant_set__refuses_an_unknown_name_and_lists_the_known() -> None:
    with pytest.raises(UnknownNameError, match=r"known: single-1\.81, single-1\.77, oiv-as323-04c"):
        constant_set("pk-1.81")
