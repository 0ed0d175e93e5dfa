"""A small cellar entered over REST: a lot, two samples, and methods for free, total, pH and what follows."""

from typing import Any, Final

from tests.fakes.rest import Rest

LOT: Final = "25-PN-01"
FIRST: Final = "CK4H7M"
SECOND: Final = "DM6R3X"


def enter_wine(rest: Rest, constant_set: str = "single-1.81", **lot: Any) -> None:
    """Enter lot, samples and methods; molecular and combined SO2 are worked out from then on."""
    fields = {"name": "Pinot noir", "colour": "red", "alcohol_percent_vol": 13.2, "volume_l": 1760.0}
    rest.record("lots", LOT, **{**fields, **lot})
    for code in (FIRST, SECOND):
        rest.record("samples", code, lot=LOT)
    rest.record("reagents", "I-0925", name="iodine", reagent_kind="titrant", nominal_mol_per_l=0.01)
    strengths = [0.01] * 3
    factor = {"titrant": "I-0925", "strengths_mol_per_l": strengths, "again_mol_per_l": strengths}
    rest.post("/standardisations", {**factor, "at": "2025-08-25T07:00:00Z"})
    titration = {"reading_quantity": "dispensed_volume", "titrant": "I-0925", "repeatability_sd": 0.9}
    rest.record(
        "methods",
        "free",
        name="free SO2",
        quantity="free_so2",
        formula="free_so2_iodine",
        aliquot_ml=50,
        relative_uncertainty=0.03,
        **titration,
    )
    rest.record(
        "methods",
        "total",
        name="total SO2",
        quantity="total_so2",
        formula="total_so2_iodine_two_portions",
        aliquot_ml=20,
        relative_uncertainty=0.02,
        **titration,
    )
    rest.record("methods", "ph", name="pH", quantity="ph", relative_uncertainty=0.006)
    rest.record(
        "methods",
        "molecular",
        name="molecular SO2",
        quantity="molecular_so2",
        formula="molecular_so2",
        constant_set=constant_set,
        input_age_h=72,
        decimals=2,
    )
    rest.record(
        "methods",
        "combined",
        name="combined SO2",
        quantity="combined_so2",
        formula="combined_so2_difference",
    )


def measure(rest: Rest, method: str, value: float, at: str, sample: str = FIRST) -> int:
    """Enter what was read off, a titre [mL] or a pH, and return the number of its result."""
    body = {"method": method, "sample": sample, "value": value, "again": value, "at": at}
    made: int = rest.post("/results", body)["id"]
    return made


def newest(rest: Rest, quantity: str) -> Any:
    """Return the newest result of a quantity."""
    return rest.get("/results", quantity=quantity)["items"][-1]


def reason_codes(result: Any) -> set[str]:
    return {reason["code"] for reason in result["reasons"]}
