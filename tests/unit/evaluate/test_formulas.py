import ast
import math
import operator
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from evaluate import formula_functions, formula_table, units
from evaluate.errors import ContradictionError, MissingInputError, OutOfRangeError, UnknownNameError
from evaluate.formula import Formula
from evaluate.formulas import budget, complete_inputs, formula, formulas, recompute, worked
from evaluate.molecular import molecular_so2, sulfurous_pk

CHEMISTRY: Final = Path(__file__).parents[3] / "docs" / "chemistry.md"
ALL: Final = formulas()
IDS: Final = [f"{one.id} {one.version}" for one in ALL]

KNOWN: Final[Mapping[str, tuple[dict[str, float], float, float]]] = MappingProxyType(
    {
        # id: inputs, value printed or in closed form, relative tolerance
        "as_read": ({"value": 3.42}, 3.42, 0.0),
        # 10 % weaker than the instrument believed, and 20 mL taken for 50 mL: x 0.9 x 2.5
        "as_read_corrected": (
            {
                "value": 40.0,
                "titrant_factor": 0.9,
                "sample_ml": 20.0,
                "sample_in_instrument_ml": 50.0,
            },
            90.0,
            1e-14,
        ),
        # 50 mL and 0.025 mol/L: 32 mg/L a mL (OIV-MA-VI-09, printed with 32 for 32.03)
        "free_so2_iodine": (
            {"titre_ml": 1.0, "titrant_mol_per_l": 0.025, "sample_ml": 50.0},
            32.0,
            2e-3,
        ),
        "free_so2_iodine_aldehyde": (
            {"titre_ml": 1.5, "aldehyde_titre_ml": 0.5, "titrant_mol_per_l": 0.025, "sample_ml": 50.0},
            32.0,
            2e-3,
        ),
        # N/64 is 1/128 mol/L: 25 mL of wine, 0.02 g/L a mL, French school exercises
        "total_so2_iodine_two_portions": (
            {"titre_ml": 1.0, "titrant_mol_per_l": 1 / 128, "sample_ml": 25.0},
            20.0,
            2e-3,
        ),
        # 32 (n + n' + n'')
        "total_so2_iodine_one_flask": (
            {
                "titre_ml": 1.0,
                "second_titre_ml": 2.0,
                "third_titre_ml": 0.5,
                "titrant_mol_per_l": 0.025,
                "sample_ml": 50.0,
            },
            32.0 * 3.5,
            2e-3,
        ),
        "combined_so2_iodine_one_flask": (
            {
                "second_titre_ml": 2.0,
                "third_titre_ml": 0.5,
                "titrant_mol_per_l": 0.025,
                "sample_ml": 50.0,
            },
            32.0 * 2.5,
            2e-3,
        ),
        # 6.4 mg/L a mL: Regulation (EEC) 2676/90, 2.2.3.2.1
        "free_so2_aeration": ({"titre_ml": 1.0, "titrant_mol_per_l": 0.01, "sample_ml": 50.0}, 6.4, 2e-3),
        # 16 n for 20 mL, the factor is also in general texts
        "total_so2_aeration": ({"titre_ml": 1.0, "titrant_mol_per_l": 0.01, "sample_ml": 20.0}, 16.0, 2e-3),
        "combined_so2_difference": ({"free_mg_per_l": 30.0, "total_mg_per_l": 110.0}, 80.0, 0.0),
        # pH 3.50 and 40 mg/L with pK 1.81: 0.8 mg/L, Enology Briefs 1, 1982
        "molecular_so2": ({"free_mg_per_l": 40.0, "ph": 3.50, "pk": 1.81}, 0.8, 1e-2),
        # 10 mL and 0.1 mol/L: 0.75 g/L a mL
        "ta_ph_7_0": ({"titre_ml": 1.0, "titrant_mol_per_l": 0.1, "sample_ml": 10.0}, 0.75, 1e-3),
        "ta_ph_8_2": ({"titre_ml": 8.0, "titrant_mol_per_l": 0.1, "sample_ml": 10.0}, 6.0, 1e-3),
        # 7.5 mL and 0.1 mol/L: 1 g/L a mL, students' notes
        "ta_inflection": ({"titre_ml": 5.0, "titrant_mol_per_l": 0.1, "sample_ml": 7.5}, 5.0, 1e-3),
        # 0.300 (n - 0.1 n' - 0.05 n'') g/L for 20 mL
        "va_distillate": (
            {
                "titre_ml": 3.0,
                "titrant_mol_per_l": 0.1,
                "sample_ml": 20.0,
                "free_so2_iodine_ml": 2.0,
                "bound_so2_iodine_ml": 1.0,
            },
            0.300 * (3.0 - 0.2 - 0.05),
            2e-3,
        ),
        # 175 mg N/L a mL: Virginia Tech
        "yan_formol": (
            {"titre_ml": 1.0, "titrant_mol_per_l": 0.05, "sample_ml": 10.0, "dilution": 2.5},
            175.0,
            1e-3,
        ),
        # Eurachem/CITAC CG 4, A2: 0.10214 mol/L
        "titrant_strength_weighed": (
            {"mass_g": 0.3888, "standard_g_per_mol": 204.2212, "titre_ml": 18.64},
            0.10214,
            5e-5,
        ),
        "titrant_strength_solution": (
            {"standard_mol_per_l": 0.1, "standard_ml": 10.0, "titre_ml": 20.0},
            0.05,
            1e-15,
        ),
        "titrant_strength_titrated": (
            {"standard_mol_per_l": 0.1, "titre_ml": 20.0, "titrant_taken_ml": 100.0},
            0.01,
            1e-15,
        ),
    }
)


