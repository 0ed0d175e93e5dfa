"""What the demonstration's laboratory knows before its first number: wines, samples, methods, people.

Everything here is invented.
"""

from itertools import cycle
from typing import Any, Final

from bench import records, results, tray
from bench.actor import Actor
from bench.kinds.cellar import Sample
from bench.results import Measured
from bench.tray import NewItem
from storage.ledger import ActorKind
from storage.queries.records import records_of_kind
from storage.store import Store
from storage.transaction import Transaction

DAY_US: Final = 86_400_000_000
FURNISHING_LIMIT_S: Final = 30.0
"""How long the store may take for it. [s]"""
SAMPLES: Final = 140
FIRST_SAMPLE: Final = 1001
ON_THE_TRAY: Final = 12
TYPED_PH: Final = 14
"""How many samples have a pH that somebody typed."""

Fields = dict[str, Any]

PEOPLE: Final[dict[str, Fields]] = {
    "MAL": {"name": "Mallow", "roles": ("operator", "manager")},
    "FEN": {"name": "Fennel", "roles": ("operator",)},
    "YAR": {"name": "Yarrow", "roles": ("operator", "reviewer")},
}
LOTS: Final[dict[str, Fields]] = {
    "25-RS-01": {"name": "Rosé", "colour": "rose", "alcohol_percent_vol": 12.4, "volume_l": 1420.0},
    "25-RI-01": {"name": "Riesling", "colour": "white", "alcohol_percent_vol": 12.1, "volume_l": 4600.0},
    "25-PN-01": {"name": "Pinot noir", "colour": "red", "alcohol_percent_vol": 13.2, "volume_l": 1760.0},
    "24-ME-02": {"name": "Merlot", "colour": "red", "alcohol_percent_vol": 13.8, "volume_l": 2250.0},
    "25-CH-01": {"name": "Chardonnay", "colour": "white", "alcohol_percent_vol": 13.0, "volume_l": 1340.0},
    "24-CH-02": {"name": "Chardonnay", "colour": "white", "alcohol_percent_vol": 13.1, "volume_l": 2900.0},
    "25-TP-01": {"name": "topping wine", "colour": "white", "alcohol_percent_vol": 13.0, "volume_l": 180.0},
}
"""In the order in which the simulated bench draws its samples."""
PH: Final = (3.24, 3.12, 3.67, 3.62, 3.59, 3.52, 3.40)
"""Of the lots, in their order. [pH]"""
REAGENTS: Final[dict[str, Fields]] = {
    "I-0925": {
        "name": "iodine 0.0100 mol/L",
        "reagent_kind": "titrant",
        "nominal_mol_per_l": 0.01,
        "days_after_opening": 28.0,
        "hazard": "Stains and irritates: gloves, eye protection, away from acids in the waste.",
    },
    "HC-1": {
        "name": "house check wine",
        "reagent_kind": "control_material",
        "quantity": "free_so2",
        "assigned_value": 26.0,
    },
}
METHODS: Final[dict[str, Fields]] = {
    "SO2-free": {
        "name": "free SO2 by iodine",
        "quantity": "free_so2",
        "instruments": ("bur-1",),
        "modes": ("F",),
        "decimals": 0,
        "relative_uncertainty": 0.03,
        "plausible_high": 80.0,
        "checks": ("HC-1",),
        "check_every_h": 24.0,
    },
    "SO2-total": {
        "name": "total SO2 by iodine",
        "quantity": "total_so2",
        "instruments": ("bur-1",),
        "modes": ("T",),
        "decimals": 0,
        "relative_uncertainty": 0.03,
        "plausible_high": 300.0,
        "release": "second_person",
    },
    "pH": {"name": "pH", "quantity": "ph", "instruments": ("ph-1",), "decimals": 2},
    "SO2-molecular": {
        "name": "molecular SO2, pK 1.81",
        "quantity": "molecular_so2",
        "formula": "molecular_so2",
        "constant_set": "single-1.81",
        "decimals": 2,
    },
}


def furnish(store: Store, now_us: int) -> None:
    """Enter what the demonstration's laboratory knows, unless it has lots already. [µs]"""
    store.writer.submit(lambda tx: _furnish(tx, now_us)).result(FURNISHING_LIMIT_S)


def _furnish(tx: Transaction, now_us: int) -> None:
    if records_of_kind(tx.connection, "lot", after=0, limit=1):
        return
    by = Actor("MAL", ActorKind.PERSON, now_us, "to furnish the demonstration")
    for kind, all_fields in (("person", PEOPLE), ("lot", LOTS), ("reagent", REAGENTS), ("method", METHODS)):
        for code, fields in all_fields.items():
            records.make(tx, by, kind, code, fields, valid_from_us=now_us - 7 * DAY_US)
    codes = [f"W-{FIRST_SAMPLE + index}" for index in range(SAMPLES)]
    for code, lot in zip(codes, cycle(LOTS), strict=False):
        records.make(tx, by, "sample", code, {"lot": lot, "drawn_by": "FEN"}, valid_from_us=now_us - DAY_US)
    tray.put(
        tx,
        by,
        "bur-1",
        [NewItem("sample", sample=code, tests=("SO2-free", "SO2-total")) for code in codes[:ON_THE_TRAY]],
    )
    for code, ph in zip(codes[:TYPED_PH], cycle(PH), strict=False):
        sample_id = records.find(tx.connection, Sample, code).record_id
        results.typed(tx, by, "pH", [ph, ph], Measured(None, "value", now_us, "ph-1", sample_id))
