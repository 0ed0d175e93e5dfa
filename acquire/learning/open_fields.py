"""Fields of numbers of which something is not known: what is asked, and what stands in meanwhile."""

from collections.abc import Sequence
from typing import Any, Final

from acquire.learning.guess import Guess
from acquire.learning.report import Claim, Question, succession
from acquire.learning.texts import Study
from acquire.learning.vocabulary import Vocabulary
from evaluate.units import UnitError, fits, quantities

MOST_SEEN: Final = 3  # texts that a question shows


def ask_units(found: Study, unknown: Sequence[str], words: Vocabulary) -> None:
    """Ask for units that nobody knows beside some that are known; until then their messages are refused."""
    for text in unknown[:MOST_SEEN]:
        asks = f"which unit does {text!r} in {found.field.key} mean?"
        words.questions.append(Question(f"unit {text}", asks, (text,), "messages with it are refused"))


def without_unit(found: Study, unknown: Sequence[str]) -> Guess:
    """Return a field whose numbers come in a unit that nobody knows: it is not read, and asked for."""
    key = found.field.key
    because = f"its numbers come in {', '.join(map(repr, unknown[:MOST_SEEN]))}, which is no known unit"
    questions = [
        Question(
            f"unit {text}", f"which unit does {text!r} in {key} mean?", _seen(found), f"{key} is not read"
        )
        for text in unknown[:MOST_SEEN]
    ]
    return Guess({"kind": "ignore"}, 0.6, [Claim(key, "a number, not read yet", 0.5, because)], questions)


def without_quantity(
    found: Study, label: str, written: Sequence[str], silent: str | None, marks: dict[str, Any]
) -> Guess:
    """Return a field of numbers of which nothing says what they are.

    Parameters
    ----------
    found : Study
        The field.
    label : str
        What stands before it or over it.
    written : sequence of str
        Codes of the units that it writes.
    silent : str, optional
        Code of the unit that is said elsewhere.
    marks : dict
        Its stability marks, as a driver file has them.
    """
    key = found.field.key
    units = list(written) or ([silent] if silent else [])
    fitting = tuple(one.code for one in quantities() if all_fit([one.code], units)) if units else ()
    named = f" named {label!r}" if label and label != key else ""
    in_units = f" in {' or '.join(units)}" if units else ""
    asks = f"which quantity is the number{named}{in_units}? (or ignore)"
    question = Question(key, asks, _seen(found), "it is not read", fitting)
    stand_in: dict[str, Any] | None = None
    if not units:
        stand_in = {"kind": "value", "quantity": "potential", "unit": "mV", **marks}
    elif fitting:
        said = {"units": list(written)} if written else {"unit": silent}
        stand_in = {"kind": "value", "quantity": fitting[0], **said, **marks}
    count = len(found.parts)
    because = f"{count} texts are numbers; nothing says of what"
    claim = Claim(key, "a number, not read yet", succession(count, count), because)
    is_told = bool(units) or any(not parts.number.isdigit() for parts in found.parts)
    return Guess({"kind": "ignore"}, 0.95 if is_told else 0.5, [claim], [question], stand_in)


def all_fit(codes: Sequence[str], units: Sequence[str]) -> bool:
    """Tell whether every quantity may be given in every unit."""
    try:
        return all(fits(code, one) for code in codes for one in units)
    except UnitError:
        return False


def _seen(found: Study) -> tuple[str, ...]:
    return tuple(dict.fromkeys(found.field.said))[:MOST_SEEN]
