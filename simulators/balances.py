"""Two balances: one that is asked, one with a print button. Each stands for a class, not for a make.

``AskedBalance``, 9600 8N1, answers ``W`` and CR LF. ``ButtonBalance``, 2400 7E1, prints when its button is
pressed, and does so by itself now and then, for somebody is weighing. ``docs/simulators.md`` has the formats.

Buttons: ``put GRAMS`` lays something on the pan, ``print`` prints.

Not simulated: taring, draught, creep, calibration, units other than gram.
"""

import math
from random import Random
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream

ASKED_LINE: Final = LineSettings(9600, 8, "N", 1)
BUTTON_LINE: Final = LineSettings(2400, 7, "E", 1)
CAPACITY_G: Final = 220.0  # [g]
SETTLING_S: Final = 0.8  # [s], first-order settling of the pan
AT_REST_S: Final = 20 * SETTLING_S  # [s], that somebody waits before the button is pressed
STABLE_G: Final = 0.0005  # [g], distance from rest at which the balance calls it stable
NOISE_G: Final = 0.0001  # [g], standard deviation
MOST_BYTES: Final = 64  # of a question that is kept [bytes]


class Pan:
    """What lies on the balance, and what the cell under it feels."""

    def __init__(self, random: Random) -> None:
        self._random = random
        self._load_g = 0.0
        self._before_g = 0.0
        self._since_s = -1e9
        self.over = False
        """Something too heavy lies on it."""

    @property
    def load_g(self) -> float:
        """What truly lies there. [g]"""
        return self._load_g

    def put(self, load_g: float, now_s: float) -> None:
        """Lay a load on the pan in place of what was there. [g], [s]"""
        self._before_g, self._load_g, self._since_s = self._load_g, load_g, now_s

    def look(self, now_s: float) -> tuple[float | None, bool]:
        """Return what the display shows, None beyond its range, and whether it is at rest. [g], [s]"""
        rest_g = (self._before_g - self._load_g) * math.exp(-(now_s - self._since_s) / SETTLING_S)
        shown_g = self._load_g + rest_g + self._random.gauss(0.0, NOISE_G)
        if self.over or shown_g > CAPACITY_G:
            return None, True
        return round(shown_g, 5), abs(rest_g) < STABLE_G


class _Balance:
    """What both have."""

    def __init__(self, name: str, seed: int) -> None:
        self.name = name
        self._random = stream(seed, name)
        self._pan = Pan(self._random)
        self._now_s = 0.0

    @property
    def manner(self) -> Manner:
        """They do not care who listens."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What they can have."""
        return frozenset({"over_range"})

    def restart(self) -> list[Message]:
        """Lose power: nothing is kept."""
        return []

    def suffer(self, name: str, *, begins: bool) -> list[Message]:  # noqa: ARG002 - there is but one
        """Let something too heavy lie on the pan."""
        self._pan.over = begins
        return []

    def _meaning(self, shown_g: float | None, *, stable: bool) -> dict[str, object]:
        return {"kind": "mass", "true_g": self._pan.load_g, "shown_g": shown_g, "stable": stable}


class AskedBalance(_Balance):
    """Answers ``W``; a new load lies on it every now and then."""

    def __init__(self, name: str, seed: int = 0, *, load_period_s: float = 30.0) -> None:
        super().__init__(name, seed)
        self._load_period_s = load_period_s
        self._next_load_s = 1.0
        self._pending = b""

    @property
    def next_due_s(self) -> float:
        """Work time at which the next load is put down. [s]"""
        return self._next_load_s

    def advance(self, to_s: float) -> list[Message]:
        """Put down what is due. [s]"""
        self._now_s = max(self._now_s, to_s)
        while self._next_load_s <= to_s:
            self._pan.put(round(self._random.uniform(0.5, 200.0), 4), self._next_load_s)
            self._next_load_s += self._load_period_s
        return []

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        """Answer every ``W``; anything else gets ``?``. [s]"""
        self.advance(now_s)
        *lines, self._pending = (self._pending + data).split(b"\r\n")
        self._pending = self._pending[-MOST_BYTES:]
        return [self._weigh() if line.strip() == b"W" else Message(b"?\r\n", {"kind": "?"}) for line in lines]

    def command(self, words: list[str]) -> list[Message]:
        """Lay something on the pan."""
        match words:
            case ["put", grams]:
                self._pan.put(float(grams), self._now_s)
                self._next_load_s = float("inf")
            case _:
                raise ValueError(f"no button {' '.join(words)!r}; there is: put GRAMS")
        return []

    def _weigh(self) -> Message:
        shown_g, stable = self._pan.look(self._now_s)
        text = "--------" if shown_g is None else f"{shown_g:+.4f}"
        data = f"{'S' if stable else 'D'} {text} g\r\n".encode("ascii")
        return Message(data, self._meaning(shown_g, stable=stable))


class ButtonBalance(_Balance):
    """Prints when the button is pressed; somebody weighs something every now and then."""

    def __init__(self, name: str, seed: int = 0, *, weighing_period_s: float = 45.0) -> None:
        super().__init__(name, seed)
        self._weighing_period_s = weighing_period_s
        self._next_due_s = 5.0

    @property
    def next_due_s(self) -> float:
        """Work time at which the button is pressed next. [s]"""
        return self._next_due_s

    def advance(self, to_s: float) -> list[Message]:
        """Weigh and print what is due. [s]"""
        messages = []
        self._now_s = max(self._now_s, to_s)
        while self._next_due_s <= to_s:
            self._pan.put(round(self._random.uniform(5.0, 120.0), 4), self._next_due_s - AT_REST_S)
            messages.append(self._print(self._next_due_s))
            self._next_due_s += self._weighing_period_s
        return messages

    def command(self, words: list[str]) -> list[Message]:
        """Press the button, or lay something on the pan first."""
        match words:
            case ["print"]:
                return [self._print(self._now_s)]
            case ["put", grams]:
                self._pan.put(float(grams), self._now_s - AT_REST_S)
                return []
            case _:
                raise ValueError(f"no button {' '.join(words)!r}; there are: print, put GRAMS")

    def _print(self, now_s: float) -> Message:
        shown_g, stable = self._pan.look(now_s)
        mark = "*" if stable and shown_g is not None else "?"
        number = "  ^^^^^^^^^" if shown_g is None else f"{'-' if shown_g < 0 else '+'}{abs(shown_g):>10.5f}"
        data = f"W {number:>11} g  {mark} \r\n".encode("ascii")
        return Message(data, self._meaning(shown_g, stable=stable))