def by_hand(text: str, numbers: Mapping[str, Any]) -> Any:
    """Work a formula's text in the arithmetic of its numbers: what a stranger does with a stored result."""
    operators: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
        ast.Add: operator.add,
        ast.Sub: operator.sub,
        ast.Mult: operator.mul,
        ast.Div: operator.truediv,
        ast.Pow: operator.pow,
    }

    def value(node: ast.expr) -> Any:
        match node:
            case ast.Constant(value=int(number)):
                return Fraction(number)
            case ast.Name(id=name):
                return numbers[name]
            case ast.BinOp(left=left, op=op, right=right):
                return operators[type(op)](value(left), value(right))
            case ast.Call(func=ast.Name(id="max"), args=[first, second]):
                return max(value(first), value(second))
        raise AssertionError(f"no plain arithmetic: {ast.dump(node)}")

    return value(ast.parse(text, mode="eval").body)


def in_fractions(one: Formula, inputs: Mapping[str, float]) -> float:
    exact = {name: Fraction(value) for name, value in inputs.items()}
    exact |= {each.name: Fraction(repr(each.value)) for each in one.constants}
    return float(by_hand(one.text, exact))


def inputs_of(formula_id: str) -> dict[str, float]:
    return dict(KNOWN[formula_id][0])


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_recompute__published_or_closed_form_of_every_formula(one: Formula) -> None:
    inputs, expected, tolerance = KNOWN[one.id]
    assert recompute(one.id, inputs, one.version) == pytest.approx(expected, rel=tolerance, abs=0.0)


def test_every_formula_has_a_known_value() -> None:
    assert {one.id for one in ALL} == set(KNOWN)


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_recompute__independent_the_text_worked_in_fractions(one: Formula) -> None:
    inputs = complete_inputs(one.id, KNOWN[one.id][0], one.version)
    moved = {name: value * (1 + nth / 1000) or nth / 100 for nth, (name, value) in enumerate(inputs.items())}
    for given_inputs in (inputs, moved):
        assert recompute(one.id, given_inputs, one.version) == pytest.approx(
            in_fractions(one, given_inputs), rel=1e-12
        )


