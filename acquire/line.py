"""One line from its start to its stop: open, hear, lose, wait, open again.

This is the fault boundary of a line. What a cable, a port or an instrument does is answered here; what never
becomes a port, or an error of the program, ends this line loudly, and no other.
"""

import asyncio
from typing import Final

from acquire.backoff import Backoff
from acquire.chunks import gather
from acquire.clock import NS_PER_S, Clock, now, within
from acquire.doctor.evidence import Signals
from acquire.errors import NoPortError, PortUnavailableError, TransportError
from acquire.events import Instant
from acquire.keeping import TOOK_NO_MORE, Keeper
from acquire.line_record import LineRecord
from acquire.line_state import Condition
from acquire.lines.transport import Backlog, Batch, End, Opened, ShowsSignals, Transport
from acquire.sink import Ending

ANSWER_LIMIT_NS: Final = 5 * NS_PER_S  # [ns] instruments wait 10 s or more, then begin anew
MIN_WAIT_NS: Final = 1_000_000  # [ns] a driver whose deadline never moves must not keep the loop busy


class Line:
    """Runs one transport and one keeper until it is stopped, its file ends, or it fails."""

    def __init__(
        self, transport: Transport, keeper: Keeper, record: LineRecord, clock: Clock, backoff: Backoff
    ) -> None:
        self._transport = transport
        self._keeper = keeper
        self._record = record
        self._clock = clock
        self._backoff = backoff
        self._stopping = asyncio.Event()
        self._keeping_since: Instant | None = None  # when the first of what is being kept came
        self._attempts = 0  # since it was last open
        self._lost_at: Instant | None = None  # when it was last open, or should first have been

    @property
    def last_round_ns(self) -> int | None:
        """Monotonic time at which the reader thread last came round; None while there is none. [ns]"""
        return self._transport.last_round_ns

    @property
    def backlog(self) -> Backlog:
        """What was read and is not kept yet, because the store is slow or cannot be written."""
        return self._transport.backlog

    def signals(self) -> Signals | None:
        """Return the control lines of the port, where it has any. From any thread; may take a while."""
        return self._transport.signals() if isinstance(self._transport, ShowsSignals) else None

    @property
    def unkept_since(self) -> Instant | None:
        """When the first of what came and is not known to be kept came; None if everything is."""
        moments = (self._keeper.unkept_since, self._keeping_since, self._transport.backlog.since)
        return min((at for at in moments if at), key=lambda at: at.monotonic_ns, default=None)

    def stop(self) -> None:
        """Begin to end: what was read is still kept, half frames come out as refused."""
        self._stopping.set()
        self._transport.stop()

    async def run(self) -> None:
        """Hear until the end. Raises nothing but cancellation; see the state for how it ended."""
        try:
            end = await self._hear_until_the_end()
            await self._keeper.settle()
            self._record.say("info", "line.stopped", why=end.why)
            self._record.enter(Condition.STOPPED, now(self._clock), end.why)
        except NoPortError as error:
            self._fail(str(error))
        except Exception as error:
            self._fail(f"{type(error).__name__}: {error}", exc_info=error)
        finally:
            await self._transport.close()

    def _fail(self, why: str, **keys: object) -> None:
        self._record.say("error", "line.failed", why=why, **keys)
        self._record.enter(Condition.FAILED, now(self._clock), why)

    async def _hear_until_the_end(self) -> End:
        while not self._stopping.is_set():
            opened = await self._open()
            if opened is not None:
                end = await self._hear(opened)
                if end.ending is not Ending.LOST:
                    return end
                self._lost(end)
            await self._pause()
        return End(Ending.STOPPED, "the line was stopped", now(self._clock))

    async def _open(self) -> Opened | None:
        at = now(self._clock)
        if self._record.state.state is not Condition.WAITING:
            self._record.enter(Condition.OPENING, at)
        try:
            return await self._transport.open()
        except PortUnavailableError as error:
            await self._transport.close()
            if not self._stopping.is_set():
                self._unavailable(at, str(error))
            return None
        except NoPortError:
            await self._keeper.settle()
            raise

    async def _hear(self, opened: Opened) -> End:
        """Hear from one opening to its end; the capture is closed whatever happens."""
        try:
            self._came(opened)
            end = await self._turns(await self._send(await self._begin(opened)))
        except Exception as error:
            await self._keeper.finish(End(Ending.LOST, f"an error of the program: {error}", now(self._clock)))
            raise
        finally:
            await self._transport.close()
        await self._keeper.finish(end)
        self._backoff.was_open(end.at.monotonic_ns - opened.at.monotonic_ns)
        return end

    async def _begin(self, opened: Opened) -> bytes:
        """Begin a capture, or be ready for those that follow; return what the driver wants to send first."""
        if not opened.captures_follow:
            return await self._keeper.begin(opened, may_send=self._transport.takes_bytes)
        self._keeper.rest()
        await self._keeper.settle()
        return b""

    async def _turns(self, refusal: End | None) -> End:
        """Take turns until nothing more comes; after a refused sending, until all that was read is kept."""
        while True:
            await self._something_or_deadline()
            batch = self._transport.take()
            if batch.begins is not None:
                await self._keeper.begin(batch.begins, may_send=False)
            may_send = self._transport.takes_bytes and refusal is None and not _broken_off(batch)
            at = now(self._clock)
            self._keeping_since = batch.pieces[0].at if batch.pieces else None
            outgoing = await self._keeper.keep(gather(batch.pieces), at, may_send=may_send)
            if batch.overflow_bytes:
                last = batch.pieces[-1].at if batch.pieces else now(self._clock)
                await self._keeper.overflowed(batch.overflow_bytes, last)
            self._keeping_since = None
            if batch.closes is not None:
                await self._keeper.finish(batch.closes)
                self._keeper.rest()
            if self._keeper.is_full and self._transport.comes_again:
                return End(Ending.LOST, TOOK_NO_MORE, now(self._clock))
            self._transport.kept()
            if batch.end is not None:
                return refusal or batch.end
            refusal = refusal or self._too_late(outgoing, at) or await self._send(outgoing)

    async def _something_or_deadline(self) -> None:
        """Wait for the next turn; what comes while a turn is being kept gathers for the one after."""
        deadline_ns = self._keeper.next_deadline_ns
        if deadline_ns is None:
            await self._transport.wait()
        else:
            wait_ns = max(deadline_ns - self._clock.monotonic_ns(), MIN_WAIT_NS)
            await within(self._clock, self._transport.wait(), wait_ns / NS_PER_S)

    def _too_late(self, data: bytes, at: Instant) -> End | None:
        """Begin to end if keeping took so long that an answer would be taken for that to a later question."""
        late_ns = self._clock.monotonic_ns() - at.monotonic_ns
        if not data or late_ns <= ANSWER_LIMIT_NS:
            return None
        self._transport.stop()
        why = (
            f"the store took {late_ns / NS_PER_S:.1f} s, too long to answer; the instrument is left to repeat"
        )
        return End(Ending.LOST, why, now(self._clock))

    async def _send(self, data: bytes) -> End | None:
        """Send; if the wire does not take it, begin to end and say why."""
        if not data:
            return None
        try:
            await self._transport.send(data)
        except TransportError as error:
            self._transport.stop()
            return End(Ending.LOST, str(error), now(self._clock))
        return None

    async def _pause(self) -> None:
        if not self._stopping.is_set():
            await within(self._clock, self._stopping.wait(), self._backoff.next_s())

    def _came(self, opened: Opened) -> None:
        keys = {"device": opened.device, "settings": opened.settings}
        if self._lost_at is None:
            self._record.say("info", "line.opened", **keys)
        else:
            waited_ns = opened.at.monotonic_ns - self._lost_at.monotonic_ns
            self._record.say(
                "info", "line.recovered", attempts=self._attempts, waited_s=waited_ns / NS_PER_S, **keys
            )
        self._attempts, self._lost_at = 0, None
        self._record.enter(Condition.OPEN, opened.at, device=opened.device)

    def _lost(self, end: End) -> None:
        self._record.say("warning", "line.lost", why=end.why)
        self._wait_since(end.at, end.why)

    def _unavailable(self, at: Instant, why: str) -> None:
        self._attempts += 1
        if why != self._record.state.why:
            self._record.say("warning", "line.unavailable", why=why, attempts=self._attempts)
        self._wait_since(at, why)

    def _wait_since(self, at: Instant, why: str) -> None:
        self._lost_at = self._lost_at or at
        self._keeper.not_heard(at, why)
        self._record.enter(Condition.WAITING, at, why)


def _broken_off(batch: Batch) -> bool:
    """Tell whether an answer to these bytes would have nobody to listen, or a hole before it."""
    return batch.end is not None or batch.overflow_bytes > 0
