"""Short words in cells that come from what is kept as JSON."""

import json
from typing import Any


def reason_codes(reasons: str | None) -> str:
    """Return the codes of a stored standing's reasons, or a judged record's reasons in words."""
    if reasons is None or reasons == "[]":
        return ""  # nearly all have none
    found: list[Any] = json.loads(reasons)
    return "; ".join(str(one["code"]) if isinstance(one, dict) else str(one) for one in found)


def note_of(outcome: str, reasons: str | None) -> str:
    """Return what to know of a value: why there is none, and the codes of what is doubtful."""
    return "; ".join(word for word in ("" if outcome == "value" else outcome, reason_codes(reasons)) if word)
