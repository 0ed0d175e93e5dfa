"""What the laboratory measures by and with: methods, reagents, instruments, limits, and people."""

from dataclasses import fields
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from bench.kinds.base import Body, Code, Line, Moment, Names, NotNegative, Number, Positive, Share, Text
from evaluate.errors import EvaluateError, UnknownNameError
from evaluate.formulas import formula
from evaluate.live_curve import LiveLimits
from evaluate.so2_constants import constant_set
from evaluate.units import quantity

Decimals = Annotated[int, Field(ge=0, le=6)]


def _of_the_kind_of(usual: object, value: float) -> float:
    """Return a number as a switch or a count where the usual one is such."""
    if isinstance(usual, bool):
        return bool(value)
    return int(value) if isinstance(usual, int) else value


class Method(Body):
    """A stored way of measuring one quantity."""

    name: Line
    quantity: Line
    """Code of the registry of quantities."""
    formula: Line = "as_read"
    """Id of a formula; ``as_read`` takes the instrument's own number."""
    reading_quantity: Line = ""
    """Quantity of the reading that the formula takes as its titre or value; the method's own if empty."""
    instruments: tuple[Line, ...] = ()
    """Instruments that may measure by it; any if empty."""
    modes: tuple[Line, ...] = ()
    """Modes in which an instrument says that it measures by it; none are compared if empty."""
    aliquot_ml: Positive | None = None
    """[mL]"""
    dilution: Annotated[float, Field(ge=1, allow_inf_nan=False)] = 1.0
    """Final volume over volume of sample."""
    titrant: Annotated[Code | None, Names("reagent")] = None
    reagents: Annotated[tuple[Code, ...], Names("reagent")] = ()
    end_point: Line = ""
    """Where the titration ends, in words, such as ``pH 8.2``."""
    blank: Literal["none", "ours", "instrument"] = "none"
    """Who subtracts the blank: nobody, we, or the instrument before it tells the volume."""
    inputs: dict[Line, Number] = Field(default={})
    """Further inputs of the formula that are fixed by the method. [units of the formula]"""
    constant_set: Line = ""
    """Named set of constants, for molecular SO2: which one moves it by a third."""
    constants_at_c: Annotated[float, Field(ge=-10, le=60)] = 20.0
    """Temperature that the answer is for, in a set that knows temperature. [°C]"""
    input_age_h: Positive = 168.0
    """How far apart the results may be that a derived one stands on. Common practice, no source. [h]"""
    signal: Line = ""
    """Quantity of the signal of its curve, such as ``ph``; the first that comes if empty."""
    curve_end: Literal["none", "value", "inflection"] = "none"
    """How its end point is found on a stored curve; ``none`` takes the instrument's own."""
    curve_end_value: Number | None = None
    """Where it lies. [unit of the signal]"""
    live_limits: dict[Line, Number] = Field(default={})
    """What a running titration must keep to, by the names of `evaluate.live_curve.LiveLimits`."""
    duplicate_every: Annotated[int, Field(ge=0, le=1000)] = 0
    """Every how many samples a duplicate is asked; 0 for never."""
    repeatability_sd: NotNegative | None = None
    """Standard deviation of repeatability. [unit of the quantity]"""
    relative_uncertainty: NotNegative | None = None
    """Relative standard uncertainty where no budget is given. [1]"""
    uncertainty_budget: dict[Line, NotNegative] = Field(default={})
    """Standard uncertainty of inputs of the formula, by their names. [unit of the input]"""
    needs_calibration: bool = False
    needs_verification: bool = False
    checks: Annotated[tuple[Code, ...], Names("reagent")] = ()
    """Control materials that must be in control for a result to be good."""
    check_every_h: Positive | None = None
    """How long a check covers. [h]"""
    temperature_low_c: Number | None = None
    """[°C]"""
    temperature_high_c: Number | None = None
    """[°C]"""
    plausible_low: Number | None = None
    """[unit of the quantity]"""
    plausible_high: Number | None = None
    """[unit of the quantity]"""
    reporting_limit: NotNegative | None = None
    """Below it a result is told as less than it. [unit of the quantity]"""
    decimals: Decimals = 2
    """To which a value is rounded where people read it."""
    release: Literal["itself", "second_person"] = "itself"
    """Whether a good result releases itself or waits for a person who did not measure it."""
    cost: NotNegative | None = None
    """Of one analysis, in the laboratory's money."""
    note: Text = ""

    def limits_while_running(self) -> LiveLimits:
        """Return what a running titration must keep to; raise `EvaluateError` if that cannot be."""
        usual = LiveLimits()
        known: dict[str, object] = {one.name: getattr(usual, one.name) for one in fields(LiveLimits)}
        unknown = sorted(set(self.live_limits) - set(known))
        if unknown:
            raise UnknownNameError(
                f"no limit of a running titration is called {unknown[0]!r}; known: {', '.join(known)}",
                name="live_limits",
                value=unknown[0],
            )
        given: dict[str, Any] = {
            name: _of_the_kind_of(known[name], value) for name, value in self.live_limits.items()
        }
        return LiveLimits(**given)

    @model_validator(mode="after")
    def _has_an_end(self) -> Self:
        if self.curve_end == "value" and self.curve_end_value is None:
            raise ValueError("an end point at a value wants the value: give curve_end_value")
        return self

    @model_validator(mode="after")
    def _is_known_to_the_registry(self) -> Self:
        try:
            quantity(self.quantity)
            formula(self.formula)
            if self.reading_quantity:
                quantity(self.reading_quantity)
            if self.constant_set or self.formula == "molecular_so2":
                constant_set(self.constant_set)
            self.limits_while_running()
        except EvaluateError as error:
            raise ValueError(str(error)) from error
        return self


