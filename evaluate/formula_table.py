"""The formulas that results are computed by, each under an id and a version.

A version is never changed once results stand on it: a better formula gets the next version.
"""

from typing import Final

from evaluate import constants
from evaluate import formula_functions as functions
from evaluate.formula import Formula, FormulaConstant, FormulaInput

_SO2: Final = FormulaConstant("so2_g_per_mol", constants.SULFUR_DIOXIDE_G_PER_MOL, "g/mol", "IUPAC 2021")
_TARTARIC: Final = FormulaConstant(
    "tartaric_g_per_mol", constants.TARTARIC_ACID_G_PER_MOL, "g/mol", "IUPAC 2021"
)
_ACETIC: Final = FormulaConstant("acetic_g_per_mol", constants.ACETIC_ACID_G_PER_MOL, "g/mol", "IUPAC 2021")
_SORBIC: Final = FormulaConstant("sorbic_g_per_mol", constants.SORBIC_ACID_G_PER_MOL, "g/mol", "IUPAC 2021")
_NITROGEN: Final = FormulaConstant("nitrogen_g_per_mol", constants.NITROGEN_G_PER_MOL, "g/mol", "IUPAC 2021")

_VALUE: Final = FormulaInput("value", "", "what the instrument gave, or a person entered")
_TITRE: Final = FormulaInput("titre_ml", "mL", "titrant used to the end point")
_BLANK: Final = FormulaInput("blank_ml", "mL", "titrant used by the reagents alone", 0.0)
_SECOND: Final = FormulaInput("second_titre_ml", "mL", "titrant used after the first alkali, from zero")
_THIRD: Final = FormulaInput("third_titre_ml", "mL", "titrant used after the second alkali, from zero", 0.0)
_ALDEHYDE: Final = FormulaInput("aldehyde_titre_ml", "mL", "titrant used after ethanal bound the free SO2")
_IODINE: Final = FormulaInput("titrant_mol_per_l", "mol/L", "nominal strength of the titrant as iodine, I2")
_NAOH: Final = FormulaInput("titrant_mol_per_l", "mol/L", "nominal strength of the sodium hydroxide")
_FACTOR: Final = FormulaInput("titrant_factor", "1", "true over nominal strength of the titrant", 1.0)
_SAMPLE: Final = FormulaInput("sample_ml", "mL", "sample in the flask, as diluted")
_DILUTION: Final = FormulaInput("dilution", "1", "final volume over volume of sample taken", 1.0)
_PER_STANDARD: Final = FormulaInput("titrant_per_standard", "1", "mol of titrant a mol of standard", 1.0)

_BY_IODINE: Final = (_TITRE, _BLANK, _IODINE, _FACTOR, _SAMPLE, _DILUTION)
_BY_NAOH: Final = (_TITRE, _BLANK, _NAOH, _FACTOR, _SAMPLE, _DILUTION)

_STRENGTH: Final = "titrant_mol_per_l * titrant_factor"
_SO2_TEXT: Final = f"{_STRENGTH} * so2_g_per_mol * 1000 / sample_ml * dilution"
_IODINE_TEXT: Final = f"(titre_ml - blank_ml) * {_SO2_TEXT}"
_AERATION_TEXT: Final = f"(titre_ml - blank_ml) / 2 * {_SO2_TEXT}"
_ACIDITY_TEXT: Final = f"(titre_ml - blank_ml) * {_STRENGTH} * tartaric_g_per_mol / 2 / sample_ml * dilution"

_IODINE_SOURCE: Final = "OIV-MA-AS323-04B, recalled; its stoichiometry is published"
_AERATION_SOURCE: Final = "Regulation (EEC) 2676/90, annex, chapter 25, published"
_ACIDITY_SOURCE: Final = "end points by OIV-MA-AS313-01 and United States practice, published"


def _iodine(formula_id: str, quantity: str) -> Formula:
    return Formula(
        formula_id,
        1,
        quantity,
        "mg/L",
        _IODINE_TEXT,
        _BY_IODINE,
        (_SO2,),
        functions.so2_iodine,
        _IODINE_SOURCE,
    )