def test_recompute__independent_molecular_so2_of_a_named_set() -> None:
    pk = float(sulfurous_pk("single-1.77"))
    inputs = {"free_mg_per_l": 31.0, "ph": 3.27, "pk": pk}
    assert recompute("molecular_so2", inputs, 1) == float(molecular_so2(31.0, 3.27, "single-1.77"))


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_recompute__law_the_order_of_the_inputs_changes_no_bit(one: Formula) -> None:
    inputs = inputs_of(one.id)
    assert recompute(one.id, inputs, 1) == recompute(one.id, dict(reversed(inputs.items())), 1)


@given(
    st.sampled_from(["free_so2_iodine", "total_so2_aeration", "ta_ph_7_0", "yan_formol"]),
    st.floats(0.5, 1.5),
    st.floats(1.0, 5.0),
)
def test_recompute__law_a_result_is_in_proportion_to_the_factor_and_the_dilution(
    formula_id: str, factor: float, dilution: float
) -> None:
    plain = inputs_of(formula_id) | {"dilution": 1.0}
    moved = plain | {"titrant_factor": factor, "dilution": dilution}
    expected = recompute(formula_id, plain) * factor * dilution
    assert recompute(formula_id, moved) == pytest.approx(expected, rel=1e-12)


@given(st.floats(0.5, 1.5))
def test_recompute__law_a_corrected_reading_is_what_the_right_factor_gives(factor: float) -> None:
    plain = inputs_of("ta_ph_8_2")
    read = {
        "value": recompute("ta_ph_8_2", plain),
        "titrant_factor": factor,
        "sample_ml": 20.0,
        "sample_in_instrument_ml": plain["sample_ml"],
    }
    right = recompute("ta_ph_8_2", plain | {"titrant_factor": factor, "sample_ml": 20.0})
    assert recompute("as_read_corrected", read) == pytest.approx(right, rel=1e-12)


def test_recompute__limit_nothing_titrated_is_no_sulfur_dioxide() -> None:
    inputs = {"titre_ml": 0.0, "titrant_mol_per_l": 0.01, "sample_ml": 50.0}
    assert recompute("free_so2_iodine", inputs) == 0.0


def test_recompute__limit_a_value_as_read_is_the_very_double() -> None:
    assert recompute("as_read", {"value": -0.1 + 0.3}) == -0.1 + 0.3


@pytest.mark.parametrize("one", ALL, ids=IDS)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_recompute__refuses_what_is_no_number_in_every_input(one: Formula, bad: float) -> None:
    for name in complete_inputs(one.id, KNOWN[one.id][0], one.version):
        with pytest.raises(OutOfRangeError, match="must be a finite number"):
            recompute(one.id, KNOWN[one.id][0] | {name: bad}, one.version)


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_recompute__refuses_each_missing_input_by_name(one: Formula) -> None:
    for needed in [each.name for each in one.inputs if each.default is None]:
        rest = {name: value for name, value in inputs_of(one.id).items() if name != needed}
        with pytest.raises(MissingInputError, match=rf"needs {needed}") as caught:
            recompute(one.id, rest)
        assert caught.value.name == needed


def test_recompute__refuses_a_titre_below_its_blank_and_no_sample() -> None:
    inputs = inputs_of("ta_ph_8_2")
    with pytest.raises(ContradictionError, match="below its blank"):
        recompute("ta_ph_8_2", inputs | {"blank_ml": 8.1})
    with pytest.raises(OutOfRangeError, match="sample volume must be more than 0 mL"):
        recompute("ta_ph_8_2", inputs | {"sample_ml": 0.0})


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("titrant_factor", 0.0, "titrant factor must be more than 0"),
        ("titrant_mol_per_l", -0.1, "titrant strength must be more than 0"),
        ("dilution", 0.99, "dilution must be from 1 to 1000"),
        ("dilution", 1000.1, "dilution must be from 1 to 1000"),
    ],
)
def test_recompute__refuses_an_input_outside_its_range(name: str, value: float, message: str) -> None:
    with pytest.raises(OutOfRangeError, match=message):
        recompute("ta_ph_8_2", inputs_of("ta_ph_8_2") | {name: value})


