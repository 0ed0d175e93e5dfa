"""The rules that can refuse an act, in plain words; `docs/rules.md` shows them to people."""

from typing import Final

from bench.rules_of_wine import RULES_OF_WINE

RULES: Final[dict[str, str]] = {
    **RULES_OF_WINE,
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
    "pin.malformed": "A pin is 4 to 8 digits that are not all the same.",
    "pin.unset": "The person has no pin yet.",
    "pin.locked": "The pin is locked for some minutes after five wrong tries in a row.",
    "tray.empty_request": "Nothing was named to put on the tray.",
    "tray.item_malformed": "An item of a tray does not name what its kind names.",
    "tray.item_unknown": "The item is not on the tray.",
    "tray.changed_meanwhile": "Somebody else changed the item since the tray was read.",
    "tie.no_reading": "No reading was named.",
    "tie.nothing_to_swap": "Only readings that are tied can be swapped.",
    "reading.unknown": "A reading is named that is not in the store.",
    "control.unknown": "A control record is named that is not in the store.",
    "control.future": "Nothing was measured in the future.",
    "control.cannot_be_judged": "The figures of a record make no calibration, factor or check.",
    "hold.unknown": "A hold is named that is not in the store.",
    "hold.settled": "The hold was settled already.",
    "hold.way_unknown": "A hold is settled by accepting, rejecting or repeating what lies in it.",
    "hold.not_narrower": "A hold is confined, never widened or moved.",
    "result.unknown": "A result is named that is not in the store.",
    "release.do_not_use": "What is not to be used is not given to readers.",
    "release.second_person": "The method wants a person who did not measure it to release its results.",
    "hand.not_twice": "A value that is typed is typed twice, and both agree.",
    "amendment.unknown": "An amendment is named that is not in the store.",
    "amendment.window": "The window of a supposition ends before it begins.",
    "amendment.nothing_supposed": "Suppose one titrant with its factors, or one method with its aliquot.",
    "amendment.cannot_be_computed": "A result cannot be computed under the supposition.",
    "amendment.changes_nothing": "The supposition changes no result.",
    "amendment.incomplete": "An amendment is put in force once all its values are staged.",
    "amendment.not_in_force": "Only an amendment that is in force can be taken back.",
    "key.unknown": "There is no key with this number.",
    "key.name_taken": "Two good keys cannot have the same name.",
    "key.revoked": "The key was revoked before.",
    "alert.unknown": "An alert is named whose cause does not stand now.",
    "alert.acknowledged": "Somebody has acknowledged the alert already.",
    "card.point_unknown": "A card is answered with a point that it does not have.",
    "card.incomplete": "A card is signed with every point true, done, or given a reason.",
    "card.signed": "The card of that day is signed already.",
    "request.key_used": "An idempotency key belongs to one request.",
    "act.reason_wanted": "The act changes what people rely on, so it needs a reason in words.",
}
"""Every code that `RefusedError.rule` can hold, with what it means."""
