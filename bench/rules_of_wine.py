"""The rules about lots, movements, additions, runs and other laboratories, in plain words."""

from typing import Final

RULES_OF_WINE: Final[dict[str, str]] = {
    "act.future": "Nothing was done in the future.",
    "lot.no_limit": "No limit of total SO2 is known for the lot: say its market, class, colour and sugar.",
    "lot.no_band": "A forecast wants a level, or a band of the lot.",
    "lot.not_measured": "A lot has no free or total SO2 that may be used.",
    "lot.no_constants": "The set of constants is not known, or wants what the lot does not say.",
    "lot.cannot_be_predicted": "What a dose would do cannot be told from what was measured.",
    "movement.no_parts": "A movement says what was moved.",
    "movement.volume": "A volume that was moved is more than zero.",
    "movement.into_itself": "A lot is not blended into itself, and a vessel not emptied into itself.",
    "movement.not_by_volume": "The quantity of a blend does not follow from its parts by volume: measure it.",
    "movement.unknown": "A movement is named that is not in the store.",
}
"""A part of `bench.rules.RULES`."""
