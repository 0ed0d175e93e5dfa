"""One line of the bench: an instrument, its port, the faults between them, and the key that is kept of it."""

from collections import deque
from typing import Final

from simulators.clock import Clock
from simulators.faults import AILMENTS, Fault, FaultBox
from simulators.instrument import Ailing, Answers, Instrument, Manner, Message
from simulators.ports import Port
from simulators.wirelog import Kind, Meaning, WireLog

XOFF, XON = b"\x13", b"\x11"
GRACE_S: Final = 0.2  # [s], a reader that has just opened a port throws away what lies in it
PENDING_BYTES: Final = (
    65_536  # [bytes], what an instrument's own output buffer holds before it drops messages
)


class Channel:
    """Let an instrument work and put what it says on its port."""

    def __init__(
        self, instrument: Instrument, port: Port, clock: Clock, log: WireLog, faults: FaultBox
    ) -> None:
        self.instrument = instrument
        self.port = port
        self._clock = clock
        self._log = log
        self._faults = faults
        self._pending: deque[Message] = deque()
        self._pending_bytes = 0
        self._heard_since_s: float | None = None
        self._work_start_s: float | None = None if instrument.manner is Manner.WAITS_ONCE else 0.0

    @property
    def wants_to_put(self) -> bool:
        """Whether bytes wait for the port to have room."""
        return bool(self._pending)

    @property
    def is_done(self) -> bool:
        """Whether the instrument has said all it will ever say, and all of it is on the line."""
        return not self._pending and self.instrument.next_due_s == float("inf")

    @property
    def is_heard(self) -> bool:
        """Whether a reader had the port open at the last turn."""
        return self._heard_since_s is not None

    def next_wall_s(self) -> float:
        """Return the wall time of the next thing to do; infinite if only the reader can bring it. [s]"""
        return min(self._faults.next_change_s, self._next_message_wall_s())

    def turn(self) -> None:
        """Do all that is due: faults, the reader's coming and going, the instrument's work, the bytes."""
        self._turn_faults()
        if data := self.port.take():
            self._write("received", data)
        self._notice_listener()
        if data:
            self._hear(data)
        if self._next_message_wall_s() <= self._clock.wall_s():
            self._say(self.instrument.advance(self._work_s()))
        self._flush()

    def strike(self, name: str, duration_s: float | None) -> None:
        """Switch a fault on now; raise `ValueError` if the instrument cannot have it. [s]"""
        check_ailment(self.instrument, name)
        self._faults.add(Fault(name, self._clock.wall_s(), duration_s))

    def press(self, words: list[str]) -> None:
        """Press a button of the instrument; raise `ValueError` if it has no such."""
        self._say(self.instrument.command(words))

    def close(self) -> None:
        """Write down what never left, and remove the port."""
        self._drop_pending("switched off")
        self.port.close()

    def _work_s(self) -> float:
        return self._clock.work_s() - (self._work_start_s or 0.0)

    def _next_message_wall_s(self) -> float:
        ready_s = self._ready_wall_s()
        if self.instrument.manner is Manner.FOLLOWS_READER and self._pending:
            return float("inf")
        if self._work_start_s is None:
            return ready_s
        due_s = (self._work_start_s + self.instrument.next_due_s) / self._clock.speed
        return max(due_s, ready_s) if self.instrument.manner is Manner.FOLLOWS_READER else due_s

    def _ready_wall_s(self) -> float:
        return float("inf") if self._heard_since_s is None else self._heard_since_s + GRACE_S

    def _notice_listener(self) -> None:
        heard = self.port.is_heard()
        now_s = self._clock.wall_s()
        if heard is not self.is_heard:
            self._heard_since_s = now_s if heard else None
            self._write("line", meaning={"listener": "came" if heard else "went"})
        if self._work_start_s is None and now_s >= self._ready_wall_s():
            self._work_start_s = self._clock.work_s()

    def _turn_faults(self) -> None:
        began, ended = self._faults.turn(self._clock.wall_s())
        for fault in began:
            self._write("fault", meaning={"fault": fault.name, "state": "began"})
            if fault.name == "cut_cable":
                self.port.cut()
            self._suffer(fault.name, begins=True)
        for fault in ended:
            self._write("fault", meaning={"fault": fault.name, "state": "ended"})
            self._suffer(fault.name, begins=False)
        if ended and not self._faults.is_on("cut_cable"):
            self.port.mend()
        if any(fault.name == "power_blip" for fault in ended):
            self._say(self.instrument.restart())

    def _suffer(self, name: str, *, begins: bool) -> None:
        if name == "hold_up":
            self._say([Message(XOFF if begins else XON, {"kind": "flow"})])
        elif name in AILMENTS and isinstance(self.instrument, Ailing) and name in self.instrument.ailments:
            self._say(self.instrument.suffer(name, begins=begins))

    def _hear(self, data: bytes) -> None:
        """Hand the instrument what its reader sent; a reader that speaks has cleared its port already."""
        if self._faults.is_on("cut_cable", "power_blip"):
            return
        if self._faults.is_on("echo"):
            self._say([Message(data, {"kind": "echo"})], asked=True)
        if isinstance(self.instrument, Answers):
            self._say(self.instrument.hear(data, self._work_s()), asked=True)

    def _say(self, messages: list[Message], *, asked: bool = False) -> None:
        for spoken in messages:
            if why := self._deaf(asked=asked):
                self._write("unheard", spoken.data, {**spoken.meaning, "why": why})
                continue
            message = self._faults.mangle(spoken)
            self._pending.append(message)
            self._pending_bytes += len(message.data)

    def _deaf(self, *, asked: bool) -> str:
        """Say why a message cannot reach the port; empty if it can."""
        for name in ("cut_cable", "silence", "power_blip"):
            if self._faults.is_on(name):
                return name
        if self._clock.wall_s() < self._ready_wall_s() and not (asked and self.is_heard):
            return "nobody listens"
        return "reader too slow" if self._pending_bytes > PENDING_BYTES else ""

    def _flush(self) -> None:
        if not self.is_heard:
            self._drop_pending("nobody listens")
        while self._pending:
            message = self._pending.popleft()
            at_us = self._clock.utc_us()
            count = self.port.put(message.data)
            self._pending_bytes -= count
            if count:
                self._log.write(at_us, self.instrument.name, "put", message.data[:count], message.meaning)
            if count < len(message.data):
                meaning = {**message.meaning, "continued": True} if count else message.meaning
                self._pending.appendleft(Message(message.data[count:], meaning))
                return

    def _drop_pending(self, why: str) -> None:
        while self._pending:
            message = self._pending.popleft()
            self._write("unheard", message.data, {**message.meaning, "why": why})
        self._pending_bytes = 0

    def _write(self, kind: Kind, data: bytes = b"", meaning: Meaning | None = None) -> None:
        self._log.write(self._clock.utc_us(), self.instrument.name, kind, data, meaning)


def check_ailment(instrument: Instrument, name: str) -> None:
    """Raise `ValueError` if a fault is one of instruments, and this one cannot have it."""
    if name not in AILMENTS:
        return
    possible = instrument.ailments if isinstance(instrument, Ailing) else frozenset()
    if name not in possible:
        listed = ", ".join(sorted(possible)) or "none"
        raise ValueError(f"fault {name}: {instrument.name} cannot have it; of its own it can have: {listed}")
