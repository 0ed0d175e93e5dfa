"""Hold a conversation with a driver as a line does, in a time that the test moves; and pour it again."""

from acquire.accounting import Account
from acquire.decoding import decode, take_outgoing
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused, Reading
from acquire.instants import moved
from acquire.sink import Chunk, Direction
from tests.fakes.driver import AT

NS_PER_S = 1_000_000_000


class Conversation:
    """A driver on a line; the test is the instrument."""

    def __init__(self, factory: DriverFactory) -> None:
        self._factory = factory
        self._account = Account(factory)
        self._untold = 0
        self.now = AT
        self.events: list[Event] = []
        self.chunks: list[Chunk] = []
        self._turn(())

    @property
    def elapsed_s(self) -> float:
        return (self.now.monotonic_ns - AT.monotonic_ns) / NS_PER_S

    def hear(self, data: bytes, after_s: float = 0.0) -> list[bytes]:
        """Let the instrument say something, after a while; return what was sent since the last look."""
        if after_s:
            self._pass(after_s)
        self._turn((Chunk(self.now, data),))
        return self.sent()

    def wait(self, duration_s: float) -> list[bytes]:
        """Let time pass in which the instrument says nothing; return what was sent."""
        self._pass(duration_s)
        self._turn(())
        return self.sent()

    def stall(self, duration_s: float) -> list[bytes]:
        """Let time pass in which the daemon does not come round to the line."""
        self.now = moved(self.now, int(duration_s * NS_PER_S))
        self._turn(())
        return self.sent()

    def sent(self) -> list[bytes]:
        """Return what was sent since the last look."""
        sent = [chunk.data for chunk in self.chunks if chunk.direction is Direction.SENT]
        fresh, self._untold = sent[self._untold :], len(sent)
        return fresh

    def close(self) -> list[Event]:
        """End it and return all events."""
        self.events += self._account.closed(self.now)
        fault = self._account.take_fault()
        assert fault is None, fault
        return self.events

    def poured(self) -> list[Event]:
        """Return the events of a pour of what was kept."""
        account = Account(self._factory)
        return decode(account, tuple(self.chunks), self.now) + account.closed(self.now)

    @property
    def readings(self) -> list[Reading]:
        return [
            reading for event in self.events if isinstance(event, FrameRead) for reading in event.readings
        ]

    @property
    def refusals(self) -> list[str]:
        return [event.reason for event in self.events if isinstance(event, FrameRefused)]

    def _pass(self, duration_s: float) -> None:
        end = moved(self.now, int(duration_s * NS_PER_S))
        while True:
            due_ns = self._account.next_deadline_ns
            if due_ns is None or due_ns > end.monotonic_ns:
                break
            if due_ns > self.now.monotonic_ns:
                self.now = moved(self.now, due_ns - self.now.monotonic_ns)
            self._turn(())
        self.now = end

    def _turn(self, heard: tuple[Chunk, ...]) -> None:
        self.events += decode(self._account, heard, self.now)
        outgoing, more = take_outgoing(self._account, self.now)
        self.events += more
        self.chunks += heard
        if outgoing:
            self.chunks.append(Chunk(self.now, outgoing, Direction.SENT))
