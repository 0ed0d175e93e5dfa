"""An automatic burette for titratable acidity with a pH probe. It stands for a class, not for a make.

It runs sample after sample and pushes ASCII frames at 4800 8N1: who it is at power-on, the start of a run,
points of the curve, one result a run. ``docs/simulators.md`` gives the format; what happens in the flask is
in `simulators.acid_titration`. Its clock has no battery.

Buttons: ``memory`` sends the last 50 results again, ``abort`` stops the run, ``calibrate`` reports a
calibration.

Not simulated: rinsing, a sampler, standardisation of the base, a person who pipettes the wrong volume.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import reduce
from operator import xor
from typing import Final

from simulators.acid_titration import BUBBLE_ML, TICK_S, AcidPanel, AcidRun, Troubles
from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream
from simulators.samples import LOTS, Sample

LINE: Final = LineSettings(4800, 8, "N", 1)
MEMORY: Final = 50  # [results]
LAST_SEQUENCE: Final = 9999
CHANGE_S: Final = 40.0  # [s], of work between two runs
TRUE_BASE_MOL_L: Final = 0.0994  # [mol/L], what the base really has; the panel says 0.1000
WRONG_END_PH: Final = 7.0
SMALL_CAPACITY_ML: Final = 1.0  # [mL], of a burette that was not filled
YEAR_2000_US: Final = 946_684_800_000_000  # [µs], 2000-01-01T00:00:00Z
SLOPE_PERCENT: Final = 98.6  # [%], of the ideal slope, by its last calibration
OFFSET_MV: Final = -2.1  # [mV], at pH 7
NERNST_MV_PER_PH: Final = 58.45  # [mV/pH], ln(10) R T / F at 21.4 °C, CODATA 2022
REACHED, RAN_OUT, STOPPED = "0", "4", "9"


class AcidBurette:
    """The instrument: samples in, frames out.

    Parameters
    ----------
    name : str
        Id on the bench.
    samples : iterator of Sample
        What is put under the burette, in order.
    utc_us : callable
        The calendar of the wall. [µs]
    """

    def __init__(
        self,
        name: str,
        samples: Iterator[Sample],
        utc_us: Callable[[], int],
        seed: int = 0,
        *,
        panel: AcidPanel | None = None,
        base_mol_l: float = TRUE_BASE_MOL_L,
    ) -> None:
        self.name = name
        self._samples = samples
        self._utc_us = utc_us
        self._random = stream(seed, name)
        self._panel = panel or AcidPanel()
        self._base_mol_l = base_mol_l
        self._troubles = Troubles()
        self._ailing: set[str] = set()
        self._memory: deque[bytes] = deque(maxlen=MEMORY)
        self._sequence = 0
        self._sample: Sample | None = None
        self._run: AcidRun | None = None
        self._start_s = 2.0
        self._now_s = 0.0
        self._is_on = False

    @property
    def manner(self) -> Manner:
        """It speaks whether anybody listens or not."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset(
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

    @property
    def next_due_s(self) -> float:
        """Work time of its next look at the probe. [s]"""
        if not self._is_on:
            return 0.0
        return self._start_s if self._run is None else self._start_s + (self._run.ticks + 1) * TICK_S

    def advance(self, to_s: float) -> list[Message]:
        """Work until this time and return the frames on the way. [s]"""
        self._now_s = max(self._now_s, to_s)
        messages = [] if self._is_on else self._greeting()
        while self.next_due_s <= to_s:
            messages += self._begin() if self._run is None else self._tick(self._run)
        return messages

    def restart(self) -> list[Message]:
        """Lose power: the run and the memory are gone, the sequence goes on."""
        self._run = None
        self._memory.clear()
        self._start_s = self._now_s + CHANGE_S
        return self._greeting()

    def command(self, words: list[str]) -> list[Message]:
        """Press a button of the panel."""
        match words:
            case ["memory"]:
                return [Message(frame, {"kind": "memory"}) for frame in self._memory]
            case ["abort"]:
                return [] if self._run is None else [self._result(self._run, STOPPED)]
            case ["calibrate"]:
                return [self._calibration()]
            case _:
                raise ValueError(f"no button {' '.join(words)!r}; there are: memory, abort, calibrate")

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        self._troubles.is_stirred = "stuck_stirrer" not in self._ailing
        self._troubles.is_clean = "fouled_probe" not in self._ailing
        if name == "air_in_burette":
            self._troubles.bubble_ml = BUBBLE_ML if begins else 0.0
        return self.command(["memory"]) if name == "resent_memory" and begins else []

    def _greeting(self) -> list[Message]:
        self._is_on = True
        return [Message(framed("HEY", "acid burette", "SN 0007"), {"kind": "greeting"})]

    def _calibration(self) -> Message:
        points = [text for ph in (7.00, 4.01) for text in (f"{ph:.2f}", f"{_potential_mv(ph):.1f}")]
        data = framed("CAL", self._time(), "21.4", *points, f"{SLOPE_PERCENT:.1f}", f"{OFFSET_MV:.1f}")
        return Message(data, {"kind": "calibration", "slope_percent": SLOPE_PERCENT})

    def _time(self) -> str:
        at_us = YEAR_2000_US if "wrong_clock" in self._ailing else self._utc_us()
        return datetime.fromtimestamp(at_us / 1e6, UTC).strftime("%d.%m.%y %H:%M")

    def _begin(self) -> list[Message]:
        self._sample = next(self._samples, None)
        if self._sample is None:
            self._start_s = float("inf")
            return []
        self._sequence = self._sequence % LAST_SEQUENCE + 1
        panel = self._panel
        if "wrong_mode" in self._ailing:
            panel = replace(panel, end_ph=WRONG_END_PH)
        if "over_range" in self._ailing:
            panel = replace(panel, capacity_ml=SMALL_CAPACITY_ML)
        wine = next(lot for lot in LOTS if lot.code == self._sample.lot).wine()
        self._run = AcidRun(wine, panel, self._troubles, self._base_mol_l, self._random)
        data = framed("BEG", str(self._sequence), self._time(), _mode(panel), self._sample.id)
        return [Message(data, {"kind": "run", "sequence": self._sequence, "sample": self._sample.id})]

    def _tick(self, run: AcidRun) -> list[Message]:
        has_point = run.tick()
        messages = [self._point(run)] if has_point else []
        if run.is_over:
            messages.append(self._result(run, RAN_OUT if run.ran_out else REACHED))
        return messages

    def _point(self, run: AcidRun) -> Message:
        volume_ml, ph = run.point
        signals = (f"{ph:.3f}", f"{_potential_mv(ph):.1f}", "21.4")
        data = framed("PNT", str(self._sequence), f"{run.time_s:.1f}", f"{volume_ml:.3f}", *signals)
        return Message(data, {"kind": "curve", "sequence": self._sequence, "true_ml": round(run.true_ml, 4)})

    def _result(self, run: AcidRun, code: str) -> Message:
        """End the run and return its result; without an end point a star stands in place of the number."""
        sample = self._sample
        acidity = run.titratable_acidity_g_l()
        volume_ml = run.shown_ml if run.end_ml is None else run.end_ml
        volume = f">{run.panel.capacity_ml:.3f} mL" if code == RAN_OUT else f"{volume_ml:.3f} mL"
        value = "*" if code != REACHED or acidity is None else f"{acidity:.2f} g/L TAR"
        mode, sample_id = _mode(run.panel), sample.id if sample else ""
        data = framed("ACD", str(self._sequence), self._time(), mode, sample_id, code, volume, value)
        self._memory.append(data)
        self._start_s += run.time_s + CHANGE_S
        self._run = None
        meaning = {
            "kind": "result",
            "sequence": self._sequence,
            "sample": sample_id,
            "mode": mode,
            "shown": value,
            "true_ml": round(run.true_ml, 4),
            "true_base_mol_l": run.base_mol_l,
        }
        return Message(data, meaning)


def _mode(panel: AcidPanel) -> str:
    return f"TA{panel.end_ph:.1f}"


def _potential_mv(ph: float) -> float:
    """Return what the probe gives by its last calibration. [mV]"""
    return OFFSET_MV + (7.0 - ph) * NERNST_MV_PER_PH * SLOPE_PERCENT / 100.0


def framed(*fields: str) -> bytes:
    """Return a frame: fields, ``~``, check (exclusive or of all before the ``~``), CR LF."""
    body = ";".join(fields).encode("ascii")
    return body + f"~{reduce(xor, body):02X}\r\n".encode("ascii")
