"""A laboratory of usual size entered over REST: samples of a wine, 24 methods, a check wine, a full tray."""

from typing import Any, Final

from simulators.so2_burette import framed
from tests.fakes.rest import Rest
from tests.fakes.wine_over_rest import enter_wine

BURETTE: Final = "bur-1"
SAMPLES: Final = 60
AS_READ: Final = (
    ("alcohol", "still"),
    ("brix", "refractometer"),
    ("density", "density-1"),
    ("density", "density-2"),
    ("va", "still"),
    ("malic_acid", "photometer"),
    ("lactic_acid", "photometer"),
    ("glucose_fructose", "photometer"),
    ("dissolved_oxygen", "oxygen-1"),
    ("turbidity", "turbidity-1"),
    ("turbidity", "turbidity-2"),
    ("conductivity", "conductivity-1"),
    ("ph", "ph-2"),
    ("ta_ph_7_0", "acid-2"),
    ("ta_inflection", "acid-2"),
    ("yan_formol", "acid-2"),
)
"""Quantity and instrument of methods that take the instrument's own number."""
METHODS: Final = 24
FREE_MG_L: Final = 29.6
TOTAL_MG_L: Final = 101.5


def samples(count: int = SAMPLES) -> list[str]:
    """Return the codes of the samples on the tray."""
    return [f"W-{1001 + index}" for index in range(count)]


def enter_methods(rest: Rest) -> None:
    """Enter a wine and 24 methods: the burette's free and total SO2 with their check wine are two of them."""
    enter_wine(rest)  # five of them
    rest.record("reagents", "HC-1", name="check wine", reagent_kind="control_material")
    gated = {"instruments": [BURETTE], "checks": ["HC-1"], "check_every_h": 24, "plausible_high": 300}
    for quantity, mode, sd in (("free_so2", "F", 0.9), ("total_so2", "T", 2.0)):
        own: dict[str, Any] = {"quantity": quantity, "modes": [mode], "repeatability_sd": sd, **gated}
        rest.record("methods", f"SO2-{mode}", name=quantity, relative_uncertainty=0.03, **own)
    rest.record(
        "methods",
        "ta",
        name="TA to pH 8.2",
        quantity="ta_ph_8_2",
        formula="ta_ph_8_2",
        reading_quantity="dispensed_volume",
        instruments=["acid-1"],
        aliquot_ml=10,
        titrant="I-0925",
    )
    for number, (quantity, instrument) in enumerate(AS_READ):
        rest.record(
            "methods", f"as-read-{number}", name=quantity, quantity=quantity, instruments=[instrument]
        )


def enter_laboratory(rest: Rest, *, count: int = SAMPLES) -> None:
    """Enter the methods, a passed check, and a tray on which every sample waits for free and total SO2."""
    enter_methods(rest)
    limits = {"material": "HC-1", "quantity": "free_so2", "centre": 26.0, "sd": 1.0}
    rest.record("limit-sets", "HC-1-F", **limits, centre_origin="assigned", sd_origin="given")
    passed = {"instrument": BURETTE, "material": "HC-1", "method": "SO2-F", "given": 26.1}
    rest.post("/checks", passed)
    for code in samples(count):
        rest.record("samples", code, lot="25-PN-01")
        rest.post("/results", {"method": "ph", "sample": code, "value": 3.41, "again": 3.41})
    items = [{"kind": "sample", "sample": code, "tests": ["SO2-F", "SO2-T"]} for code in samples(count)]
    rest.post(f"/trays/{BURETTE}/items", {"items": items})


def answers(count: int = SAMPLES) -> list[tuple[str, str, float]]:
    """Return sample, mode and value [mg/L] of what the burette says, in its order."""
    both = (("F", FREE_MG_L), ("T", TOTAL_MG_L))
    return [(code, mode, value) for code in samples(count) for mode, value in both]


def frame(sequence: int, sample: str, mode: str, value: float) -> bytes:
    """Return the bytes of one answer of the burette. [mg/L]"""
    at = f"2025-10-06 {8 + sequence // 3600:02}:{sequence // 60 % 60:02}:{sequence % 60:02}"
    return framed("R", f"{sequence:04}", at, mode, sample, "2.31", "mL", f"{value:.1f}", "mg/L")
