"""A density meter that writes a table into a folder. It stands for a class, not for a make.

After every sample it writes the whole file anew, in two halves: whoever looks in between sees the first one.
``docs/simulators.md`` gives the format.

Not simulated: a file that is locked against readers (there are no such locks here), several files a day.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Final

from simulators.instrument import LineSettings, Manner, Message
from simulators.noise import stream
from simulators.samples import Sample

LINE: Final = LineSettings()
FILE: Final = "density.csv"
HALF_S: Final = 0.2  # [s], of work between the two halves of a writing
NO_NUMBER: Final = "---"
YEAR_2000_US: Final = 946_684_800_000_000  # [µs], 2000-01-01T00:00:00Z
HEAD: Final = "Density meter 7\r\n\r\nDate;Time;No;Sample;Density;Temperature;State\r\n;;;;[g/cm³];[°C];\r\n"


class DensityTable:
    """The instrument: samples in, one table that grows."""

    def __init__(
        self,
        name: str,
        samples: Iterator[Sample],
        utc_us: Callable[[], int],
        seed: int = 0,
        *,
        period_s: float = 60.0,
    ) -> None:
        self.name = name
        self._samples = samples
        self._utc_us = utc_us
        self._random = stream(seed, name)
        self._period_s = period_s
        self._rows: list[str] = []
        self._meaning: dict[str, object] = {}
        self._ailing: set[str] = set()
        self._next_s = 2.0
        self._second_half_s = float("inf")

    @property
    def manner(self) -> Manner:
        """It does not care who reads."""
        return Manner.PUSHES

    @property
    def ailments(self) -> frozenset[str]:
        """What it can have."""
        return frozenset({"over_range", "wrong_clock", "fouled_probe"})

    @property
    def next_due_s(self) -> float:
        """Work time of its next writing. [s]"""
        return min(self._next_s, self._second_half_s)

    def advance(self, to_s: float) -> list[Message]:
        """Measure what is due and return the files that are written. [s]"""
        messages: list[Message] = []
        while self.next_due_s <= to_s:
            if self._second_half_s <= self._next_s:
                self._second_half_s = float("inf")
                messages.append(Message(self._file(), {**self._meaning, "half": False}))
                continue
            sample = next(self._samples, None)
            if sample is None:
                self._next_s = float("inf")
                continue
            self._measure(sample)
            whole = self._file()
            messages.append(Message(whole[: len(whole) - 12], {**self._meaning, "half": True}))
            self._second_half_s, self._next_s = self._next_s + HALF_S, self._next_s + self._period_s
        return messages

    def restart(self) -> list[Message]:
        """Lose power: the file stays, a new table begins at the next sample."""
        self._rows.clear()
        return []

    def command(self, words: list[str]) -> list[Message]:
        """Refuse: there are no buttons."""
        raise ValueError(f"no button {' '.join(words)!r}; there are none")

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        """Let an ailment begin or end."""
        (self._ailing.add if begins else self._ailing.discard)(name)
        return []

    def _measure(self, sample: Sample) -> None:
        true_g_ml = 0.9915 + 0.0001 * (sum(sample.lot.encode("ascii")) % 30)  # of each lot its own, invented
        shown = true_g_ml + self._random.gauss(0.0, 0.00005) + 0.002 * ("fouled_probe" in self._ailing)
        is_over = "over_range" in self._ailing
        text = NO_NUMBER if is_over else f"{shown:.4f}".replace(".", ",")
        at_us = YEAR_2000_US if "wrong_clock" in self._ailing else self._utc_us()
        stamp = datetime.fromtimestamp(at_us / 1e6, UTC).strftime("%d.%m.%Y;%H:%M")
        number, state = len(self._rows) + 1, "bubble" if is_over else "ok"
        self._rows.append(f"{stamp};{number};{sample.id};{text};20,0;{state}\r\n")
        self._meaning = {
            "kind": "table",
            "rows": number,
            "sample": sample.id,
            "true_g_ml": round(true_g_ml, 6),
            "shown": text,
        }

    def _file(self) -> bytes:
        return f"{HEAD}{''.join(self._rows)}".encode("cp1252")
