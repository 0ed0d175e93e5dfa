"""Compute every number that the stories show from what their requests say, with the standard library alone.

Usage: python stories_computed.py STORIES.md. Reads commands and answers out of the document, keeps a notebook
of bottles, factors, methods and titres as a person with a pocket calculator would, and says how many numbers
it found right; exit code 1 if one is not.
"""

import json
import re
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

TARTARIC_G_PER_MOL = 150.086  # C4H6O6 from 4 C 12.011, 6 H 1.008, 6 O 15.999
SULFUR_DIOXIDE_G_PER_MOL = 64.058  # SO2 from S 32.06, 2 O 15.999
RELATIVE = 5e-6  # molar masses are rounded in their sixth digit

Step = tuple[str, list[str]]
BURETTE = "the burette says "


def steps(text: str) -> list[Step]:
    """Return every command with the lines of its answer; what an instrument says has none."""
    found: list[Step] = []
    for kind, block in re.findall(r"```(console|burette)\n(.*?)```", text, re.DOTALL):
        for line in block.splitlines():
            if kind == "burette":
                found.append((f"{BURETTE}{line}", []))
            elif line.startswith("$ "):
                found.append((line[2:], []))
            elif line.startswith("> "):
                found[-1] = (found[-1][0] + "\n" + line[2:], found[-1][1])
            else:
                found[-1][1].append(line)
    return found


def request(command: str) -> tuple[str, dict[str, Any]] | None:
    """Return address and body of a command that sends something; None for one that only looks."""
    found = re.match(r"ask (\S+) '(.*)'", command, re.DOTALL)
    return None if found is None else (found[1], json.loads(found[2]))


def shown(lines: list[str]) -> Any:
    """Return an answer with its dots as members and items."""
    text = re.sub(r"\.\.\.(?=\s*\}|\s*,\s*\"\w+\":)", '"...": 0', "\n".join(lines))
    text = re.sub(r"(?<!\")\.\.\.(?=\s*[\],])", '"..."', text)
    return json.loads(text) if text.strip() else None


def moment(text: str) -> datetime:
    """Return a time."""
    return datetime.fromisoformat(text)


def decimals(number: float) -> int:
    """Return how many decimals a shown number has."""
    return len(repr(number).partition(".")[2])