@pytest.mark.parametrize("dilution", [1.0, 1000.0])
def test_recompute__limit_the_ends_of_the_dilution_are_allowed(dilution: float) -> None:
    inputs = inputs_of("ta_ph_8_2")
    assert recompute("ta_ph_8_2", inputs | {"dilution": dilution}) == pytest.approx(
        recompute("ta_ph_8_2", inputs) * dilution
    )


@pytest.mark.parametrize(
    ("formula_id", "changes", "message"),
    [
        ("as_read_corrected", {"titrant_factor_in_instrument": 0.0}, "factor in the instrument"),
        ("as_read_corrected", {"sample_in_instrument_ml": 0.0}, "sample in the instrument"),
        ("as_read_corrected", {"sample_ml": 0.0}, "sample must be more than 0 mL"),
        ("titrant_strength_solution", {"standard_ml": 0.0}, "volume of the standard"),
        ("titrant_strength_solution", {"standard_mol_per_l": 0.0}, "strength of the standard"),
        ("titrant_strength_solution", {"titrant_per_standard": 0.0}, "titrant per standard"),
        ("titrant_strength_solution", {"blank_ml": 20.0}, "titre less blank"),
        ("titrant_strength_titrated", {"titrant_taken_ml": 0.0}, "titrant taken"),
        ("titrant_strength_titrated", {"standard_per_titrant": 0.0}, "standard per titrant"),
        ("titrant_strength_titrated", {"standard_mol_per_l": 0.0}, "strength of the standard"),
        ("titrant_strength_titrated", {"titre_ml": 0.0}, "titre less blank"),
        ("molecular_so2", {"free_mg_per_l": 500.1}, "free SO2 must be from 0 to 500"),
        ("molecular_so2", {"ph": 4.6}, "pH must be from 2.5 to 4.5"),
    ],
)
def test_recompute__refuses_what_cannot_be(formula_id: str, changes: dict[str, float], message: str) -> None:
    with pytest.raises(OutOfRangeError, match=message):
        recompute(formula_id, inputs_of(formula_id) | changes)


def test_complete_inputs__closed_form_writes_the_defaults_out_in_the_order_of_the_formula() -> None:
    given_inputs = {"sample_ml": 50.0, "titre_ml": 5.0, "titrant_mol_per_l": 0.01}
    assert list(complete_inputs("free_so2_iodine", given_inputs).items()) == [
        ("titre_ml", 5.0),
        ("blank_ml", 0.0),
        ("titrant_mol_per_l", 0.01),
        ("titrant_factor", 1.0),
        ("sample_ml", 50.0),
        ("dilution", 1.0),
    ]


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_complete_inputs__law_completing_twice_changes_nothing(one: Formula) -> None:
    once = complete_inputs(one.id, KNOWN[one.id][0])
    assert complete_inputs(one.id, once) == once


def test_complete_inputs__limit_what_was_given_wins_over_the_default() -> None:
    assert complete_inputs("ta_ph_8_2", inputs_of("ta_ph_8_2") | {"blank_ml": 0.05})["blank_ml"] == 0.05


def test_complete_inputs__limit_the_iodine_on_a_distillate_is_that_of_the_method_unless_given() -> None:
    assert complete_inputs("va_distillate", inputs_of("va_distillate"))["iodine_mol_per_l"] == 0.005


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_complete_inputs__independent_the_names_are_those_of_the_text(one: Formula) -> None:
    in_text = {node.id for node in ast.walk(ast.parse(one.text)) if isinstance(node, ast.Name)} - {"max"}
    named = set(complete_inputs(one.id, KNOWN[one.id][0])) | {each.name for each in one.constants}
    assert named - in_text <= {"allowance_mg_per_l"}  # it only decides whether the pair is refused
    assert in_text <= named


def test_complete_inputs__refuses_an_input_that_the_formula_does_not_have() -> None:
    with pytest.raises(UnknownNameError, match=r"no input 'ph_of_wine'; its inputs: free_mg_per_l, ph, pk"):
        complete_inputs("molecular_so2", inputs_of("molecular_so2") | {"ph_of_wine": 3.4})


