"""A turbidity meter of which the daemon knows nothing: no driver ships for it.

It stands for a class, not for a make, and pushes a line every 2.5 s at 4800 8N2. What its lines mean is
written in ``docs/simulators.md`` alone, so that finding it out from the bytes can be tried.

Not simulated: bubbles, settling, a lamp that dies.
"""

import math
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream

LINE: Final = LineSettings(4800, 8, "N", 2)
PERIOD_S: Final = 2.5  # [s], of work
GREATEST_NTU: Final = 4000.0  # [NTU], that it can show
COUNTER: Final = 10_000


class TurbidityMeter:
    """The instrument: a cuvette in, lines out."""

    def __init__(self, name: str, seed: int = 0, *, period_s: float = PERIOD_S) -> None:
        self.name = name
        self._random = stream(seed, name)
        self._period_s = period_s
        self._said = 0
        self._ailing: set[str] = set()

    @property
    def manner(self) -> Manner:
        """It speaks whether anybody listens or not."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"over_range", "fouled_probe"})

    @property
    def next_due_s(self) -> float:
        """Work time of its next line. [s]"""
        return (self._said + 1) * self._period_s

    def advance(self, to_s: float) -> list[Message]:
        """Return the lines that are due. [s]"""
        messages = []
        while self.next_due_s <= to_s:
            self._said += 1
            messages.append(self._line(self._said * self._period_s))
        return messages

    def restart(self) -> list[Message]:
        """Lose power: nothing is kept."""
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Refuse: there are no buttons."""
        raise ValueError(f"no button {' '.join(words)!r}; there are none")

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        return []

    def _line(self, now_s: float) -> Message:
        true_ntu = 18.0 * math.exp(-(now_s % 600.0) / 200.0) + 0.6  # a cuvette that clears, then the next one
        ntu = true_ntu + self._random.gauss(0.0, 0.05) + 3.0 * ("fouled_probe" in self._ailing)
        lamp = 97 - self._said // 400 % 5
        over = "over_range" in self._ailing
        shown = f">{GREATEST_NTU:.0f}" if over else f"{ntu:.2f}"
        state = "HI" if over else "OK"
        text = f"<{self._said % COUNTER:04d}> turb:{shown:>8}NTU lamp:{lamp}% st:{state}\r\n"
        return Message(
            text.encode("ascii"), {"kind": "turbidity", "true_ntu": round(true_ntu, 4), "shown": shown}
        )
