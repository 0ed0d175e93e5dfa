"""Recompute the thread of a result from an exported folder, with nothing but the standard library.

Usage: python thread_from_export.py FOLDER RESULT. Prints one JSON object; exit code 1 if it does not hold.
Whoever wants to check our numbers needs the folder, this page of arithmetic, and no program of ours.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

TARTARIC_G_PER_MOL = 150.086  # C4H6O6 from 4 C 12.011, 6 H 1.008, 6 O 15.999
SULFUR_DIOXIDE_G_PER_MOL = 64.058  # SO2 from S 32.06, 2 O 15.999


def acidity(i: dict[str, float]) -> float:
    """Millilitres of alkali to g/L of tartaric acid, two protons a molecule."""
    mmol = (i["titre_ml"] - i["blank_ml"]) * i["titrant_mol_per_l"] * i["titrant_factor"]
    return mmol / 2 * TARTARIC_G_PER_MOL / i["sample_ml"] * i["dilution"]


def sulfur_dioxide(i: dict[str, float]) -> float:
    """Millilitres of iodine to mg/L of SO2, molecule for molecule."""
    mmol = (i["titre_ml"] - i["blank_ml"]) * i["titrant_mol_per_l"] * i["titrant_factor"]
    return mmol * SULFUR_DIOXIDE_G_PER_MOL * 1000 / i["sample_ml"] * i["dilution"]


def as_read(i: dict[str, float]) -> float:
    """The instrument's own number."""
    return i["value"]


FORMULAS: dict[str, Callable[[dict[str, float]], float]] = {
    "ta_ph_8_2/1": acidity,
    "free_so2_iodine/1": sulfur_dioxide,
    "as_read/1": as_read,
}


def rows(folder: Path, table: str) -> list[dict[str, Any]]:
    """Return every row of a table."""
    text = (folder / "tables" / f"{table}.jsonl").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]


def only(found: list[dict[str, Any]], **wanted: Any) -> dict[str, Any]:
    """Return the one row that fits."""
    fitting = [row for row in found if all(row[name] == value for name, value in wanted.items())]
    if len(fitting) != 1:
        raise SystemExit(f"{len(fitting)} rows fit {wanted}, one was wanted")
    return fitting[0]


def current(folder: Path, number: int) -> dict[str, Any]:
    """Return a result with what the newest amendment in force says of it, else as it was made."""
    states: dict[int, str] = {}
    for row in rows(folder, "amendment_state"):
        states[row["amendment_id"]] = row["state"]
    found = only(rows(folder, "result"), number=number)
    for row in sorted(rows(folder, "amendment_item"), key=lambda row: row["version"]):
        if row["result_id"] == number and states.get(row["amendment_id"]) == "in_force":
            found = {**found, **{name: row[name] for name in ("value", "inputs", "formula", "amendment_id")}}
    return found


def frame_bytes(folder: Path, reading: dict[str, Any]) -> bytes:
    """Return the bytes that a reading was read from."""
    frame = only(rows(folder, "frame"), number=reading["frame_number"], ordinal=reading["frame_ordinal"])
    heard = (folder / "captures" / f"{frame['capture_number']}.heard").read_bytes()
    first = min(
        row["offset"]
        for row in rows(folder, "chunk")
        if row["capture_number"] == frame["capture_number"] and row["direction"] == "heard"
    )
    begin = frame["offset"] - first
    return heard[begin : begin + frame["length"]]


def thread(folder: Path, number: int) -> dict[str, Any]:
    """Walk from a result to its bytes, and compute it again on the way."""
    result = current(folder, number)
    inputs = json.loads(result["inputs"])
    value = FORMULAS[result["formula"]](inputs)
    told: dict[str, Any] = {
        "result": number,
        "stored": result["value"],
        "computed": value,
        "agrees": abs(value - result["value"])
        <= 1e-5 * abs(value),  # molar masses differ in their sixth digit
        "inputs": inputs,
    }
    for part in rows(folder, "result_input"):
        if part["result_id"] != number or part["version"] != 1:
            continue
        if part["role"] == "reading":
            reading = only(
                rows(folder, "reading"), reading_id=part["source_id"], version=part["source_version"]
            )
            data = frame_bytes(folder, reading)
            told["bytes"] = data.hex()
            told["digits_are_in_the_bytes"] = reading["value_text"].encode() in data
            told["reading_is_the_input"] = float(reading["value_numeral"]) in inputs.values()
        if part["role"] == "factor":
            record = only(rows(folder, "control_record"), number=part["source_id"])
            strengths = json.loads(record["details"])["strengths_mol_per_l"]
            nominal = json.loads(record["details"])["nominal_mol_per_l"]
            mean = sum(strengths) / len(strengths) / nominal
            told["factor_is_the_mean"] = abs(mean - record["value"]) <= 1e-9
            told["factor_is_the_input"] = (
                "amendment_id" in result or record["value"] == inputs["titrant_factor"]
            )
        if part["role"] == "method":
            versions = [row for row in rows(folder, "record") if row["record_id"] == part["source_id"]]
            method = json.loads(only(versions, version=part["source_version"])["body"])
            told["sample_is_the_method_s"] = method["aliquot_ml"] in (None, inputs.get("sample_ml"))
    return told


def main() -> int:
    """Print the thread; 1 if a part of it does not hold."""
    told = thread(Path(sys.argv[1]), int(sys.argv[2]))
    print(json.dumps(told, indent=1))
    return 0 if all(value is not False for value in told.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
