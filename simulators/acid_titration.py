"""One run of the acid-base burette: base goes into wine, a glass probe follows, the panel decides.

The pH of the flask comes from the balance of charges of `simulators.acids`, the base being one more cation.
The probe follows with a lag. The panel knows nothing of the truth: it doses, waits until the probe stands
nearly still, and takes the volume at its end pH between the last two points.

Not simulated: carbon dioxide from the air and from the wine, the temperature's shift of constants, phenols,
backlash and steps of the piston, drift of the probe within a run.
"""

from dataclasses import dataclass, replace
from random import Random
from typing import Final

from simulators.acids import POTASSIUM_G_PER_MOL, Wine, wine_ph

TICK_S: Final = 0.5  # [s], of the model
WATER_ML: Final = 40.0  # [mL], in the flask beside the aliquot
PROBE_S: Final = 1.5  # [s], first-order lag of a clean probe
FOULED_TIMES: Final = 8.0  # [1], by which a fouled probe is slower
FOULED_SLOPE: Final = 0.92  # [1], share of the slope that a fouled probe has left
STANDING_STIRRER_S: Final = 45.0  # [s], first-order mixing without a stirrer
NOISE_PH: Final = 0.002  # [pH], standard deviation of one look
BUBBLE_ML: Final = 1.0  # [mL], of air that is shown as dosed
STILL_PH: Final = 0.02  # [pH], between two looks, at which the panel goes on
LONGEST_WAIT_S: Final = 10.0  # [s], after a dose, however the probe drifts
TARTARIC_G_PER_EQ: Final = 75.043  # [g/equivalent], half of 150.086 g/mol, IUPAC 2021 abridged weights


@dataclass(frozen=True, slots=True)
class AcidPanel:
    """What is set at the panel; the instrument believes it."""

    end_ph: float = 8.2
    base_mol_l: float = 0.1000
    aliquot_ml: float = 10.0
    capacity_ml: float = 20.0


@dataclass(slots=True)
class Troubles:
    """What is wrong with the set-up just now."""

    bubble_ml: float = 0.0
    """Air still to be pushed out. [mL]"""
    is_stirred: bool = True
    is_clean: bool = True


class AcidRun:
    """A run in progress."""

    def __init__(
        self, wine: Wine, panel: AcidPanel, troubles: Troubles, base_mol_l: float, random: Random
    ) -> None:
        """Take the wine, what the panel believes, what is wrong, and the base's true strength. [mol/L]"""
        self._wine = wine
        self.panel = panel
        self._troubles = troubles
        self.base_mol_l = base_mol_l
        self._random = random
        self.ticks = 0
        self.shown_ml = 0.0
        self.true_ml = 0.0
        self.point = (0.0, 7.0)
        """Volume and pH of the newest point of the curve. [mL], [pH]"""
        self.end_ml: float | None = None
        """Volume at the end pH; None while there is none. [mL]"""
        self.is_over = False
        self.ran_out = False
        self._goal_ph = wine_ph(self._mixture())
        self._probe_ph = 7.0
        self._last_look = 7.0
        self._waited_s = 0.0

    @property
    def time_s(self) -> float:
        """Time since the start of the run. [s]"""
        return self.ticks * TICK_S

    def tick(self) -> bool:
        """Let one tick pass; return whether a point of the curve was taken."""
        self.ticks += 1
        self._waited_s += TICK_S
        lag_s = PROBE_S * (1.0 if self._troubles.is_clean else FOULED_TIMES)
        lag_s += 0.0 if self._troubles.is_stirred else STANDING_STIRRER_S
        self._probe_ph += (self._goal_ph - self._probe_ph) * TICK_S / (lag_s + TICK_S)
        slope = 1.0 if self._troubles.is_clean else FOULED_SLOPE
        look = 7.0 + slope * (self._probe_ph - 7.0) + self._random.gauss(0.0, NOISE_PH)
        is_still = abs(look - self._last_look) < STILL_PH and self._waited_s >= 2 * TICK_S
        self._last_look = look
        if not is_still and self._waited_s < LONGEST_WAIT_S:
            return False
        self._decide(look)
        return True

    def titratable_acidity_g_l(self) -> float | None:
        """Return what the instrument makes of its end, as tartaric acid; None without one. [g/L]"""
        if self.end_ml is None:
            return None
        return round(self.end_ml, 3) * self.panel.base_mol_l * TARTARIC_G_PER_EQ / self.panel.aliquot_ml

    def _decide(self, look: float) -> None:
        (before_ml, before_ph), self.point = self.point, (self.shown_ml, look)
        if look >= self.panel.end_ph:
            share = (self.panel.end_ph - before_ph) / (look - before_ph) if look > before_ph else 1.0
            self.end_ml = before_ml + share * (self.shown_ml - before_ml)
            self.is_over = True
            return
        step_ml = self._step_ml(look)
        if self.shown_ml + step_ml > self.panel.capacity_ml + 1e-9:
            self.is_over = self.ran_out = True
            return
        self._dose(step_ml)

    def _step_ml(self, look: float) -> float:
        """Return the next dose: small where the curve is steep. [mL]"""
        distance = self.panel.end_ph - look
        if distance > 3.0:
            return 0.5
        return 0.1 if distance > 2.0 else 0.02

    def _dose(self, step_ml: float) -> None:
        air_ml = min(step_ml, self._troubles.bubble_ml)
        self._troubles.bubble_ml -= air_ml
        self.shown_ml += step_ml
        self.true_ml += step_ml - air_ml
        self._waited_s = 0.0
        self._goal_ph = wine_ph(self._mixture())

    def _mixture(self) -> Wine:
        """Return what is in the flask as a wine: diluted, and its base counted as potassium."""
        total_ml = self.panel.aliquot_ml + WATER_ML + self.true_ml
        share = self.panel.aliquot_ml / total_ml
        base_g_l = self.true_ml / total_ml * self.base_mol_l * POTASSIUM_G_PER_MOL
        wine = self._wine
        return replace(
            wine,
            tartaric_g_l=wine.tartaric_g_l * share,
            malic_g_l=wine.malic_g_l * share,
            lactic_g_l=wine.lactic_g_l * share,
            acetic_g_l=wine.acetic_g_l * share,
            succinic_g_l=wine.succinic_g_l * share,
            potassium_g_l=wine.potassium_g_l * share + base_g_l,
        )
