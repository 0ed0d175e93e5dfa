"""JSON that is the same text for the same content, so that a digest over it means something."""

import json
from typing import Any


def to_text(content: Any) -> str:
    """Return JSON with sorted keys and without blanks; raise `ValueError` for infinity and not-a-number."""
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def from_text(text: str) -> Any:
    """Return the content of what `to_text` wrote."""
    return json.loads(text)
