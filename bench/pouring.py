"""A pour that is applied: new versions of just the readings that a corrected driver finds otherwise.

What changes is entered in small pieces, so that hearing never waits long. Whatever stops it on the way,
pouring again goes on where it stopped, because what was entered already differs no more.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final, TypeVar

from bench.actor import Actor
from bench.canonical_json import to_text
from bench.poured import Change, taken_back
from bench.refused import Fault, MalformedError
from bench.repour import MakeDecoder, Poured, Reader, Window, suppose, windows
from storage.queries import PouredCapture, PourScope, driver_number
from storage.rows import DriverRow, FrameRow, PourCaptureRow, PourRow, ReadingRow, Row
from storage.transaction import Transaction
from storage.writer import Writer

PIECE: Final = 25
"""Most readings, or frames, entered in one commit: it takes some milliseconds."""

Item = TypeVar("Item")
Answer = TypeVar("Answer")
Places = dict[int, tuple[int, int]]
"""Entry and ordinal of each frame, by its first byte."""


def _unseen(_change: Change) -> None:
    """Let a change go by."""


class Pour:
    """Applies one driver to stored captures as one act of one person, for one reason."""

    def __init__(
        self,
        reader: Reader,
        writer: Writer,
        driver: DriverRow,
        actor: Actor,
        scope: PourScope,
        *,
        pause: Callable[[], object],
    ) -> None:
        """Take where it reads and writes, which driver, who and why; `pause` lets others work in between.

        Raises
        ------
        MalformedError
            If no reason is given.
        """
        if not actor.reason:
            raise MalformedError("act.reason_wanted", "say why readings change", Fault("reason", "is empty"))
        self._reader = reader
        self._writer = writer
        self._driver = driver
        self._actor = actor
        self._scope = scope
        self._pause = pause
        self._driver_number = 0
        self.number: int | None = None
        """Ledger number of this pour; None as long as nothing had to be changed."""

    def apply(
        self, of: PouredCapture, make_decoder: MakeDecoder, *, shown: Callable[[Change], object] = _unseen
    ) -> Poured:
        """Enter what a driver finds otherwise in one capture, show each change, and count them.

        A capture that must wait is left as it is.
        """
        found = suppose(self._reader, of, make_decoder, shown=shown)
        if found.is_same or found.must_wait:
            return found
        number = self._begun()
        for window in windows(self._reader, of, make_decoder()):
            places = self._frames(of, window, number, reshaped=found.reshaped)
            for piece in _pieces(window.changes):
                self._submit(partial(self._enter, of=of, piece=piece, places=places, number=number))
        row = PourCaptureRow(
            number,
            of.number,
            int(found.reshaped),
            found.end_offset,
            found.changed,
            found.added,
            found.withdrawn,
        )
        self._submit(partial(self._say, action="capture.poured", pour_capture=[row]))
        return found

    def _begun(self) -> int:
        if self.number is None:
            self.number = self._submit(self._begin)
        return self.number

    def _begin(self, tx: Transaction) -> int:
        driver = self._driver
        known = driver_number(tx.connection, driver.name, driver.version, driver.definition_sha256)
        self._driver_number = known or self._say(tx, "driver.first_used", driver=[driver])
        scope = {name: getattr(self._scope, name) for name in PourScope.__slots__}
        row = PourRow(self._driver_number, to_text(scope), self._actor.software)
        return self._say(tx, "pour.begun", pour=[row])

    def _frames(self, of: PouredCapture, window: Window, number: int, *, reshaped: bool) -> Places:
        """Return entry and ordinal of each frame by its first byte; enter those of a capture cut anew."""
        if not reshaped:
            return {frame.offset: (frame.number, frame.ordinal) for frame in window.standing}
        places: Places = {}
        for piece in _pieces(window.frames):
            rows = [
                FrameRow(
                    ordinal, of.number, number, one.offset, one.length, one.outcome, one.reason, one.detail
                )
                for ordinal, one in enumerate(piece)
            ]
            entry = self._submit(partial(self._say, action="frames.poured", frame=rows))
            places.update({one.offset: (entry, ordinal) for ordinal, one in enumerate(piece)})
        return places

    def _enter(
        self,
        tx: Transaction,
        of: PouredCapture,
        *,
        piece: Sequence[Change],
        places: Places,
        number: int,
    ) -> None:
        for change in piece:
            row = self._row(tx.next_number, of, change, places, number)
            self._say(tx, f"reading.{change.kind.value}", reading=[row])

    def _row(
        self,
        entry: int,
        of: PouredCapture,
        change: Change,
        places: Places,
        number: int,
    ) -> ReadingRow:
        before, after = change.before, change.after
        frame = places.get(change.frame_offset)
        if frame is None and before is not None:  # its frame is no more
            frame = before.frame_number, before.frame_ordinal
        assert frame is not None  # noqa: S101 - what is added stands in a frame
        said = after if before is None else after or taken_back(before)
        assert said is not None  # noqa: S101 - a change has at least one side
        return ReadingRow(
            entry if before is None else before.reading_id,
            1 if before is None else before.version + 1,
            of.number,
            *frame,
            change.position,
            of.instrument,
            self._driver_number,
            change.at_us,
            **said._asdict(),
            pour_number=number,
        )

    def _say(self, tx: Transaction, action: str, **rows: Sequence[Row]) -> int:
        by = self._actor
        return tx.enter(
            action, at_us=by.at_us, actor=by.name, actor_kind=by.kind, reason=by.reason, rows=rows
        )

    def _submit(self, work: Callable[[Transaction], Answer]) -> Answer:
        """Wait until a piece is durable, then let others work."""
        answer = self._writer.submit(work).result()
        self._pause()
        return answer


def _pieces(items: Sequence[Item]) -> Iterator[Sequence[Item]]:
    for start in range(0, len(items), PIECE):
        yield items[start : start + PIECE]
