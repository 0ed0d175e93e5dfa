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
    "addition.unknown": "An addition is named that is not in the store.",
    "addition.what_for": "An addition is asked for by the free SO2 that is wanted, or by its dose.",
    "addition.no_strength": "What is added is a substance whose share of SO2 is known.",
    "addition.volume": "The volume of the wine is known and more than zero.",
    "addition.cannot_be_planned": "An addition cannot be worked out from what was measured.",
    "addition.over_limit": "An addition never brings the total above its limit.",
    "addition.repeated": "The same addition to a lot within a day is confirmed with a reason.",
    "addition.settled": "What is done or cancelled is done or cancelled.",
    "addition.no_mass": "The mass of an addition is above zero and came to rest after it was planned.",
    "addition.reading_taken": "One weighing stands for one addition.",
    "addition.not_weighed": "An addition is weighed before it goes in.",
    "addition.settles": "A retest is not due before it may begin.",
    "run.unknown": "A run is named that is not in the store.",
    "run.note_empty": "A note says something.",
    "run.rejected_already": "The run was rejected already.",
    "run.not_rejected": "Only a run that is rejected can be taken back.",
    "run.over": "Only a run that goes on can be stopped.",
    "run.goes_on": "The end point of a run is looked for once the run has ended.",
    "run.no_curve_end": "The method does not say how its end point is found on a curve.",
    "run.no_end_point": "The curve of a run shows no such end point.",
    "run.result_made": "A run gives one result by a method.",
}
"""A part of `bench.rules.RULES`."""