def test_complete_inputs__refuses_missing_inputs_with_their_units() -> None:
    with pytest.raises(MissingInputError, match=r"titre_ml \[mL\], sample_ml \[mL\]"):
        complete_inputs("ta_ph_8_2", {"titrant_mol_per_l": 0.1})
    with pytest.raises(MissingInputError, match="as_read needs value as well"):
        complete_inputs("as_read", {})


QUAM_A2: Final = {"mass_g": 0.3888, "standard_g_per_mol": 204.2212, "titre_ml": 18.64}
QUAM_A2_U: Final = {
    "mass_g": 0.00013,
    "purity": 0.00029,
    "standard_g_per_mol": 0.0038,
    "titre_ml": 0.013,
    "titrant_per_standard": 0.0005,  # in the place of the guide's factor for repeatability
}


def test_budget__published_sodium_hydroxide_by_phthalate() -> None:
    found = budget("titrant_strength_weighed", QUAM_A2, QUAM_A2_U)
    assert found.value == pytest.approx(0.10214, abs=5e-6)
    assert found.u == pytest.approx(0.00010, abs=5e-6)


def test_budget__limit_without_uncertainties_a_value_is_exact() -> None:
    found = budget("ta_ph_8_2", inputs_of("ta_ph_8_2"), {})
    assert (found.value, found.u) == (recompute("ta_ph_8_2", inputs_of("ta_ph_8_2")), 0.0)


