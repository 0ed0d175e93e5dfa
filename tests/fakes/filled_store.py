"""A real store with a bench in it: a burette, a streaming pH meter, a refusal and a gap, at known times."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from storage.ledger import ActorKind
from storage.rows import (
    CaptureEndRow,
    CaptureRow,
    ChunkRow,
    DriverRow,
    FrameRow,
    GapRow,
    ReadingRow,
    Row,
    TakenRow,
)
from storage.store import Store
from storage.transaction import Transaction

NOON_US = 1_759_492_800_000_000  # 2025-10-03T12:00:00Z [µs]
SECOND_US = 1_000_000  # [µs]


@dataclass(frozen=True)
class Answer:
    """One quantity of a frame."""

    quantity: str
    text: str
    unit: str
    outcome: str = "value"
    sample: str | None = None
    sequence: str | None = None
    mode: str | None = None
    stable: int | None = None
    instrument_time: str | None = None
    bound: str | None = None
    """The plain numeral of what lies beyond the range."""

    @property
    def numeral(self) -> str | None:
        return self.text if self.outcome == "value" else self.bound

    @property
    def number(self) -> float | None:
        return None if self.numeral is None else float(self.numeral)


@dataclass
class OpenCapture:
    """A capture that is being filled."""

    number: int
    instrument: str
    driver: int
    line: str
    heard_bytes: int = 0


@dataclass
class Filler:
    """Writes into a store as the daemon does, at times that go on by a second an entry."""

    store: Store
    at_us: int = NOON_US
    step_us: int = SECOND_US
    session: int = field(init=False)

    def __post_init__(self) -> None:
        self.session = self.store.begin_session("0.1.0", "in step", self.at_us)

    def open(self, line: str, instrument: str) -> OpenCapture:
        definition = DriverRow(f"{line}-text", "1", "ab" * 32, f"name = '{line}-text'\n")
        driver = self._enter("driver.used", driver=[definition])
        row = CaptureRow(line, instrument, driver, f"/dev/pts/{line}", "9600 8N1", self.at_us, self.session)
        return OpenCapture(self._enter("capture.opened", capture=[row]), instrument, driver, line)

    def hear(self, capture: OpenCapture, data: bytes, answers: Sequence[Answer] = ()) -> list[int]:
        """Enter one frame with its readings and return their ids; a frame without any is refused."""
        self.at_us += self.step_us
        outcome = "read" if answers else "refused"
        reason = (None, None) if answers else ("wrong_layout", "three parts came, five were wanted")
        frame = FrameRow(0, capture.number, None, capture.heard_bytes, len(data), outcome, *reason)
        chunk = ChunkRow(capture.number, self.at_us, "heard", capture.heard_bytes, data)

        def work(tx: Transaction) -> list[int]:
            number = self._in(tx, "chunk.heard", chunk=[chunk], frame=[frame])
            return [self._reading(tx, capture, number, place, each) for place, each in enumerate(answers)]

        capture.heard_bytes += len(data)
        return self.store.writer.submit(work).result()

    def _reading(
        self, tx: Transaction, capture: OpenCapture, frame: int, position: int, answer: Answer
    ) -> int:
        row = ReadingRow(
            reading_id=tx.next_number,
            version=1,
            capture_number=capture.number,
            frame_number=frame,
            frame_ordinal=0,
            position=position,
            instrument=capture.instrument,
            driver_number=capture.driver,
            at_us=self.at_us,
            quantity=answer.quantity,
            outcome=answer.outcome,
            value_text=answer.text,
            value_numeral=answer.numeral,
            value=answer.number,
            unit=answer.unit,
            sample=answer.sample,
            sequence=answer.sequence,
            instrument_time=answer.instrument_time,
            mode=answer.mode,
            stable=answer.stable,
        )
        return self._in(tx, "reading.heard", reading=[row])

    def take(self, reading: int, text: str, unit: str) -> None:
        self._enter("readings.taken", taken=[TakenRow(reading, text, float(text), unit)])

    def gap(self, line: str, instrument: str, length_s: int) -> int:
        begin_us = self.at_us
        self.at_us += length_s * SECOND_US
        row = GapRow(line, instrument, begin_us, self.at_us, "the port was gone", None)
        return self._enter("gap.ended", gap=[row])

    def close(self, capture: OpenCapture, ending: str, why: str) -> None:
        end = CaptureEndRow(capture.number, self.at_us, ending, why, capture.heard_bytes, 0)
        self._enter("capture.ended", capture_end=[end])

    def _enter(self, action: str, **rows: Sequence[Row]) -> int:
        return self.store.writer.submit(lambda tx: self._in(tx, action, **rows)).result()

    def _in(self, tx: Transaction, action: str, **rows: Sequence[Row]) -> int:
        return tx.enter(action, at_us=self.at_us, actor="tundish", actor_kind=ActorKind.DAEMON, rows=rows)


def fill_bench(filler: Filler, *, streamed: int = 40) -> dict[str, int]:
    """Fill a store with a small afternoon at the bench, and return the ids of some readings by name."""
    ph = filler.open("ph", "ph-meter-1")
    burette = filler.open("burette", "burette-1")
    ids: dict[str, int] = {}
    for count in range(streamed):
        text = f"{3.41 + 0.3 / (1 + count):.3f}"
        answers = [Answer("ph", text, "pH", stable=int(count > 12)), Answer("temperature", "20.4", "°C")]
        filler.hear(ph, f"pH {text} T 20.4 C\r\n".encode(), answers)
    for count, (sample, text) in enumerate((("W-1007", "28.40"), ("=SUM(A1)", "31.20"), ("W-1009", "-0.50"))):
        answer = Answer("free_so2", text, "mg/L", sample=sample, sequence=str(118 + count), mode="F")
        dose = Answer("dispensed_volume", "1.1", "mL", sample=sample, sequence=str(118 + count))
        ids[sample], _ = filler.hear(burette, f"F;{sample};{text};mg/L;1.1\r\n".encode(), [answer, dose])
    filler.take(ids["W-1007"], "28.40", "mg/L")
    filler.hear(burette, b"\x00\xff?;;\r\n")
    over = Answer("free_so2", ">OVR", "mg/L", outcome="above_range", sample="W-1010", sequence="121")
    ids["over"], *_ = filler.hear(burette, b"F;W-1010;>OVR;mg/L;10.0\r\n", [over])
    filler.close(burette, "lost", "the port was gone")
    filler.gap("burette", "burette-1", 7)
    return ids