def _aeration(formula_id: str, quantity: str) -> Formula:
    return Formula(
        formula_id,
        1,
        quantity,
        "mg/L",
        _AERATION_TEXT,
        _BY_NAOH,
        (_SO2,),
        functions.so2_aeration,
        _AERATION_SOURCE,
    )


def _acidity(quantity: str) -> Formula:
    return Formula(
        quantity,
        1,
        quantity,
        "g/L tartaric",
        _ACIDITY_TEXT,
        _BY_NAOH,
        (_TARTARIC,),
        functions.acidity_as_tartaric,
        _ACIDITY_SOURCE,
    )


TABLE: Final[tuple[Formula, ...]] = (
    Formula("as_read", 1, None, None, "value", (_VALUE,), (), functions.as_read, "the value as it stands"),
    Formula(
        "as_read_corrected",
        1,
        None,
        None,
        "value * titrant_factor / titrant_factor_in_instrument * sample_in_instrument_ml / sample_ml"
        " * dilution",
        (
            _VALUE,
            _FACTOR,
            FormulaInput("titrant_factor_in_instrument", "1", "factor the instrument computed with", 1.0),
            _SAMPLE,
            FormulaInput("sample_in_instrument_ml", "mL", "sample the instrument computed with"),
            _DILUTION,
        ),
        (),
        functions.as_read_corrected,
        "arithmetic: every titration is in proportion to strength over sample; a blank that the instrument "
        "took off stays off",
    ),
    _iodine("free_so2_iodine", "free_so2"),
    Formula(
        "free_so2_iodine_aldehyde",
        1,
        "free_so2",
        "mg/L",
        f"(titre_ml - aldehyde_titre_ml) * {_SO2_TEXT}",
        (_TITRE, _ALDEHYDE, _IODINE, _FACTOR, _SAMPLE, _DILUTION),
        (_SO2,),
        functions.so2_iodine_less_aldehyde,
        "OIV-MA-AS323-04B, recalled; principle in OIV-MA-VI-09, published",
    ),
    _iodine("total_so2_iodine_two_portions", "total_so2"),
    Formula(
        "total_so2_iodine_one_flask",
        1,
        "total_so2",
        "mg/L",
        f"(titre_ml - blank_ml + second_titre_ml + third_titre_ml) * {_SO2_TEXT}",
        (_TITRE, _BLANK, _SECOND, _THIRD, _IODINE, _FACTOR, _SAMPLE, _DILUTION),
        (_SO2,),
        functions.total_so2_one_flask,
        _IODINE_SOURCE,
    ),
    Formula(
        "combined_so2_iodine_one_flask",
        1,
        "combined_so2",
        "mg/L",
        f"(second_titre_ml + third_titre_ml) * {_SO2_TEXT}",
        (_SECOND, _THIRD, _IODINE, _FACTOR, _SAMPLE, _DILUTION),
        (_SO2,),
        functions.combined_so2_one_flask,
        _IODINE_SOURCE,
    ),
    _aeration("free_so2_aeration", "free_so2"),
    _aeration("total_so2_aeration", "total_so2"),
    Formula(
        "combined_so2_difference",
        1,
        "combined_so2",
        "mg/L",
        "max(0, total_mg_per_l - free_mg_per_l)",
        (
            FormulaInput("free_mg_per_l", "mg/L", "free SO2"),
            FormulaInput("total_mg_per_l", "mg/L", "total SO2"),
            FormulaInput("allowance_mg_per_l", "mg/L", "by how much free may exceed total unrefused", 0.0),
        ),
        (),
        functions.combined_so2_difference,
        "definition of combined SO2",
    ),
    Formula(
        "molecular_so2",
        1,
        "molecular_so2",
        "mg/L",
        "free_mg_per_l / (1 + 10 ** (ph - pk))",
        (
            FormulaInput("free_mg_per_l", "mg/L", "free SO2"),
            FormulaInput("ph", "pH", "pH of the wine"),
            FormulaInput("pk", "1", "constant of the named set for this wine, from sulfurous_pk"),
        ),
        (),
        functions.molecular_so2,
        "OIV-MA-AS323-04C, published; the constant has the source of its set",
    ),
    _acidity("ta_ph_7_0"),
    _acidity("ta_ph_8_2"),
    _acidity("ta_inflection"),
    Formula(
        "va_distillate",
        1,
        "va",
        "g/L acetic",
        f"((titre_ml - blank_ml) * {_STRENGTH} * 1000 / sample_ml"
        " - (2 * free_so2_iodine_ml + bound_so2_iodine_ml) * iodine_mol_per_l * 1000 / sample_ml"
        " - sorbic_acid_mg_per_l / sorbic_g_per_mol) * acetic_g_per_mol / 1000",
        (
            _TITRE,
            _BLANK,
            _NAOH,
            _FACTOR,
            _SAMPLE,
            FormulaInput("iodine_mol_per_l", "mol/L", "strength of the iodine on the distillate", 0.005),
            FormulaInput("free_so2_iodine_ml", "mL", "iodine for free SO2 in the distillate", 0.0),
            FormulaInput("bound_so2_iodine_ml", "mL", "iodine for bound SO2 in the distillate", 0.0),
            FormulaInput("sorbic_acid_mg_per_l", "mg/L", "sorbic acid in the wine", 0.0),
        ),
        (_SORBIC, _ACETIC),
        functions.volatile_acidity_as_acetic,
        "OIV-MA-AS313-02, corrections published, their factors recalled",
    ),
    Formula(
        "yan_formol",
        1,
        "yan_formol",
        "mg N/L",
        f"(titre_ml - blank_ml) * {_STRENGTH} * dilution * 1000 / sample_ml * nitrogen_g_per_mol",
        _BY_NAOH,
        (_NITROGEN,),
        functions.nitrogen_by_formol,
        "Virginia Tech enology extension, reduced-volume formol titration, published",
    ),
    Formula(
        "titrant_strength_weighed",
        1,
        "titrant_strength",
        "mol/L",
        "1000 * mass_g * purity * titrant_per_standard / (standard_g_per_mol * (titre_ml - blank_ml))",
        (
            FormulaInput("mass_g", "g", "portion of the primary standard"),
            FormulaInput("purity", "1", "mass share of the standard", 1.0),
            FormulaInput("standard_g_per_mol", "g/mol", "molar mass of the standard"),
            _PER_STANDARD,
            _TITRE,
            _BLANK,
        ),
        (),
        functions.titrant_strength_weighed,
        "Eurachem/CITAC guide CG 4, example A2, published",
    ),
    Formula(
        "titrant_strength_solution",
        1,
        "titrant_strength",
        "mol/L",
        "standard_mol_per_l * standard_ml * titrant_per_standard / (titre_ml - blank_ml)",
        (
            FormulaInput("standard_mol_per_l", "mol/L", "strength of the standard solution"),
            FormulaInput("standard_ml", "mL", "standard solution taken"),
            _PER_STANDARD,
            _TITRE,
            _BLANK,
        ),
        (),
        functions.titrant_strength_solution,
        "definition of an amount concentration, exact",
    ),
    Formula(
        "titrant_strength_titrated",
        1,
        "titrant_strength",
        "mol/L",
        "standard_mol_per_l * (titre_ml - blank_ml) / (standard_per_titrant * titrant_taken_ml)",
        (
            FormulaInput("standard_mol_per_l", "mol/L", "strength of the standard solution"),
            FormulaInput("titre_ml", "mL", "standard solution used to the end point"),
            FormulaInput("blank_ml", "mL", "standard solution used by the reagents alone", 0.0),
            FormulaInput("standard_per_titrant", "1", "mol of standard a mol of titrant: 2 for I2", 2.0),
            FormulaInput("titrant_taken_ml", "mL", "titrant in the flask"),
        ),
        (),
        functions.titrant_strength_titrated,
        "textbook stoichiometry, published: I2 + 2 S2O3(2-) -> 2 I- + S4O6(2-)",
    ),
)
