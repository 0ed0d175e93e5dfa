"""What the demonstration's laboratory knows before its first number: wines, samples, methods, people.

Everything here is invented.
"""

from datetime import UTC, datetime
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
FURNISHING_LIMIT_S: Final = 300.0
"""How long the store may take for it. [s]"""
SAMPLES: Final = 140
FIRST_SAMPLE: Final = 1001
ON_THE_TRAY: Final = 12
TYPED_PH: Final = 14
"""How many samples have a pH that somebody typed."""
KNOWN_SINCE_US: Final = 60 * DAY_US
WEEKS_AGO: Final = (28, 21, 14, 7)
"""When the lots were measured before. [d]"""
LOSS_PER_DAY: Final = 0.011
"""Share of its free SO2 that a lot loses in a day. [1/d]"""
SCATTER: Final = (0.0, 0.02, -0.015, 0.01)
"""Of the four rounds, as shares."""

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
EVERY_LOT: Final[Fields] = {
    "jurisdiction": "EU",
    "sugar_g_l": 1.0,
    "molecular_low_mg_l": 0.5,
    "molecular_high_mg_l": 0.9,
}
PH: Final = (3.24, 3.12, 3.67, 3.62, 3.59, 3.52, 3.40)
"""Of the lots, in their order. [pH]"""
FREE_MG_L: Final = (21.2, 22.8, 26.5, 31.2, 1.9, 33.3, 16.1)
"""Of the lots now, in their order. [mg/L]"""
TOTAL_MG_L: Final = (54.8, 62.0, 57.7, 76.5, 8.4, 190.4, 66.6)
"""Of the lots a week ago, in their order. [mg/L]"""
REAGENTS: Final[dict[str, Fields]] = {
    "I-0925": {
        "name": "iodine 0.0100 mol/L",
        "reagent_kind": "titrant",
        "nominal_mol_per_l": 0.01,
        "days_after_opening": 28.0,
        "hazard": "Stains and irritates: gloves, eye protection, away from acids in the waste.",
    },
    "KMBS": {
        "name": "potassium metabisulfite",
        "reagent_kind": "substance",
        "strength": 0.576,
        "hazard": "Gives off sulfur dioxide with acid: air moving, gloves, eye protection.",
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
    since_us = now_us - KNOWN_SINCE_US
    lots = {code: {**fields, **EVERY_LOT} for code, fields in LOTS.items()}
    for kind, all_fields in (("person", PEOPLE), ("lot", lots), ("reagent", REAGENTS), ("method", METHODS)):
        for code, fields in all_fields.items():
            records.make(tx, by, kind, code, fields, valid_from_us=since_us)
    for round_number, days_ago in enumerate(WEEKS_AGO, start=1):
        _past_round(tx, by, round_number, days_ago)
    _fill_the_tray(tx, by)


def _past_round(tx: Transaction, by: Actor, round_number: int, days_ago: int) -> None:
    """Enter what was measured of each lot some days ago, as if somebody had typed it."""
    at_us = by.at_us - days_ago * DAY_US
    numbers = zip(LOTS, PH, FREE_MG_L, TOTAL_MG_L, strict=True)
    for place, (lot, ph, free_mg_l, total_mg_l) in enumerate(numbers, start=1):
        code = f"V-{round_number}{place:02}"
        drawn = {"lot": lot, "drawn_by": "FEN", "drawn_at": datetime.fromtimestamp(at_us / 1e6, UTC)}
        records.make(tx, by, "sample", code, drawn, valid_from_us=at_us)
        free = round(free_mg_l * (1 + LOSS_PER_DAY * days_ago) * (1 + SCATTER[round_number - 1]), 1)
        _type(tx, by, "pH", ph, sample=code, at_us=at_us)
        _type(tx, by, "SO2-free", free, sample=code, at_us=at_us)
        if days_ago == WEEKS_AGO[-1]:
            _type(tx, by, "SO2-total", total_mg_l, sample=code, at_us=at_us)


def _fill_the_tray(tx: Transaction, by: Actor) -> None:
    codes = [f"W-{FIRST_SAMPLE + index}" for index in range(SAMPLES)]
    for code, lot in zip(codes, cycle(LOTS), strict=False):
        drawn = {"lot": lot, "drawn_by": "FEN"}
        records.make(tx, by, "sample", code, drawn, valid_from_us=by.at_us - DAY_US)
    tests = ("SO2-free", "SO2-total")
    items = [NewItem("sample", sample=code, tests=tests) for code in codes[:ON_THE_TRAY]]
    tray.put(tx, by, "bur-1", items)
    for code, ph in zip(codes[:TYPED_PH], cycle(PH), strict=False):
        _type(tx, by, "pH", ph, sample=code, at_us=by.at_us)


def _type(tx: Transaction, by: Actor, method: str, value: float, *, sample: str, at_us: int) -> None:
    instrument = METHODS[method]["instruments"][0]
    sample_id = records.find(tx.connection, Sample, sample).record_id
    results.typed(tx, by, method, [value, value], Measured(None, "value", at_us, instrument, sample_id))
