"""A burette that titrates into a store as the daemon would hear it: points, beginning, end, result."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from bench.canonical_json import to_text
from storage.bench_rows import CurvePointRow, ReportRow
from storage.rows import ChunkRow, FrameRow, Row
from storage.transaction import Transaction
from tests.fakes.filled_store import Answer, Filler, OpenCapture


@dataclass
class RunningBurette:
    """One burette on a line; a second goes by with each thing it says."""

    filler: Filler
    line: str = "burette"
    instrument: str = "burette-1"
    capture: OpenCapture = field(init=False)
    sequence: str | None = None
    begun_us: int = 0

    def __post_init__(self) -> None:
        self.capture = self.filler.open(self.line, self.instrument)

    def begin(self, sequence: str | None = "117", **said: Any) -> None:
        """Say that a run begins."""
        self.sequence, self.begun_us = sequence, self.filler.at_us
        self._report("run_started", {"sequence": sequence, **said})

    def point(self, volume_ml: float, signal: float | None, quantity: str = "ph", unit: str = "pH") -> None:
        """Say one point of the curve. [mL; unit of the signal]"""
        frame = self._frame()
        row = CurvePointRow(
            0,
            self.capture.number,
            frame,
            0,
            self.instrument,
            self.filler.at_us,
            f"{volume_ml:.3f}",
            volume_ml,
            None if signal is None else f"{signal:.4f}",
            signal,
            quantity,
            unit,
            elapsed_s=(self.filler.at_us - self.begun_us) / 1e6 if self.begun_us else None,
            sequence=self.sequence,
        )
        self._enter("curve_point.stored", curve_point=[row])

    def draw(self, curve: Sequence[tuple[float, float]], quantity: str = "ph", unit: str = "pH") -> None:
        """Say every point of a curve."""
        for volume_ml, signal in curve:
            self.point(volume_ml, signal, quantity, unit)

    def end(self, *answers: Answer, aborted: bool = False) -> list[int]:
        """Say the result, if there is one, and that the run has ended; return the ids of the readings."""
        readings: list[int] = []
        if answers:
            told = [Answer(**{**vars(one), "sequence": self.sequence}) for one in answers]
            readings = self.filler.hear(self.capture, b"result", told)
        self._report("run_ended", {"sequence": self.sequence, "aborted": aborted})
        return readings

    def _report(self, kind: str, body: dict[str, Any]) -> None:
        frame = self._frame()
        row = ReportRow(
            0,
            self.capture.number,
            frame,
            0,
            self.instrument,
            self.filler.at_us,
            kind,
            to_text({key: value for key, value in body.items() if value is not None}),
        )
        self._enter("report.stored", report=[row])

    def _frame(self) -> int:
        self.filler.at_us += self.filler.step_us
        place = self.capture.heard_bytes
        self.capture.heard_bytes += 1
        frame = FrameRow(0, self.capture.number, None, place, 1, "read", None, None)
        chunk = ChunkRow(self.capture.number, self.filler.at_us, "heard", place, b"x")
        return self._enter("chunk.heard", chunk=[chunk], frame=[frame])

    def _enter(self, action: str, **rows: Sequence[Row]) -> int:
        def work(tx: Transaction) -> int:
            return tx.enter(
                action, at_us=self.filler.at_us, actor=self.instrument, actor_kind="device", rows=rows
            )

        return self.filler.store.writer.submit(work).result(10)


def acid_curve(end_ml: float = 12.0, step_ml: float = 0.1) -> list[tuple[float, float]]:
    """Return a wine-like curve of pH against volume: 3.4 at the start, pH 7.0 at 8.0 mL, pH 8.2 at 8.4 mL.

    Straight lines, so that a crossing is known without a formula of the program.
    """
    corners = [(0.0, 3.4), (7.0, 5.0), (8.0, 7.0), (8.4, 8.2), (8.6, 10.0), (end_ml, 11.5)]
    found = []
    count = round(end_ml / step_ml)
    for place in range(count + 1):
        volume = place * step_ml
        for (x0, y0), (x1, y1) in pairwise(corners):
            if x0 <= volume <= x1:
                found.append((volume, y0 + (y1 - y0) * (volume - x0) / (x1 - x0)))
                break
    return found
