"""One run of the burette: doses, watches the pins and decides by its own rule when the end is reached.

The rule knows nothing of the truth. It doses fast, slows down for good as soon as the pins begin to feel
the drops, and calls it the end when the current has stayed above a threshold for a hold time.

Not simulated: a fouled pin beyond its higher floor, the backlash and the steps of the piston.
"""

from dataclasses import dataclass
from enum import Enum
from random import Random
from typing import Final

from simulators.iodine import Flask

TICK_S: Final = 0.1  # [s], of the model
SETTLE_S: Final = 2.0  # [s], of stirring before the first dose
PIN_LAG_S: Final = 0.5  # [s], first-order lag of pins and amplifier
FLOOR_NA: Final = 3.0  # [nA], that the pins pass without any iodine
NOISE_NA: Final = 0.8  # [nA], standard deviation at no current
STANDING_SHARE: Final = 0.02  # [1], of the stirring that goes on by itself when the stirrer stands
NOISE_SHARE: Final = 0.01  # [1], standard deviation of the noise that grows with the current


class End(Enum):
    """How a run ended."""

    REACHED = "end point reached"
    RAN_OUT = "burette ran out"
    ABORTED = "aborted"
    NO_VALUE = "pins conducted before the first dose"


@dataclass(frozen=True, slots=True)
class Pace:
    """How the burette doses while the pins still feel less than a current."""

    below_na: float
    step_ml: float
    wait_s: float


PACES: Final = (Pace(34.0, 0.02, 0.5), Pace(20.0, 0.01, 0.5), Pace(float("inf"), 0.01, 1.8))
FIRST_DOSES_ML: Final = 0.04  # [mL], dosed at the slowest pace, for a wine with next to nothing in it


@dataclass(frozen=True, slots=True)
class Panel:
    """What is set at the instrument's panel; the instrument believes it."""

    titrant_mol_l: float = 0.0100
    aliquot_ml: float = 50.0
    blank_ml: float = 0.0
    capacity_ml: float = 10.0
    threshold_na: float = 100.0
    hold_s: float = 8.0


@dataclass(slots=True)
class Mishaps:
    """What is wrong with the set-up just now."""

    bubble_ml: float = 0.0
    """Air still to be pushed out; the display counts it as dosed. [mL]"""
    is_stirred: bool = True


class Titration:
    """A run in progress, in ticks of `TICK_S`.

    Parameters
    ----------
    flask : Flask
        What is titrated.
    panel : Panel
        The instrument's settings.
    random : Random
        Source of the noise; None for a run without any.
    floor_na : float
        Current of the pins without iodine; a high one stands for dirty pins. [nA]
    mishaps : Mishaps
        Of the set-up; they may change while the run goes on.
    """

    def __init__(
        self,
        flask: Flask,
        panel: Panel,
        random: Random | None,
        floor_na: float = FLOOR_NA,
        mishaps: Mishaps | None = None,
    ) -> None:
        self._flask = flask
        self._mishaps = mishaps or Mishaps()
        self._panel = panel
        self._random = random
        self._floor_na = floor_na
        self._pace = 0
        self._next_dose_tick = round(SETTLE_S / TICK_S)
        self._above_since: int | None = None
        self._lagged_na = floor_na
        self.ticks = 0
        self.volume_ml = 0.0
        self.current_na = floor_na
        self.end: End | None = None

    @property
    def time_s(self) -> float:
        """Time since the start of the run. [s]"""
        return self.ticks * TICK_S

    def tick(self) -> None:
        """Let one tick pass."""
        self.ticks += 1
        self._flask.stir(TICK_S if self._mishaps.is_stirred else TICK_S * STANDING_SHARE)
        self._look()
        if self.current_na >= self._panel.threshold_na:
            self._hold()
        else:
            self._above_since = None
            self._dose()

    def abort(self) -> None:
        """Stop the run."""
        self.end = End.ABORTED

    def so2_mg_l(self) -> float:
        """Return what the instrument makes of its volume by its panel; may be below zero. [mg/L]"""
        net_ml = round(self.volume_ml, 2) - self._panel.blank_ml
        return net_ml * self._panel.titrant_mol_l * 64.06 * 1000.0 / self._panel.aliquot_ml

    def _look(self) -> None:
        true_na = self._floor_na + self._flask.pin_current_na()
        self._lagged_na += (true_na - self._lagged_na) * TICK_S / (PIN_LAG_S + TICK_S)
        noise_na = self._random.gauss(0.0, NOISE_NA + NOISE_SHARE * self._lagged_na) if self._random else 0.0
        self.current_na = self._lagged_na + noise_na

    def _hold(self) -> None:
        if self.volume_ml == 0.0:
            self.end = End.NO_VALUE if self.time_s >= SETTLE_S else None
        elif self._above_since is None:
            self._above_since = self.ticks
        elif (self.ticks - self._above_since) * TICK_S >= self._panel.hold_s:
            self.end = End.REACHED

    def _dose(self) -> None:
        while self.current_na >= PACES[self._pace].below_na:
            self._pace += 1
        if self.ticks < self._next_dose_tick:
            return
        pace = PACES[self._pace if self.volume_ml >= FIRST_DOSES_ML else -1]
        if self.volume_ml + pace.step_ml > self._panel.capacity_ml + 1e-9:
            self.end = End.RAN_OUT
            return
        air_ml = min(pace.step_ml, self._mishaps.bubble_ml)
        self._mishaps.bubble_ml -= air_ml
        self._flask.dose(pace.step_ml - air_ml)
        self.volume_ml += pace.step_ml
        self._next_dose_tick = self.ticks + round(pace.wait_s / TICK_S)