class Reagent(Body):
    """A bottle of something: titrant, buffer, standard, control material, substance or other reagent."""

    name: Line
    reagent_kind: Literal["titrant", "buffer", "standard", "control_material", "substance", "reagent"]
    lot_number: Line = ""
    """Of its maker."""
    opened_at: Moment | None = None
    label_expiry: Moment | None = None
    days_after_opening: Positive | None = None
    """How long it lasts once opened. [d]"""
    nominal_mol_per_l: Positive | None = None
    """Of a titrant. [mol/L]"""
    quantity: Line = ""
    """What a standard or control material is known for."""
    assigned_value: Number | None = None
    """[unit of the quantity]"""
    assigned_uncertainty: NotNegative | None = None
    """Standard uncertainty of the assigned value. [unit of the quantity]"""
    buffer_edition: Line = ""
    """Which table gives the pH of a buffer by temperature."""
    strength: Share | None = None
    """Available share of a substance, such as 0.576 of SO2 in potassium metabisulfite. [1]"""
    standardise_every_days: Positive | None = None
    """[d]"""
    hazard: Text = ""
    stock: Line = ""
    note: Text = ""


class Settling(Body):
    """When the value of a streaming instrument has come to rest; usual for pH: 0.01 in 15 to 30 s."""

    span: NotNegative
    """Greatest less least value within the window, at most. [unit of the quantity]"""
    window_s: Positive
    """[s]"""
    longest_wait_s: Positive = 300.0
    """After which it is told as timed out. [s]"""
    least_readings: Annotated[int, Field(ge=2, le=10_000)] = 3
    """Fewest readings in the window. [1]"""
    longest_gap_s: Positive = 60.0
    """A longer silence begins the window anew. [s]"""

    @model_validator(mode="after")
    def _waits_at_least_the_window(self) -> Self:
        if self.longest_wait_s < self.window_s:
            raise ValueError("longest_wait_s is shorter than window_s; nothing could settle")
        return self


class Instrument(Body):
    """A piece of equipment, with what was done to it."""

    name: Line
    serial_number: Line = ""
    quantities: tuple[Line, ...] = ()
    place: Line = ""
    outside_laboratory: Line = ""
    """If it stands for the files of another laboratory, its name: its readings are theirs, never ours."""
    service_due: Moment | None = None
    parts: dict[Line, Line] = Field(default={})
    """Parts that are changed, such as ``electrode``, with the one in use."""
    settling: dict[Line, Settling] = Field(default={})
    """By quantity, when its value has come to rest: only then it makes a result; else each one does."""
    last_service: Text = ""
    """What was done when this version began."""


class LimitSet(Body):
    """Centre and spread of a control chart; a new one never judges an old point."""

    material: Annotated[Code, Names("reagent")]
    quantity: Line
    centre: Number
    """[unit of the quantity]"""
    sd: Positive
    """[unit of the quantity]"""
    centre_origin: Literal["assigned", "mean"]
    sd_origin: Literal["estimated", "target", "given"]
    values_used: Annotated[int, Field(ge=0)] = 0
    rule_set: Line = "nordtest"
    state: Literal["preliminary", "established", "reviewed"] = "preliminary"


class Acceptance(Body):
    """What a calibration, standardisation, blank or pump factor must meet."""

    applies_to: Literal[
        "calibration", "verification", "standardisation", "blank", "pump_factor", "mass_check"
    ]
    instrument: Line = ""
    """Any if empty."""
    settings: dict[Line, Number] = Field(default={})
    """Limits by name; see the documentation of the kind."""
    valid_h: Positive | None = None
    """How long one that passed is valid. [h]"""


class Person(Body):
    """Somebody who acts; the code is the person's initials."""

    name: Line = ""
    roles: tuple[Literal["operator", "reviewer", "manager"], ...] = ("operator",)
