r"""An analyser that calls, and forgets a message only when all of it was acknowledged: LIS01-A2, LIS02-A2.

It stands for a class, not for a make. It measures sample after sample (free SO2, total SO2, pH) and pushes
one message each at 9600 8N1. What was not acknowledged stays in its memory, over a loss of power too, and is
sent again from its first frame, under the same message id. ``docs/simulators.md`` gives the format.

Buttons: ``memory`` sends the last 20 messages again, ``clock SECONDS`` sets how far its clock is off UTC.

Not simulated: queries from the host, orders that the host downloads, contention of two callers, records that
go over several frames.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import Enum
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream
from simulators.samples import LOTS, Sample

LINE: Final = LineSettings(9600, 8, "N", 1)
ENQ, ACK, NAK, EOT = b"\x05", b"\x06", b"\x15", b"\x04"
REPLY_S: Final = 15.0  # [s], that a reply is waited for
BUSY_S: Final = 10.0  # [s], after a refused call or a failed transfer, before the next call
MOST_SENDINGS: Final = 6  # of one frame
MEMORY: Final = 20  # [messages]
YEAR_2000_US: Final = 946_684_800_000_000  # [µs], 2000-01-01T00:00:00Z


class _Step(Enum):
    IDLE = "nothing under way"
    CALLED = "called, no reply yet"
    SENDING = "a frame is out, no reply yet"


@dataclass(frozen=True, slots=True)
class Batch:
    """One message: its records, and what they mean."""

    id: int
    records: tuple[str, ...]
    meaning: dict[str, object] = field(default_factory=dict)


class LisInstrument:
    """The instrument: samples in, acknowledged messages out.

    Parameters
    ----------
    name : str
        Id on the bench.
    samples : iterator of Sample
        What it measures, in order.
    utc_us : callable
        The calendar of the wall. [µs]
    period_s : float
        Work time between two samples. [s]
    messages : int
        How many it measures; 0 for no end.
    """

    def __init__(
        self,
        name: str,
        samples: Iterator[Sample],
        utc_us: Callable[[], int],
        seed: int = 0,
        *,
        period_s: float = 60.0,
        messages: int = 0,
    ) -> None:
        self.name = name
        self._samples = samples
        self._utc_us = utc_us
        self._random = stream(seed, name)
        self._period_s = period_s
        self._left = messages or -1
        self._next_sample_s = 2.0
        self._count = 0
        self._clock_offset_s = 0.0
        self._clock_stands = False
        self._waiting: deque[Batch] = deque()
        self._memory: deque[Batch] = deque(maxlen=MEMORY)
        self._step = _Step.IDLE
        self._frame = 0  # which record of the first waiting message is out
        self._sendings = 0
        self._next_act_s = 0.0  # a reply is overdue, or the next call may be made

    @property
    def manner(self) -> Manner:
        """Its first message waits for the first listener."""
        return Manner.WAITS_ONCE

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"resent_memory", "wrong_clock"})

    @property
    def next_due_s(self) -> float:
        """Work time of its next act. [s]"""
        act_s = self._next_act_s if self._waiting or self._step is not _Step.IDLE else float("inf")
        return min(act_s, self._next_sample_s)

    def advance(self, to_s: float) -> list[Message]:
        """Measure what is due; call if there is something to say; give up what gets no reply. [s]"""
        while self._next_sample_s <= to_s:
            self._measure()
        if to_s < self._next_act_s:
            return []
        if self._step is not _Step.IDLE:
            return self._give_up(to_s, "no reply")
        return self._call(to_s) if self._waiting else []

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        """Take replies; only the first one to what is out counts. [s]"""
        said: list[Message] = []
        for byte in data:
            said += self._take_reply(bytes([byte]), now_s)
        return said

    def restart(self) -> list[Message]:
        """Lose power: the transfer is gone, the memory is not."""
        self._step, self._frame = _Step.IDLE, 0
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Press a button of the panel."""
        match words:
            case ["memory"]:
                self._waiting.extend(self._memory)
            case ["clock", seconds]:
                self._clock_offset_s = float(seconds)
            case _:
                raise ValueError(f"no button {' '.join(words)!r}; there are: memory, clock SECONDS")
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let the memory be sent again, or the clock stand."""
        if name == "wrong_clock":
            self._clock_stands = begins
        elif begins:
            self.command(["memory"])
        return []

    def _measure(self) -> None:
        self._next_sample_s += self._period_s
        sample = next(self._samples, None)
        if sample is None or self._left == 0:
            self._next_sample_s = float("inf")
            return
        self._left -= 1
        self._count += 1
        self._waiting.append(self._batch(self._count, sample))

    def _batch(self, number: int, sample: Sample) -> Batch:
        ph = next(lot.ph for lot in LOTS if lot.code == sample.lot)
        shown = {
            "FSO2": (f"{max(0.0, sample.free_mg_l + self._random.gauss(0.0, 0.4)):.1f}", "mg/L"),
            "TSO2": (f"{max(0.0, sample.total_mg_l + self._random.gauss(0.0, 0.8)):.1f}", "mg/L"),
            "PH": (f"{ph + self._random.gauss(0.0, 0.005):.2f}", ""),
        }
        time = self._time()
        results = [
            f"R|{index}|^^^{code}|{value}|{unit}||N||F||||{time}"
            for index, (code, (value, unit)) in enumerate(shown.items(), start=1)
        ]
        head = rf"H|\^&|{number:06d}||{self.name}^SIMULATED|||||||P|LIS2-A2|{time}"
        records = (head, "P|1", f"O|1|{sample.id}||^^^WINE", *results, "L|1|N")
        meaning = {
            "kind": "message",
            "message": number,
            "sample": sample.id,
            "true_free_mg_l": round(sample.free_mg_l, 4),
            "true_total_mg_l": round(sample.total_mg_l, 4),
            "true_ph": ph,
            "shown": {code: value for code, (value, _) in shown.items()},
        }
        return Batch(number, records, meaning)

    def _time(self) -> str:
        at_us = YEAR_2000_US if self._clock_stands else self._utc_us()
        at = datetime.fromtimestamp(at_us / 1e6, UTC) + timedelta(seconds=self._clock_offset_s)
        return at.strftime("%Y%m%d%H%M%S")

    def _call(self, now_s: float) -> list[Message]:
        self._step, self._frame = _Step.CALLED, 0
        self._next_act_s = now_s + REPLY_S
        return [Message(ENQ, {"kind": "call", "message": self._waiting[0].id})]

    def _take_reply(self, reply: bytes, now_s: float) -> list[Message]:
        if self._step is _Step.IDLE:
            return []
        if self._step is _Step.CALLED:
            return self._send(now_s, fresh=True) if reply == ACK else self._give_up(now_s, "refused")
        if reply != ACK:
            return self._send(now_s, fresh=False)
        self._frame += 1
        if self._frame < len(self._waiting[0].records):
            return self._send(now_s, fresh=True)
        return self._forget(now_s)

    def _send(self, now_s: float, *, fresh: bool) -> list[Message]:
        """Send the frame that is due, or the same one again."""
        self._sendings = 1 if fresh else self._sendings + 1
        if self._sendings > MOST_SENDINGS:
            return self._give_up(now_s, "not understood")
        self._step, self._next_act_s = _Step.SENDING, now_s + REPLY_S
        batch = self._waiting[0]
        data = framed((self._frame + 1) % 8, batch.records[self._frame] + "\r")
        return [
            Message(data, {"kind": "frame", "message": batch.id, "frame": self._frame, "again": not fresh})
        ]

    def _forget(self, now_s: float) -> list[Message]:
        """End the transfer: every frame was acknowledged, so the message need not be kept."""
        batch = self._waiting.popleft()
        if batch not in self._memory:
            self._memory.append(batch)
        self._step, self._next_act_s = _Step.IDLE, now_s
        return [Message(EOT, {**batch.meaning, "acknowledged": True})]

    def _give_up(self, now_s: float, why: str) -> list[Message]:
        self._step, self._next_act_s = _Step.IDLE, now_s + BUSY_S
        return [Message(EOT, {"kind": "given up", "message": self._waiting[0].id, "why": why})]


def framed(number: int, text: str) -> bytes:
    """Return a frame: STX, number, text, ETX, the sum from number to ETX as two digits, CR LF."""
    covered = f"{number}{text}".encode("ascii") + b"\x03"
    return b"\x02" + covered + f"{sum(covered) % 256:02X}\r\n".encode("ascii")
