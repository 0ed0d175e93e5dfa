"""The card of an addition: what a person takes to the balance and to the vessel."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection

from bench.canonical_json import from_text
from bench.kinds.cellar import Lot, Vessel
from bench.kinds.laboratory import Reagent
from bench.reasons import REASONS
from bench.records import by_id
from storage.queries.cellar import Addition

GASES: Final = (
    "Sulfites and their solutions give off sulfur dioxide, which burns eyes and lungs; it can seriously harm"
    " people with asthma. Wear eye protection and gloves, work where the air moves, keep your face away from"
    " vessel and solution, and never mix the salt with acid."
)
LOOK: Final = "Look at the names on vessel and bottle and at the mass once more before it goes in."
DECIDES: Final = (
    "The program doses nothing: a person decides. Check this card against the regulations of your own place"
    " and market and your laboratory's written practice, and ask a qualified person, where the law asks it"
    " one with a licence."
)
CAUTIONS: Final = (GASES, LOOK, DECIDES)


MEASURED: Final = (
    ("free", "Free SO2 measured", " mg/L"),
    ("total", "Total SO2 measured", " mg/L"),
    ("ph", "pH measured", ""),
)
"""What a plan stands on: its name there, the words for it, and its unit."""


class Row(NamedTuple):
    """A name with what stands beside it."""

    name: str
    text: str


class Card(NamedTuple):
    """What is drawn."""

    title: str
    big: str
    """The one figure that is read from two metres."""
    rows: tuple[Row, ...]
    doubts: tuple[str, ...]
    cautions: tuple[str, ...]
    to_fill_in: tuple[str, ...]


def card_of(connection: Connection, of: Addition) -> Card:
    """Return the card of an addition as it stands now."""
    plan = from_text(of.plan)
    lot = by_id(connection, Lot, of.lot_id)
    vessel = None if of.vessel_id is None else by_id(connection, Vessel, of.vessel_id)
    substance = by_id(connection, Reagent, of.substance_id)
    hazard = (substance.body.hazard,) if substance.body.hazard else ()
    rows = [
        Row("Lot", f"{lot.code} {lot.body.name}"),
        Row("Vessel", "as the lot" if vessel is None else f"{vessel.code} {vessel.body.name}".strip()),
        Row("Volume", f"{plan['volume_l']:g} L, as it is, without the ullage{_volume_by(plan)}"),
        Row("Substance", _substance(substance.code, substance.body, plan["so2_share"])),
        *_dose(plan),
        *_expectation(plan),
        *_steps(of),
    ]
    doubts = tuple(f"{REASONS[one['code']].words} {one['evidence']}" for one in plan["flags"])
    remark = (plan["remark"],) if plan["remark"] else ()
    return Card(
        f"Addition {of.number}: {of.state}",
        f"{plan['salt_g']:g} g",
        tuple(rows),
        (*doubts, *remark),
        (*hazard, *CAUTIONS),
        ("weighed [g]", "lot number on the bottle", "added at (time)", "mixed", "initials"),
    )


def _volume_by(plan: dict[str, Any]) -> str:
    by = plan.get("volume_by")  # plans of before did not say
    return f"; {by}" if by else ""


def _substance(code: str, body: Reagent, share: float) -> str:
    of_maker = f", lot {body.lot_number}" if body.lot_number else ""
    return f"{code} {body.name}{of_maker}; {share:.3f} of it is SO2"


def _dose(plan: dict[str, Any]) -> Iterator[Row]:
    asked = plan["asked"]
    wanted = (
        f"dose of {asked['dose_mg_l']:g} mg/L"
        if asked["dose_mg_l"] is not None
        else f"free SO2 of {asked['target_free_mg_l']:g} mg/L"
    )
    yield Row("Asked", wanted)
    yield Row("Adds", f"{plan['added_mg_l']:.1f} mg/L of SO2 (the mass goes to {plan['step_g']:g} g)")
    if plan["water_ml"]:
        yield Row("Dissolved in", f"{plan['water_ml']:g} mL of water; it counts in the tally of the lot")
    for name, words, unit in MEASURED:
        if (one := plan[name]) is not None:
            yield Row(
                words,
                f"{one['value']:.4g}{unit} on {_day(one['at_us'])},"
                f" result {one['result']}, {one['standing']}",
            )


def _expectation(plan: dict[str, Any]) -> Iterator[Row]:
    share = plan["binding"]
    yield Row(
        "Expected free SO2",
        f"{plan['free_mg_l']:.0f} mg/L once settled, {plan['free_low_mg_l']:.0f} to"
        f" {plan['free_high_mg_l']:.0f} possible; {share['share']:.2f} of it binds ({share['source']})",
    )
    if (found := plan["molecular"]) is not None:
        yield Row(
            "Expected molecular SO2",
            f"{found['mg_l']:.2f} mg/L by the constants {found['constants']}, now {found['now_mg_l']:.2f}",
        )
    legal = plan["legal"]
    yield Row("Expected total SO2", f"{legal['statement']}; {legal['by']}")


def _steps(of: Addition) -> Iterator[Row]:
    for step in of.steps:
        if step.step == "weighed" and step.mass_g is not None:
            details = from_text(step.details)
            how = "typed" if details["hand"] else f"reading {step.reading_id}"
            told = ", MORE THAN 2 % OFF THE PLAN" if details["off_plan"] else ""
            yield Row("Weighed", f"{step.mass_g:g} g, {how}, by {step.actor}{told}")
        elif step.step == "done":
            details = from_text(step.details)
            yield Row("Done", f"{_moment(step.at_us)} by {step.actor}")
            yield Row(
                "Look again", f"not before {_day(details['not_before_us'])}, by {_day(details['by_us'])}"
            )
        elif step.step == "cancelled":
            yield Row("Cancelled", f"by {step.actor}: {step.reason}")


def _at(at_us: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)


def _day(at_us: int) -> str:
    return f"{_at(at_us):%Y-%m-%d}"


def _moment(at_us: int) -> str:
    return f"{_at(at_us):%Y-%m-%d %H:%M} UTC"


def card_text(card: Card, width: int = 78) -> str:
    """Return a card as plain text for any printer."""
    from textwrap import wrap

    lines = [card.title.upper(), "", f"   WEIGH  {card.big}", ""]
    for row in card.rows:
        first, *rest = wrap(row.text, width - 24) or [""]
        lines += [f"{row.name + ':':<24}{first}", *(" " * 24 + line for line in rest)]
    for doubt in card.doubts:
        lines += ["", *wrap(f"DOUBT: {doubt}", width)]
    for caution in card.cautions:
        lines += ["", *wrap(f"CAUTION: {caution}", width)]
    lines += ["", *(f"{name + ':':<28}{'_' * 30}" for name in card.to_fill_in)]
    return "\n".join(lines) + "\n"
