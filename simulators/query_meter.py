"""A bench pH meter that answers queries in the manner of IEEE 488.2. It stands for a class, not for a make.

19200 8N1; it speaks only when asked, and ends every answer with LF. ``docs/simulators.md`` gives the queries.

Buttons: ``beaker`` puts the electrode into the next beaker.

Not simulated: status registers, triggers, blocks of binary data, several questions at a time.
"""

from collections.abc import Iterator
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream
from simulators.ph_meter import Beaker

LINE: Final = LineSettings(19_200, 8, "N", 1)
IDENTITY: Final = ("SIMULATED", "BENCH-PH", "0042", "1.3")
ANOTHER_SERIAL: Final = "0043"
OVER: Final = "9.9E37"
SLOW_S: Final = 5.0  # [s], by which a slow answer is late
MOST_BYTES: Final = 256  # of a question that is kept [bytes]


class QueryMeter:
    """The instrument: questions in, answers out."""

    def __init__(self, name: str, beakers: Iterator[Beaker], seed: int = 0) -> None:
        self.name = name
        self._beakers = beakers
        self._beaker = next(beakers)
        self._random = stream(seed, name)
        self._pending = b""
        self._errors: list[str] = []
        self._ailing: set[str] = set()
        self._late: list[tuple[float, Message]] = []

    @property
    def manner(self) -> Manner:
        """It says nothing by itself."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"over_range", "fouled_probe", "slow_answers", "another_serial"})

    @property
    def next_due_s(self) -> float:
        """Work time at which a late answer leaves. [s]"""
        return min((due_s for due_s, _ in self._late), default=float("inf"))

    def advance(self, to_s: float) -> list[Message]:
        """Return the answers that were late and are due. [s]"""
        due = [message for due_s, message in self._late if due_s <= to_s]
        self._late = [one for one in self._late if one[0] > to_s]
        return due

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        """Answer every whole line that holds a query. [s]"""
        *lines, self._pending = (self._pending + data).split(b"\n")
        self._pending = self._pending[-MOST_BYTES:]
        said = [message for line in lines if (message := self._reply(line)) is not None]
        if "slow_answers" in self._ailing:
            self._late += [(now_s + SLOW_S, message) for message in said]
            return []
        return said

    def restart(self) -> list[Message]:
        """Lose power: a question that was half heard is gone."""
        self._pending, self._late, self._errors = b"", [], []
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Put the electrode somewhere else."""
        if words != ["beaker"]:
            raise ValueError(f"no button {' '.join(words)!r}; there is: beaker")
        self._beaker = next(self._beakers, self._beaker)
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        return []

    def _reply(self, line: bytes) -> Message | None:
        queries = line.decode("ascii", "replace").strip().upper().split(";")
        answers = [answer for query in queries if (answer := self._answer(query.strip())) is not None]
        if not answers:
            return None
        meaning = {"kind": "answer", "to": ";".join(queries), "true_ph": round(self._beaker.ph, 5)}
        return Message(";".join(answers).encode("ascii") + b"\n", meaning)

    def _answer(self, query: str) -> str | None:
        match query:
            case "*IDN?":
                serial = ANOTHER_SERIAL if "another_serial" in self._ailing else IDENTITY[2]
                return ",".join((*IDENTITY[:2], serial, IDENTITY[3]))
            case "*CLS":
                self._errors.clear()
            case "MEAS:PH?":
                return self._ph()
            case "MEAS:TEMP?":
                return f"{self._beaker.temperature_c + self._random.gauss(0.0, 0.03):.1f}"
            case "SYST:ERR?":
                return self._errors.pop(0) if self._errors else '0,"No error"'
            case "":
                pass
            case _:
                self._errors.append('-113,"Undefined header"')
        return None

    def _ph(self) -> str:
        if "over_range" in self._ailing:
            return OVER
        ph = self._beaker.ph
        if "fouled_probe" in self._ailing:
            ph = 7.0 + 0.85 * (ph - 7.0)
        return f"{ph + self._random.gauss(0.0, 0.002):.3f}"
