"""An automatic burette for sulfur dioxide with a two-pin end point. It stands for a class, not for a make.

It runs sample after sample and pushes ASCII frames at 9600 8N1: a banner at power-on, points of the curve
while it titrates, one result a run. ``docs/simulators.md`` gives the format.

Buttons: ``memory`` sends the last 100 results again, ``abort`` stops the run, ``dirty_pins`` spoils the
pins until the next power-on, ``clock SECONDS`` sets how far the instrument's clock is off UTC.

Not simulated: what `simulators.iodine` and `simulators.titration` leave out; the sampler and the rinsing; a
person who pipettes the wrong volume; the loss of strength of the titrant in time; a memory that survives
being switched off.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.iodine import Flask, so2_mol
from simulators.noise import stream
from simulators.samples import Sample
from simulators.titration import FLOOR_NA, TICK_S, End, Mishaps, Panel, Titration

LINE: Final = LineSettings(9600, 8, "N", 1)
MEMORY: Final = 100  # [results]
LAST_SEQUENCE: Final = 9999
REAGENTS_ML: Final = 8.0  # [mL], acid and water in the flask beside the aliquot
DIRTY_NA: Final = 400.0  # [nA], current of spoilt pins
HANDLING_SD_MG_L: Final = {False: 0.5, True: 0.8}  # [mg/L], of pouring and air, by "is red"
OTHER_MODE: Final = {"F": "T", "T": "F"}
FOULED_NA: Final = 60.0  # [nA], current of pins with a film on them
BUBBLE_ML: Final = 0.5  # [mL], of air that is shown as dosed
LEFT_ML: Final = 0.3  # [mL], in a burette that was not filled
YEAR_2000_US: Final = 946_684_800_000_000  # [µs], 2000-01-01T00:00:00Z
AILMENTS: Final = frozenset(
    {
        "resent_memory",
        "wrong_clock",
        "over_range",
        "wrong_mode",
        "air_in_burette",
        "stuck_stirrer",
        "fouled_probe",
    }
)


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so, whatever the panel says."""

    titrant_mol_l: float = 0.00998
    blank_ml: float = 0.02
    """Titrant that acid and water consume. [mL]"""
    is_noisy: bool = True


