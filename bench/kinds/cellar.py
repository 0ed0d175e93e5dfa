"""Wine and where it is: lots, vessels and samples."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from bench.kinds.base import Body, Code, Line, Moment, Names, NotNegative, Positive, Text


class Lot(Body):
    """One wine, from the must to the bottle."""

    name: Line
    vintage: Annotated[int, Field(ge=1900, le=2200)] | None = None
    wine_class: Line = ""
    """As the table of limits names it, such as ``red`` or ``white``; empty until it is known."""
    colour: Literal["white", "rose", "red", ""] = ""
    jurisdiction: Line = ""
    """The market whose limits are asked, as the table of limits names it."""
    sugar_g_l: NotNegative | None = None
    """[g/L glucose and fructose]"""
    alcohol_percent_vol: Annotated[float, Field(ge=0, le=25)] | None = None
    """[% vol]"""
    molecular_low_mg_l: NotNegative | None = None
    """Lower end of the band wanted for molecular SO2. [mg/L]"""
    molecular_high_mg_l: NotNegative | None = None
    """[mg/L]"""
    is_dry: bool | None = None
    """Alcoholic fermentation is over."""
    malolactic: Literal["wanted", "under_way", "done", "prevented", ""] = ""
    vessels: Annotated[tuple[Code, ...], Names("vessel")] = ()
    """Where the wine is now."""
    volume_l: Positive | None = None
    """[L]"""
    note: Text = ""

    @model_validator(mode="after")
    def _band_is_a_band(self) -> Self:
        low, high = self.molecular_low_mg_l, self.molecular_high_mg_l
        if low is not None and high is not None and low > high:
            raise ValueError(
                f"the band for molecular SO2 runs from {low} to {high} mg/L: give the lower first"
            )
        return self


class Vessel(Body):
    """A container of wine."""

    name: Line = ""
    vessel_kind: Literal["tank", "barrel", "cask", "fermenter", "keg", "bottle", "other"]
    capacity_l: Positive
    """[L]"""
    group: Line = ""
    """Barrels that are filled, sampled and judged together carry the same word."""
    note: Text = ""


class Sample(Body):
    """Wine that was drawn to be measured."""

    lot: Annotated[Code | None, Names("lot")] = None
    vessel: Annotated[Code | None, Names("vessel")] = None
    parts: Annotated[tuple[Code, ...], Names("vessel")] = ()
    """The vessels of a composite."""
    composition: Literal["single", "composite"] = "single"
    drawn_at: Moment | None = None
    drawn_by: Line = ""
    place: Line = ""
    """Where in the vessel it was drawn."""
    temperature_c: Annotated[float, Field(ge=-10, le=60)] | None = None
    """When it was drawn. [°C]"""
    is_degassed: bool | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _composite_has_parts(self) -> Self:
        if self.composition == "composite" and len(self.parts) < 2:
            raise ValueError("a composite names the vessels it was drawn from: give at least two parts")
        if self.composition == "single" and self.parts:
            raise ValueError("a single sample comes from one vessel: give it as vessel, or say composite")
        if len(set(self.parts)) != len(self.parts):
            raise ValueError("a composite names a vessel twice")
        return self


class Alias(Body):
    """What somebody else calls a lot or a sample."""

    source: Line
    """Who says so, such as the name of an outside laboratory."""
    name: Line
    """Their word, verbatim."""
    lot: Annotated[Code | None, Names("lot")] = None
    sample: Annotated[Code | None, Names("sample")] = None

    @model_validator(mode="after")
    def _means_one_thing(self) -> Self:
        if (self.lot is None) == (self.sample is None):
            raise ValueError("an alias means one lot or one sample: give one of them")
        return self
