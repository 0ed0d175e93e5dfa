"""A field of numbers: which quantity in which unit, with which marks behind it, as far as it shows."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from acquire.learning.answers import FieldAnswer
from acquire.learning.guess import Guess
from acquire.learning.open_fields import all_fit, ask_units, without_quantity, without_unit
from acquire.learning.report import Claim, Question, succession
from acquire.learning.texts import Study, unit_code
from acquire.learning.vocabulary import Vocabulary
from acquire.learning.words import DRIFTING, QUANTITY_BY_DIMENSION, STABLE, quantity_of_label
from evaluate.units import fits, quantity, unit, units

HEAVY_KG_PER_M3: Final = 200.0  # a density above is no g/mL [its unit]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What stands around a field of numbers."""

    label: str = ""
    """What names it."""
    unit_texts: Sequence[str] | None = None
    """Of a field of its own behind it, which says the unit; None if there is none."""
    unit_hint: str = ""
    """A unit that stands over it."""
    modes: Mapping[str, str] = field(default_factory=dict)
    """Quantities by the texts of a field that says which one it is."""


@dataclass(slots=True)
class _Behind:
    """What stands behind the numbers of a field."""

    units: Counter[str] = field(default_factory=Counter)
    stable: set[str] = field(default_factory=set)
    drifting: set[str] = field(default_factory=set)


def number_guess(found: Study, around: Surroundings, words: Vocabulary) -> Guess:
    """Return what a field of numbers is."""
    key = found.field.key
    answer = words.answers.of_field(key)
    behind = _behind(found, words)
    texts = around.unit_texts if around.unit_texts is not None else list(behind.units)
    codes = _codes(texts, answer, words)
    unknown = [text for text, code in codes.items() if code is None]
    known = {text: code for text, code in codes.items() if code is not None}
    if around.unit_hint and not codes and unit_code(around.unit_hint, words.answers) is None:
        unknown = [around.unit_hint]
    if unknown and not known:
        return without_unit(found, unknown)
    ask_units(found, unknown, words)
    written = list(dict.fromkeys(known.values()))
    silent = None if written else _silent_unit(around, words)
    meant = _meaning(answer, around, written or ([silent] if silent else []))
    marks = _marks_table(behind)
    _take_tokens(found, behind, words)
    for text, code in known.items():
        words.take_unit(text, code)
    if meant is None:
        return without_quantity(found, around.label, written, silent, marks)
    table = {"kind": "value", **meant.table, **_unit_table(meant, written, silent, answer, found), **marks}
    return Guess(table, 1.0, _claims(found, meant, table), _unit_question(key, meant, table, answer, silent))


def _codes(texts: Sequence[str], answer: FieldAnswer | None, words: Vocabulary) -> dict[str, str | None]:
    """Return the codes of units as they are written; None for those that nobody knows."""
    codes = {text: words.code_of_unit(text) for text in dict.fromkeys(texts) if text}
    if answer is not None and answer.unit and answer.unit not in codes.values():
        return dict.fromkeys(codes, answer.unit)  # whatever it writes, somebody knows which unit it means
    return codes


def _silent_unit(around: Surroundings, words: Vocabulary) -> str | None:
    """Return the unit that stands over a field, or is its name; None if none is said."""
    name = around.label if len(around.label) > 1 and around.label[0].isalpha() else ""
    hint = around.unit_hint or name
    return unit_code(hint, words.answers) if hint else None


@dataclass(frozen=True, slots=True)
class _Meaning:
    quantities: tuple[str, ...]
    table: dict[str, Any]
    confidence: float
    because: str
    is_guess: bool = True


def _meaning(answer: FieldAnswer | None, around: Surroundings, units: Sequence[str]) -> _Meaning | None:
    if answer is not None and answer.quantity:
        said = {"quantity": answer.quantity}
        return _Meaning((answer.quantity,), said, 1.0, "somebody said so", is_guess=False)
    named = quantity_of_label(around.label) if around.label else None
    if named and all_fit([named], units):
        return _Meaning((named,), {"quantity": named}, 0.9, f"{around.label!r} usually means that")
    if around.modes and all_fit(list(around.modes.values()), units):
        meant = tuple(dict.fromkeys(around.modes.values()))
        because = f"another field says which: {', '.join(around.modes)}"
        return _Meaning(meant, {"quantity_by_mode": dict(around.modes)}, 0.85, because)
    by_unit = {_usual_quantity(code) for code in units}
    if len(by_unit) == 1 and (usual := by_unit.pop()) is not None:
        return _Meaning(
            (usual,), {"quantity": usual}, 0.7, f"numbers in {' or '.join(units)} usually are that"
        )
    return None