class So2Burette:
    """The instrument: queue of samples in, frames out.

    Parameters
    ----------
    name : str
        Id on the bench.
    samples : iterator of Sample
        What is put under the burette, in order; each is run for free, every second one for total as well.
    utc_us : callable
        The calendar of the wall. [µs]
    seed : int
        Of the bench; the instrument draws from its own stream.
    clock_offset_s : float
        Instrument's clock minus UTC. [s]
    curve_period_s : float
        Work time between two points of the curve, at least 0.5. [s]
    change_s : float
        Work time between two runs. [s]
    """

    def __init__(
        self,
        name: str,
        samples: Iterator[Sample],
        utc_us: Callable[[], int],
        seed: int = 0,
        *,
        panel: Panel | None = None,
        truth: Truth | None = None,
        clock_offset_s: float = 0.0,
        curve_period_s: float = 0.5,
        change_s: float = 25.0,
    ) -> None:
        self.name = name
        self._runs = _plan(samples)
        self._utc_us = utc_us
        self._seed = seed
        self._panel = panel or Panel()
        self._truth = truth or Truth()
        self._clock_offset_s = clock_offset_s
        self._curve_ticks = max(round(curve_period_s / TICK_S), round(0.5 / TICK_S))
        self._change_s = change_s
        self._floor_na = FLOOR_NA
        self._mishaps = Mishaps()
        self._ailing: set[str] = set()
        self._memory: deque[bytes] = deque(maxlen=MEMORY)
        self._sequence = 0
        self._now_s = 0.0
        self._is_on = False
        self._run: Titration | None = None
        self._job: tuple[Sample, str] | None = None
        self._start_s = 2.0

    @property
    def manner(self) -> Manner:
        """It speaks whether anybody listens or not."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return AILMENTS

    @property
    def next_due_s(self) -> float:
        """Work time of its next message. [s]"""
        if not self._is_on:
            return 0.0
        if self._run is None:
            return self._start_s
        return self._start_s + (self._run.ticks // self._curve_ticks + 1) * self._curve_ticks * TICK_S

    def advance(self, to_s: float) -> list[Message]:
        """Work until this time and return the frames on the way. [s]"""
        messages = [] if self._is_on else self._banner()
        self._now_s = max(to_s, self._now_s)
        while self._start_s <= to_s:
            if self._run is None and not self._begin():
                break
            said, is_over = self._titrate(to_s)
            messages += said
            if not is_over:
                break
        return messages

    def restart(self) -> list[Message]:
        """Lose power: the run and the memory are gone, the sequence goes on."""
        self._run = None
        self._memory.clear()
        self._floor_na = FLOOR_NA
        self._start_s = self._now_s + self._change_s
        return self._banner()

    def command(self, words: list[str]) -> list[Message]:
        """Press a button of the panel."""
        match words:
            case ["memory"]:
                return [Message(frame, {"kind": "memory"}) for frame in self._memory]
            case ["abort"]:
                if self._run is not None:
                    self._run.abort()
            case ["dirty_pins"]:
                self._floor_na = DIRTY_NA
            case ["clock", seconds]:
                self._clock_offset_s = float(seconds)
            case _:
                raise ValueError(
                    f"no button {' '.join(words)!r}; there are: memory, abort, dirty_pins, clock SECONDS"
                )
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        self._mishaps.is_stirred = "stuck_stirrer" not in self._ailing
        if name == "fouled_probe":
            self._floor_na = FOULED_NA if begins else FLOOR_NA
        if name == "air_in_burette":
            self._mishaps.bubble_ml = BUBBLE_ML if begins else 0.0
        return self.command(["memory"]) if name == "resent_memory" and begins else []

    def _banner(self) -> list[Message]:
        self._is_on = True
        return [Message(framed("B", "SO2 burette", "ready"), {"kind": "banner"})]

    def _begin(self) -> bool:
        """Put the next sample under the burette; False if there is none."""
        self._job = next(self._runs, None)
        if self._job is None:
            self._start_s = float("inf")
            return False
        self._sequence = self._sequence % LAST_SEQUENCE + 1
        random = stream(self._seed, f"{self.name}/run/{self._sequence}") if self._truth.is_noisy else None
        panel = replace(self._panel, capacity_ml=LEFT_ML) if "over_range" in self._ailing else self._panel
        self._run = Titration(self._flask(random), panel, random, self._floor_na, self._mishaps)
        return True

    def _flask(self, random: Random | None) -> Flask:
        sample, mode = self._job or next(self._runs)
        true_mg_l = sample.free_mg_l if mode == "F" else sample.total_mg_l
        poured_mg_l = true_mg_l + (random.gauss(0.0, HANDLING_SD_MG_L[sample.is_red]) if random else 0.0)
        consumer_mol = self._truth.blank_ml * 1e-3 * self._truth.titrant_mol_l
        available_mol = so2_mol(max(0.0, poured_mg_l), self._panel.aliquot_ml) + consumer_mol
        return Flask(available_mol, self._panel.aliquot_ml + REAGENTS_ML, self._truth.titrant_mol_l)

    def _titrate(self, to_s: float) -> tuple[list[Message], bool]:
        """Run on until this time; return the frames, and whether the run is over. [s]"""
        run, messages = self._run, list[Message]()
        if run is None:
            return messages, True
        while run.end is None and self._start_s + (run.ticks + 1) * TICK_S <= to_s:
            run.tick()
            if run.ticks % self._curve_ticks == 0 and run.end is None:
                messages.append(self._point(run))
        if run.end is None:
            return messages, False
        messages.append(self._result(run, run.end))
        self._start_s += run.time_s + self._change_s
        self._run = None
        return messages, True

    def _point(self, run: Titration) -> Message:
        fields = (f"{run.time_s:.1f}", f"{run.volume_ml:.2f}", f"{run.current_na:.0f}")
        data = framed("C", f"{self._sequence:04d}", *fields)
        return Message(data, {"kind": "curve", "sequence": self._sequence})

    def _result(self, run: Titration, end: End) -> Message:
        sample, mode = self._job or next(self._runs)
        volume, value = self._shown(run, end)
        shown_mode = OTHER_MODE[mode] if "wrong_mode" in self._ailing else mode
        at_us = YEAR_2000_US if "wrong_clock" in self._ailing else self._utc_us()
        local = datetime.fromtimestamp(at_us / 1e6, UTC) + timedelta(seconds=self._clock_offset_s)
        stamp = local.strftime("%Y-%m-%d %H:%M:%S")
        data = framed("R", f"{self._sequence:04d}", stamp, shown_mode, sample.id, volume, "mL", value, "mg/L")
        self._memory.append(data)
        meaning = {
            "kind": "result",
            "sequence": self._sequence,
            "mode": mode,
            "sample": sample.id,
            "lot": sample.lot,
            "true_free_mg_l": round(sample.free_mg_l, 4),
            "true_total_mg_l": round(sample.total_mg_l, 4),
            "shown": value,
            "end": end.value,
        }
        return Message(data, meaning)

    def _shown(self, run: Titration, end: End) -> tuple[str, str]:
        """Return volume and value as the display rounds them."""
        match end:
            case End.REACHED if run.so2_mg_l() >= 0:
                return f"{run.volume_ml:.2f}", f"{run.so2_mg_l():.1f}"
            case End.RAN_OUT:
                return f">{run.volume_ml:.2f}", ">OVR"
            case End.ABORTED:
                return f"{run.volume_ml:.2f}", "ABRT"
            case _:
                return f"{run.volume_ml:.2f}", "----"


def framed(*fields: str) -> bytes:
    """Return a frame: fields, check (sum modulo 256 of all before the ``*``), CR LF."""
    body = ("|".join(fields) + "|").encode("ascii")
    return body + f"*{sum(body) % 256:02X}\r\n".encode("ascii")


def _plan(samples: Iterator[Sample]) -> Iterator[tuple[Sample, str]]:
    for index, sample in enumerate(samples):
        yield sample, "F"
        if index % 2 == 1:
            yield sample, "T"