class Notebook:
    """What a person would have written down."""

    def __init__(self) -> None:
        self.nominal: dict[str, float] = {}
        self.factors: dict[str, list[tuple[datetime, float]]] = {}
        self.methods: dict[str, dict[str, Any]] = {}
        self.titres: dict[int, tuple[str, datetime, float]] = {}
        self.volumes_l: dict[str, float] = {}
        self.shares: dict[str, float] = {}
        self.lots: dict[str, str] = {}
        self.totals: dict[str, float] = {}
        self.doses: dict[int, dict[str, Any]] = {}
        self.what: dict[str, Any] | None = None
        self.applied: dict[str, Any] | None = None
        self.right = 0
        self.wrong: list[str] = []

    def note(self, path: str, body: dict[str, Any], answer: Any) -> None:
        """Write down what a request says."""
        self.note_of_cellar(path, body, answer)
        if path == "reagents" and "nominal_mol_per_l" in body["fields"]:
            self.nominal[body["code"]] = body["fields"]["nominal_mol_per_l"]
        elif path == "methods":
            self.methods[body["code"]] = body["fields"]
        elif path == "standardisations":
            strengths = body["strengths_mol_per_l"]
            factor = sum(strengths) / len(strengths) / self.nominal[body["titrant"]]
            self.factors.setdefault(body["titrant"], []).append((moment(body["at"]), factor))
        elif path == "results" and "aliquot_ml" in self.methods[body["method"]]:
            self.titres[answer["id"]] = (body["method"], moment(body["at"]), body["value"])
        elif path == "checks":
            self.titres[answer["id"]] = (body["method"], moment(body["at"]), body["given"])
        elif path == "what-if":
            self.what = body
        elif path == "amendments" and "id" in answer:
            self.applied = body
        elif path.endswith("/undo"):
            self.applied = None

    def note_of_cellar(self, path: str, body: dict[str, Any], answer: Any) -> None:
        """Write down what a request says of wines, what they hold, and what shall be added."""
        if path == "lots":
            self.volumes_l[body["code"]] = body["fields"]["volume_l"]
        elif path == "reagents" and "strength" in body["fields"]:
            self.shares[body["code"]] = body["fields"]["strength"]
        elif path == "samples" and "lot" in body["fields"]:
            self.lots[body["code"]] = body["fields"]["lot"]
        elif path == "results" and self.methods[body["method"]]["quantity"] == "total_so2":
            self.totals[self.lots[body["sample"]]] = body["value"]
        elif path == "additions" and "id" in answer:
            self.doses[answer["id"]] = body

    def look_at_plan(self, number: int, plan: dict[str, Any]) -> None:
        """Compare mass, rise and total of a planned addition, weighed to 0.1 g."""
        asked = self.doses[number]
        litres, share = self.volumes_l[asked["lot"]], self.shares[asked["substance"]]
        grams = round(asked["dose_mg_l"] / 1000 * litres / share, 1)
        rise = grams * share / litres * 1000
        self.compare(f"{number} mass", plan["salt_g"], grams)
        self.compare(f"{number} rise", plan["added_mg_l"], rise)
        self.compare(f"{number} total", plan["total_mg_l"], self.totals[asked["lot"]] + rise)

    def value(self, number: int, supposed: dict[str, Any] | None) -> float:
        """Return what a titre amounts to, under a supposition if there is one that concerns it."""
        code, at, millilitres = self.titres[number]
        method = self.methods[code]
        titrant = method["titrant"]
        known = [one for one in self.factors.get(titrant, [(at, 1.0)]) if one[0] <= at]
        factor = known[-1][1] if known else 1.0
        if supposed is not None and moment(supposed["begin"]) <= at <= moment(supposed["end"]):
            factor = on_line(supposed["factors"], at)
        mmol = millilitres * self.nominal[titrant] * factor
        return float(mmol / 2 * TARTARIC_G_PER_MOL / method["aliquot_ml"])

    def by_iodine(self, millilitres: float) -> float:
        """Return free SO2 by the method and the bottle that are in use. [mg/L]"""
        method = self.methods["free"]
        factor = self.factors[method["titrant"]][-1][1]
        mmol = millilitres * self.nominal[method["titrant"]] * factor
        return float(mmol * SULFUR_DIOXIDE_G_PER_MOL * 1000 / method["aliquot_ml"])

    def compare(self, name: str, told: float, computed: float) -> None:
        """Hold a shown number against the computed one, to the decimals that are shown."""
        if abs(told - computed) <= 0.500001 * 10 ** -decimals(told) + RELATIVE * abs(computed):
            self.right += 1
        else:
            self.wrong.append(f"{name}: {told} is shown, {computed:.6f} was computed")

    def look(self, answer: Any) -> None:
        """Compare every number of an answer that a titre stands behind."""
        if isinstance(answer, list):
            for one in answer:
                self.look(one)
        if not isinstance(answer, dict):
            return
        if isinstance(answer.get("inputs"), dict) and "titre_ml" in answer["inputs"]:
            self.compare("by its inputs", answer["value"], self.by_iodine(answer["inputs"]["titre_ml"]))
        if "salt_g" in answer.get("plan", {}):
            self.look_at_plan(answer["number"], answer["plan"])
        self.look_at_titre(answer)
        for one in answer.values():
            self.look(one)

    def look_at_titre(self, answer: dict[str, Any]) -> None:
        """Compare what an answer shows of a titre that was noted."""
        number = answer.get("result", answer.get("id", answer.get("number")))
        if isinstance(number, int) and number in self.titres:
            if "new" in answer:
                self.compare(f"{number} old", answer["old"], self.value(number, None))
                self.compare(f"{number} new", answer["new"], self.value(number, self.what))
            elif answer.get("amendment") and isinstance(answer.get("value"), float):
                self.compare(f"{number} amended", answer["value"], self.value(number, self.applied))
            elif isinstance(answer.get("value"), float):
                self.compare(f"{number}", answer["value"], self.value(number, None))


def on_line(factors: list[dict[str, Any]], at: datetime) -> float:
    """Return the factor on the straight line between two moments."""
    first, last = factors[0], factors[-1]
    whole = (moment(last["at"]) - moment(first["at"])).total_seconds()
    share = (at - moment(first["at"])).total_seconds() / whole
    found: float = first["factor"] + share * (last["factor"] - first["factor"])
    return found


def main() -> int:
    """Say how many numbers are right, and which are not."""
    notebook = Notebook()
    for command, lines in steps(Path(sys.argv[1]).read_text(encoding="utf-8")):
        if "while read" in command:
            continue
        answer = shown(lines)
        if (sent := request(command)) is not None:
            notebook.note(*sent, answer)
        notebook.look(answer)
    print(json.dumps({"right": notebook.right, "wrong": notebook.wrong}))
    return 1 if notebook.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