def _usual_quantity(unit_text: str) -> str | None:
    if unit_text == "g/L acetic":
        return "va"
    return QUANTITY_BY_DIMENSION.get(unit(unit_text).dimension)


def _unit_table(
    meant: _Meaning, said: list[str], hinted: str | None, answer: FieldAnswer | None, found: Study
) -> dict[str, Any]:
    if said:
        return {"units": said}
    if answer is not None and answer.unit:
        return {"unit": answer.unit}
    if hinted and all_fit(meant.quantities, [hinted]):
        return {"unit": hinted}
    return {"unit": _usual_unit(meant.quantities[0], found)}


def _usual_unit(code: str, found: Study) -> str:
    if code == "density" and _median(found) > HEAVY_KG_PER_M3:
        return "kg/m3"
    return quantity(code).unit


def _median(found: Study) -> float:
    plain = sorted(float(digits) for digits in map(_digits, found.parts) if digits)
    return plain[len(plain) // 2] if plain else 0.0


def _digits(parts: Any) -> str:
    return str(parts.number).replace(",", ".").lstrip("+-− ") if str(parts.number).count(".") < 2 else ""


def _behind(found: Study, words: Vocabulary) -> _Behind:
    behind = _Behind()
    rests = [parts.rest for parts in found.parts]
    lasts = {rest.rpartition(" ")[2] for rest in rests}
    marks = {last for last in lasts if last.casefold() in STABLE | DRIFTING}
    moving = {last for last in marks if last.casefold() in DRIFTING}
    all_units = all(unit_code(last, words.answers) for last in lasts if last)
    if (
        "" not in lasts
        and marks == lasts
        and (moving != marks or len(marks) > 1)
        and (moving or not all_units)
    ):
        behind.stable, behind.drifting = marks - moving, moving
        rests = [rest.rpartition(" ")[0].strip() for rest in rests]
    behind.units.update(rest for rest in rests if rest)
    if sum(behind.units.values()) < 0.5 * len(rests):
        behind.units.clear()
    return behind


def _marks_table(behind: _Behind) -> dict[str, Any]:
    tables = {"stable": sorted(behind.stable), "drifting": sorted(behind.drifting)}
    return {key: texts for key, texts in tables.items() if texts}


def _take_tokens(found: Study, behind: _Behind, words: Vocabulary) -> None:
    words.take_marks(parts.mark for parts in found.parts if parts.mark)
    tokens: Counter[str] = Counter()
    for text, count in found.others.items():
        tokens[_bare_token(text, behind, words)] += count
    for token, count in tokens.items():
        words.take_token(token, count, found.field.key, behind.units, found.letters)


def _bare_token(text: str, behind: _Behind, words: Vocabulary) -> str:
    """Return a token without the unit and the stability mark behind it."""
    head, _, last = text.rpartition(" ")
    if head and last in behind.stable | behind.drifting:
        text = head.rstrip()
        head, _, last = text.rpartition(" ")
    return head.rstrip() if head and unit_code(last, words.answers) else text


def _claims(found: Study, meant: _Meaning, table: dict[str, Any]) -> list[Claim]:
    key, count = found.field.key, len(found.parts)
    looked_at = count + sum(found.others.values())
    because = (
        f"{count} of {looked_at} texts begin with a number, {len(found.others)} others stand in its place"
    )
    named = " or ".join(meant.quantities)
    written = table.get("unit") or " or ".join(table.get("units", ()))
    return [
        Claim(key, "a number", succession(looked_at - _unknown(found), looked_at), because),
        Claim(key, f"{named} in {written}", meant.confidence, meant.because, is_guess=meant.is_guess),
    ]


def _unknown(found: Study) -> int:
    return sum(count for text, count in found.others.items() if text)


def _unit_question(
    key: str, meant: _Meaning, table: dict[str, Any], answer: FieldAnswer | None, hinted: str | None
) -> list[Question]:
    """Ask for a unit that is said nowhere, unless only one is usual."""
    silent = table.get("unit")
    if silent is None or hinted or meant.quantities[0] == "ph" or (answer is not None and answer.unit):
        return []
    code = meant.quantities[0]
    choices = tuple(f"{code}:{one}" for one in _units_of(code))
    if len(choices) == 1:
        return []
    return [
        Question(key, "in which unit? The instrument does not say it", (), f"it is read in {silent}", choices)
    ]


def _units_of(code: str) -> list[str]:
    return [one.code for one in units() if fits(code, one.code)]
