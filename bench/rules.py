"""The rules that can refuse an act, in plain words; `docs/rules.md` shows them to people."""

from typing import Final

RULES: Final[dict[str, str]] = {
    "record.unknown": "A record is named that is not in the store.",
    "record.code_taken": "Another record of this kind has this code already.",
    "record.code_malformed": (
        "A code is 1 to 40 letters, digits, dots, dashes and underscores, and begins with a letter or digit."
    ),
    "record.body_malformed": "The fields of a record do not fit its kind.",
    "record.changed_meanwhile": "Somebody else changed the record since it was read.",
    "record.retired": "The record is retired and takes part in nothing new.",
    "record.future": "A record cannot hold from a moment in the future by more than a year.",
    "record.names_itself": "A record cannot be a part of itself.",
}
"""Every code that `RefusedError.rule` can hold, with what it means."""
