"""Step 1: from what a line hears to rows, in one commit a hearing.

`acquire` knows no store and `storage` no driver; here the one's words become the other's.
"""

from collections.abc import Sequence
from hashlib import sha256

from acquire.driver import DriverIdentity
from acquire.events import Event, Filler, FrameRead, FrameRefused, Notice, Reading
from acquire.sink import Chunk, Closing, Direction, FarPlace, Gap, Hearing, Opening
from storage.ledger import ActorKind
from storage.queries import driver_number, last_end_of_line
from storage.queries.far import far_position
from storage.rows import (
    CaptureEndRow,
    CaptureRow,
    ChunkRow,
    DriverRow,
    FarPartRow,
    FaultRow,
    FrameRow,
    GapRow,
    ReadingRow,
)
from storage.transaction import Transaction
from storage.writer import Writer
from tundish.answers import ROW_BYTES, Answers
from tundish.notice_rows import Origin, notice_rows

DAEMON = "tundish"
"""The actor of what the daemon does by itself."""

NOT_RUNNING = "the daemon was not running"


def frame_rows(capture_number: int, events: Sequence[Event]) -> list[FrameRow]:
    """Return one row an event, in order."""
    return [_frame_row(ordinal, capture_number, event) for ordinal, event in enumerate(events)]


def _frame_row(ordinal: int, capture_number: int, event: Event) -> FrameRow:
    span = event.span
    match event:
        case FrameRead():
            return FrameRow(ordinal, capture_number, None, span.offset, span.length, "read")
        case FrameRefused(reason=reason, detail=detail):
            return FrameRow(
                ordinal, capture_number, None, span.offset, span.length, "refused", reason, detail or None
            )
        case Filler():
            return FrameRow(ordinal, capture_number, None, span.offset, span.length, "filler")


class StoreCapture:
    """Takes one capture."""

    def __init__(self, answers: Answers, number: int, driver_number: int, opening: Opening) -> None:
        self._answers = answers
        self._number = number
        self._driver_number = driver_number
        self._line = opening.line
        self._instrument = opening.instrument
        self._offsets = {Direction.HEARD: 0, Direction.SENT: 0}

    async def heard(self, *hearings: Hearing) -> None:
        """Keep chunks, frames, readings and notices in one commit; returns when they are durable."""
        rows = [[self._chunk_row(chunk) for chunk in hearing.chunks] for hearing in hearings]
        size = sum(
            sum(len(chunk.data) for chunk in hearing.chunks) + ROW_BYTES * len(hearing.events)
            for hearing in hearings
        )

        def work(tx: Transaction) -> None:
            for hearing, chunks in zip(hearings, rows, strict=True):
                self._enter(tx, hearing, chunks)

        await self._answers.submit(work, size)

    async def closed(self, closing: Closing) -> None:
        """Keep the end of the capture."""
        row = CaptureEndRow(
            self._number,
            closing.at.utc_us,
            closing.ending.value,
            closing.why,
            self._offsets[Direction.HEARD],
            self._offsets[Direction.SENT],
        )

        def work(tx: Transaction) -> None:
            self._say(tx, "capture.closed", closing.at.utc_us, capture_end=row)
            note_far_place(tx, self._line, closing.place)

        await self._answers.submit(work)

    def _chunk_row(self, chunk: Chunk) -> ChunkRow:
        offset = self._offsets[chunk.direction]
        self._offsets[chunk.direction] = offset + len(chunk.data)
        return ChunkRow(self._number, chunk.at.utc_us, chunk.direction.value, offset, chunk.data)

    def _enter(self, tx: Transaction, hearing: Hearing, chunks: Sequence[ChunkRow]) -> None:
        frames = frame_rows(self._number, hearing.events)
        number = self._enter_bytes(tx, hearing.at.utc_us, chunks, frames)
        if hearing.fault is not None:
            row = FaultRow(self._number, self._line, "driver", hearing.fault)
            self._say(tx, "driver.failed", hearing.at.utc_us, fault=row)
        for ordinal, event in enumerate(hearing.events):
            if isinstance(event, FrameRead):
                for position, reading in enumerate(event.readings):
                    self._enter_reading(tx, hearing.at.utc_us, (number, ordinal, position), reading)
                origin = Origin(self._number, number, ordinal, self._instrument, hearing.at.utc_us)
                for notice in event.notices:
                    self._enter_notice(tx, origin, notice)
        note_far_place(tx, self._line, hearing.place)

    def _enter_bytes(
        self, tx: Transaction, at_us: int, chunks: Sequence[ChunkRow], frames: Sequence[FrameRow]
    ) -> int:
        """Enter each chunk, the frames with the last one; return the number that the frames came with."""
        number = 0
        for chunk in chunks:
            rows = {"chunk": [chunk], "frame": frames if chunk is chunks[-1] else ()}
            heard = chunk.direction == Direction.HEARD
            number = tx.enter(
                "chunk.heard" if heard else "chunk.sent",
                at_us=chunk.at_us,
                actor=self._instrument if heard else DAEMON,
                actor_kind=ActorKind.DEVICE if heard else ActorKind.DAEMON,
                rows=rows,
            )
        if frames and not chunks:
            number = tx.enter(
                "frames.completed",
                at_us=at_us,
                actor=DAEMON,
                actor_kind=ActorKind.DAEMON,
                rows={"frame": frames},
            )
        return number

    def _enter_reading(
        self, tx: Transaction, at_us: int, frame: tuple[int, int, int], reading: Reading
    ) -> None:
        value = reading.value
        row = ReadingRow(
            tx.next_number,
            1,
            self._number,
            *frame,
            self._instrument,
            self._driver_number,
            at_us,
            reading.quantity,
            reading.outcome.value,
            reading.text,
            None if value is None else f"{value:f}",
            None if value is None else float(value),
            reading.unit,
            reading.sample,
            reading.sequence,
            reading.instrument_time,
            reading.mode,
            None if reading.stable is None else int(reading.stable),
        )
        tx.enter(
            "reading.stored",
            at_us=at_us,
            actor=self._instrument,
            actor_kind=ActorKind.DEVICE,
            rows={"reading": [row]},
        )

    def _enter_notice(self, tx: Transaction, origin: Origin, notice: Notice) -> None:
        action, table, rows = notice_rows(origin, notice)
        tx.enter(
            action,
            at_us=origin.at_us,
            actor=self._instrument,
            actor_kind=ActorKind.DEVICE,
            rows={table: rows},
        )

    def _say(self, tx: Transaction, action: str, at_us: int, **row: CaptureEndRow | FaultRow) -> None:
        rows = {table: [one] for table, one in row.items()}
        tx.enter(action, at_us=at_us, actor=DAEMON, actor_kind=ActorKind.DAEMON, rows=rows)