def test_budget__limit_a_blank_of_zero_and_no_dilution_may_be_in_doubt() -> None:
    inputs = inputs_of("ta_ph_8_2")  # 0.75043 g/L a mL
    found = budget("ta_ph_8_2", inputs, {"blank_ml": 0.02, "dilution": 0.01})
    assert found.contributions["blank_ml"].u == pytest.approx(0.02 * 0.75043, rel=1e-6)
    assert found.contributions["dilution"].u == pytest.approx(0.01 * found.value, rel=1e-6)


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_budget__law_the_shares_add_to_one(one: Formula) -> None:
    inputs = complete_inputs(one.id, KNOWN[one.id][0])
    found = budget(one.id, inputs, dict.fromkeys(inputs, 0.001), version=one.version)
    assert math.fsum(each.share for each in found.contributions.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_budget__independent_uncertainties_package_on_the_text(one: Formula) -> None:
    inputs = complete_inputs(one.id, KNOWN[one.id][0])
    doubts = {name: 0.001 * (nth + 1) for nth, name in enumerate(inputs)}
    variables: dict[str, Any] = {name: ufloat(value, doubts[name]) for name, value in inputs.items()}
    numbers = variables | {each.name: each.value for each in one.constants}
    above = {"__builtins__": {}, "max": lambda _, value: value}  # no known value is cut off at its least
    expected = eval(one.text, above, numbers)
    assert budget(one.id, inputs, doubts).u == pytest.approx(expected.std_dev, rel=1e-6)


def test_budget__independent_monte_carlo_with_one_burette_for_titre_and_blank() -> None:
    inputs = {"titre_ml": 5.0, "blank_ml": 0.3, "titrant_mol_per_l": 0.01, "sample_ml": 50.0}
    doubts = {"titre_ml": 0.03, "blank_ml": 0.03, "titrant_factor": 0.002, "sample_ml": 0.05}
    random = np.random.default_rng(20251006)
    together = [[0.03**2, 0.8 * 0.03**2], [0.8 * 0.03**2, 0.03**2]]
    titre, blank = random.multivariate_normal([5.0, 0.3], together, 400_000).T
    factor, sample = random.normal(1.0, 0.002, 400_000), random.normal(50.0, 0.05, 400_000)
    simulated = (titre - blank) * 0.01 * factor * 64.058 * 1000 / sample
    found = budget("free_so2_iodine", inputs, doubts, correlations={("titre_ml", "blank_ml"): 0.8})
    assert found.u == pytest.approx(float(simulated.std()), rel=0.01)


def test_budget__refuses_an_uncertainty_of_no_input_and_one_below_zero() -> None:
    with pytest.raises(UnknownNameError, match="ta_ph_8_2 has no input 'ph'; its inputs: titre_ml, "):
        budget("ta_ph_8_2", inputs_of("ta_ph_8_2"), {"ph": 0.01})
    with pytest.raises(OutOfRangeError, match="uncertainty of titre_ml"):
        budget("ta_ph_8_2", inputs_of("ta_ph_8_2"), {"titre_ml": -0.01})


def test_worked__closed_form_shows_text_numbers_value_and_sources() -> None:
    inputs = {"titre_ml": 5.0, "titrant_mol_per_l": 0.01, "sample_ml": 50.0, "titrant_factor": 0.998}
    assert worked("free_so2_iodine", inputs).splitlines() == [
        "free_so2_iodine version 1",
        f"= {formula('free_so2_iodine').text}",
        "= (5.0 - 0.0) * 0.01 * 0.998 * 64.058 * 1000 / 50.0 * 1.0",
        "= 63.929884 mg/L",
        "so2_g_per_mol = 64.058 g/mol, IUPAC 2021",
        "source: OIV-MA-AS323-04B, recalled; its stoichiometry is published",
    ]


def test_worked__limit_a_value_as_read_has_no_unit_of_its_own_and_no_constants() -> None:
    assert worked("as_read", {"value": -1.5}).splitlines() == [
        "as_read version 1",
        "= value",
        "= (-1.5)",
        "= -1.5",
        "source: the value as it stands",
    ]


@given(st.floats(-1e6, 1e6))
def test_worked__law_the_filled_text_gives_the_value_back(value: float) -> None:
    filled = worked("as_read", {"value": value}).splitlines()[2].removeprefix("= ")
    assert ast.literal_eval(filled) == value


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_worked__independent_the_shown_arithmetic_gives_the_shown_value(one: Formula) -> None:
    _, _, filled, shown, *_ = worked(one.id, KNOWN[one.id][0], one.version).splitlines()
    value = eval(filled.removeprefix("= "), {"__builtins__": {}, "max": max})
    assert float(shown.split()[1]) == pytest.approx(value, rel=1e-11)


def test_worked__refuses_what_recompute_refuses() -> None:
    with pytest.raises(MissingInputError):
        worked("ta_ph_8_2", {})
    with pytest.raises(OutOfRangeError):
        worked("ta_ph_8_2", inputs_of("ta_ph_8_2") | {"sample_ml": -1.0})


def test_a_formula_is_found_by_id_and_version_and_the_newest_by_id_alone() -> None:
    assert formula("va_distillate", 1) is formula("va_distillate")
    with pytest.raises(UnknownNameError, match="no formula is called 'so2'; known: as_read, "):
        formula("so2")
    with pytest.raises(UnknownNameError, match=r"has no version 7; it has: 1$"):
        formula("va_distillate", 7)


@pytest.mark.parametrize("one", ALL, ids=IDS)
def test_a_formula_speaks_of_quantities_and_units_of_the_registry(one: Formula) -> None:
    if one.quantity is None:
        assert one.unit is None
    else:
        assert one.unit == units.quantity(one.quantity).unit
    for each in one.inputs:
        assert each.unit in {"", "g/mol"} | {known.code for known in units.units()}
    assert one.source
    assert one.function.__module__ == formula_functions.__name__


def test_ids_and_versions_are_unique_and_count_from_one() -> None:
    keys = [(one.id, one.version) for one in formula_table.TABLE]
    assert len(set(keys)) == len(keys)
    for formula_id in {one.id for one in ALL}:
        versions = [one.version for one in ALL if one.id == formula_id]
        assert versions == list(range(1, len(versions) + 1))


def test_the_documents_show_every_formula_as_it_is() -> None:
    rows = [line for line in CHEMISTRY.read_text(encoding="utf-8").splitlines() if line.startswith("| `")]
    shown = [row for row in rows if row.count("`") == 4 and row.endswith("` |")]
    expected = [
        f"| `{one.id}` {one.version} | {one.quantity or 'as the reading'} | `{one.text}` |" for one in ALL
    ]
    assert [row for row in shown if row in expected] == expected
