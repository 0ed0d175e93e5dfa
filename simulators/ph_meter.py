"""A bench pH meter that streams once a second. It stands for a class, not for a make.

A glass electrode goes from beaker to beaker; the meter turns its potential into pH by the calibration it
was given and speaks at 1200 7E1 with a decimal comma. ``docs/simulators.md`` gives the format.

Buttons: ``unplug`` pulls the electrode's plug (the input floats), ``plug`` puts it back.

Not simulated: the temperature's shift of a wine's own pH, asymmetry of the slope, the junction's potential,
stirring, buffers and the calibration itself, a meter's own temperature compensation switched off.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Final

from simulators.acids import wine_ph
from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream
from simulators.samples import LOTS

LINE: Final = LineSettings(1200, 7, "E", 1)
GAS_CONSTANT_J_MOL_K: Final = 8.314462618  # [J/(mol K)], CODATA 2022, exact
FARADAY_C_MOL: Final = 96485.33212  # [C/mol], CODATA 2022, exact
ZERO_CELSIUS_K: Final = 273.15  # [K]

TICK_S: Final = 1.0  # [s], of work; the meter looks at its electrode that often
ELECTRODE_S: Final = 6.0  # [s], first-order settling of the electrode in a new beaker
PROBE_S: Final = 15.0  # [s], first-order settling of the temperature probe
FOULED_TIMES: Final = 8.0  # [1], by which a fouled electrode is slower
FOULED_SLOPE: Final = 0.92  # [1], share of the slope that a fouled electrode has left
NOISE_MV: Final = 0.06  # [mV], standard deviation of one look
DRIFT_PH_PER_H: Final = 0.004  # [pH/h], of the electrode's zero point
STABLE_LOOKS: Final = 8  # [looks], over which the meter wants the potential to stand still
STABLE_MV: Final = 0.4  # [mV], least to greatest within those looks
IN_BEAKER_S: Final = 90.0  # [s]
IN_AIR_S: Final = 15.0  # [s], between two beakers
OPEN_INPUT_MV: Final = 1999.9  # [mV], where a floating input ends up
PH_LIMITS: Final = (0.0, 14.0)  # [pH], that the display can show


@dataclass(frozen=True, slots=True)
class Electrode:
    """A glass electrode: a straight line by Nernst, not quite ideal."""

    slope_percent: float = 97.8
    zero_ph: float = 6.96
    """pH at which it gives no potential."""

    def potential_mv(self, ph: float, temperature_c: float) -> float:
        """Return the potential against the reference; it falls as pH rises. [mV]"""
        return -self.slope_percent / 100.0 * nernst_slope_mv(temperature_c) * (ph - self.zero_ph)

    def ph(self, potential_mv: float, temperature_c: float) -> float:
        """Return the pH that a potential stands for. [1]"""
        return self.zero_ph - potential_mv / (self.slope_percent / 100.0 * nernst_slope_mv(temperature_c))


@dataclass(frozen=True, slots=True)
class Beaker:
    """What the electrode is put into."""

    label: str
    ph: float
    temperature_c: float = 21.4


class PhMeter:
    """The instrument: a round of beakers in, frames out.

    Parameters
    ----------
    name : str
        Id on the bench.
    beakers : iterator of Beaker
        Each stays `IN_BEAKER_S`; the electrode hangs in air between them.
    seed : int
        Of the bench; the instrument draws from its own stream.
    electrode : Electrode
        As it truly is when the meter is switched on.
    believed : Electrode
        What the last calibration made of it; the true one if None.
    frame_period_s : float
        Work time between two frames. [s]
    """

    def __init__(
        self,
        name: str,
        beakers: Iterator[Beaker],
        seed: int = 0,
        *,
        electrode: Electrode | None = None,
        believed: Electrode | None = None,
        frame_period_s: float = 1.0,
    ) -> None:
        self.name = name
        self._beakers = beakers
        self._random = stream(seed, name)
        self._electrode = electrode or Electrode()
        self._believed = believed or self._electrode
        self._frame_ticks = max(1, round(frame_period_s / TICK_S))
        self._ticks = 0
        self._beaker: Beaker | None = None
        self._change_tick = 0
        self._is_plugged = True
        self._settled_mv = 0.0
        self._temperature_c = 20.0
        self._looks: list[float] = []
        self._is_clean = True

    @property
    def manner(self) -> Manner:
        """It speaks whether anybody listens or not."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"fouled_probe", "over_range"})

    @property
    def next_due_s(self) -> float:
        """Work time of its next frame. [s]"""
        return (self._ticks // self._frame_ticks + 1) * self._frame_ticks * TICK_S

    def advance(self, to_s: float) -> list[Message]:
        """Work until this time and return the frames on the way. [s]"""
        messages = []
        while (self._ticks + 1) * TICK_S <= to_s:
            self._tick()
            if self._ticks % self._frame_ticks == 0:
                messages.append(self._frame())
        return messages

    def restart(self) -> list[Message]:
        """Lose power: the meter forgets its last looks and is not stable for a while."""
        self._looks.clear()
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Press a button, or pull the plug."""
        if words not in (["unplug"], ["plug"]):
            raise ValueError(f"no button {' '.join(words)!r}; there are: unplug, plug")
        self._is_plugged = words == ["plug"]
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Foul the electrode, or pull its plug, until that ends."""
        if name == "fouled_probe":
            self._is_clean = not begins
            return []
        return self.command(["unplug" if begins else "plug"])

    def _tick(self) -> None:
        if self._ticks >= self._change_tick:
            self._change()
        self._ticks += 1
        beaker = self._beaker or Beaker("air", 7.0, 20.0)
        fouling = 1.0 if self._is_clean else FOULED_TIMES
        worn = replace(
            self._electrode,
            slope_percent=self._electrode.slope_percent * (1.0 if self._is_clean else FOULED_SLOPE),
            zero_ph=self._electrode.zero_ph + DRIFT_PH_PER_H * self._ticks * TICK_S / 3600,
        )
        goal_mv = worn.potential_mv(beaker.ph, beaker.temperature_c)
        self._settled_mv += (goal_mv - self._settled_mv) * -math.expm1(-TICK_S / (ELECTRODE_S * fouling))
        self._temperature_c += (beaker.temperature_c - self._temperature_c) * -math.expm1(-TICK_S / PROBE_S)
        look_mv = self._settled_mv + self._random.gauss(0.0, NOISE_MV) if self._is_plugged else OPEN_INPUT_MV
        self._looks = [*self._looks[1 - STABLE_LOOKS :], look_mv]

    def _change(self) -> None:
        """Take the electrode out into the air, or put it into the next beaker."""
        is_in_beaker = self._beaker is not None
        self._beaker = None if is_in_beaker else next(self._beakers, None)
        self._change_tick += round((IN_AIR_S if is_in_beaker else IN_BEAKER_S) / TICK_S)

    def _frame(self) -> Message:
        potential_mv = self._looks[-1]
        shown, mark = self._shown(self._believed.ph(potential_mv, self._temperature_c))
        number = f"{shown} {mark}".rstrip()
        text = f"pH {number} T {self._temperature_c:.1f}C mV {potential_mv:.1f}".replace(".", ",")
        meaning = {
            "kind": "ph",
            "beaker": self._beaker.label if self._beaker else None,
            "true_ph": round(self._beaker.ph, 5) if self._beaker else None,
            "shown": shown,
            "mark": mark,
        }
        return Message(text.encode("ascii") + b"\r", meaning)

    def _shown(self, ph: float) -> tuple[str, str]:
        """Return what stands in the place of the number, and the stability letter or nothing."""
        if ph > PH_LIMITS[1]:
            return "OVER", ""
        if ph < PH_LIMITS[0]:
            return "UNDER", ""
        if self._beaker is None:
            return "-,---", "D"
        return f"{ph:.3f}".replace(".", ","), "S" if self._is_stable() else "D"

    def _is_stable(self) -> bool:
        return len(self._looks) == STABLE_LOOKS and max(self._looks) - min(self._looks) <= STABLE_MV


def nernst_slope_mv(temperature_c: float) -> float:
    """Return the ideal slope of a pH electrode, ``ln(10) R T / F``. [mV per pH], temperature [°C]"""
    return 1000.0 * math.log(10.0) * GAS_CONSTANT_J_MOL_K * (temperature_c + ZERO_CELSIUS_K) / FARADAY_C_MOL


def beakers_of_the_cellar(random: Random) -> Iterator[Beaker]:
    """Yield a beaker of each lot of the cellar, round after round, each at a temperature of its own."""
    true_ph: Sequence[tuple[str, float]] = [(lot.code, wine_ph(lot.wine())) for lot in LOTS]
    while True:
        for label, ph in true_ph:
            yield Beaker(label, ph, random.uniform(19.0, 23.0))