class StoreSink:
    """Takes what all lines hear into one store."""

    def __init__(self, writer: Writer, session_number: int, known_drivers: dict[DriverRow, int]) -> None:
        self._answers = Answers(writer)
        self._session = session_number
        self._drivers = known_drivers
        self._opened_lines: set[str] = set()

    async def opened(self, opening: Opening) -> StoreCapture:
        """Keep the beginning of a capture and return where its bytes go."""
        number, driver_number = await self._answers.submit(lambda tx: self._open(tx, opening))
        self._drivers[driver_row(opening.driver)] = driver_number  # known only now that it is durable
        self._opened_lines.add(opening.line)
        return StoreCapture(self._answers, number, driver_number, opening)

    async def gap(self, gap: Gap) -> None:
        """Keep a gap that has ended."""
        row = GapRow(gap.line, gap.instrument, gap.begin.utc_us, gap.end.utc_us, gap.why, gap.lost_bytes)

        def work(tx: Transaction) -> None:
            tx.enter(
                "gap.ended",
                at_us=gap.end.utc_us,
                actor=DAEMON,
                actor_kind=ActorKind.DAEMON,
                rows={"gap": [row]},
            )
            note_far_place(tx, gap.line, gap.place)

        await self._answers.submit(work)

    def _open(self, tx: Transaction, opening: Opening) -> tuple[int, int]:
        at_us = opening.at.utc_us
        driver_number = self._driver_number(tx, opening.driver, at_us)
        if opening.far is None and opening.line not in self._opened_lines:
            self._enter_gap_before(tx, opening)
        row = CaptureRow(
            opening.line,
            opening.instrument,
            driver_number,
            opening.device,
            opening.settings,
            at_us,
            self._session,
        )
        far = [] if opening.far is None else [FarPartRow(*opening.far)]
        number = tx.enter(
            "capture.opened",
            at_us=at_us,
            actor=DAEMON,
            actor_kind=ActorKind.DAEMON,
            rows={"capture": [row], **({"far_part": far} if far else {})},
        )
        note_far_place(tx, opening.line, opening.place)
        return number, driver_number

    def _enter_gap_before(self, tx: Transaction, opening: Opening) -> None:
        """Enter the time since the line was last heard by an earlier run of the daemon."""
        last = last_end_of_line(tx.connection, opening.line)
        if last is None or last.ended_at_us is None or last.ending == "complete":
            return  # a file that was read to its end was not missed afterwards
        why = last.why if last.ending == "found_open" and last.why else NOT_RUNNING
        begin_us = min(last.ended_at_us, opening.at.utc_us)  # a clock that went back must not turn it round
        row = GapRow(opening.line, opening.instrument, begin_us, opening.at.utc_us, why)
        tx.enter(
            "gap.ended",
            at_us=opening.at.utc_us,
            actor=DAEMON,
            actor_kind=ActorKind.DAEMON,
            rows={"gap": [row]},
        )

    def _driver_number(self, tx: Transaction, identity: DriverIdentity, at_us: int) -> int:
        """Return the entry of a driver, made at its first use."""
        row = driver_row(identity)
        known = self._drivers.get(row) or _number_in_store(tx, row)
        if known is not None:
            return known
        return tx.enter(
            "driver.first_used",
            at_us=at_us,
            actor=DAEMON,
            actor_kind=ActorKind.DAEMON,
            rows={"driver": [row]},
        )


def _number_in_store(tx: Transaction, row: DriverRow) -> int | None:
    """Look a driver up: another line may have brought it in this very commit."""
    return driver_number(tx.connection, row.name, row.version, row.definition_sha256)


def note_far_place(tx: Transaction, line: str, place: FarPlace | None) -> None:
    """Remember how far a line of a far bench is taken, if this is one."""
    if place is not None:
        tx.set_position(far_position(line, place.store), place.revision)


def driver_row(identity: DriverIdentity) -> DriverRow:
    """Return a driver as it is kept."""
    digest = sha256(identity.definition.encode()).hexdigest()
    return DriverRow(identity.name, identity.version, digest, identity.definition)
