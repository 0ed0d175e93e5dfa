from acquire.accounting import Account
from acquire.decoding import MOST_TICKS, decode, take_outgoing
from acquire.events import Event, FrameRead, FrameRefused, Instant, Span
from acquire.reasons import PARTIAL
from acquire.sink import Chunk, Direction
from tests.fakes.line_driver import FakeLineDrivers

SECOND_NS = 1_000_000_000


def _at(second: float) -> Instant:
    return Instant(int(second * 1_000_000), int(second * SECOND_NS))


def test_a_deadline_between_two_chunks_comes_before_the_second() -> None:
    account = Account(FakeLineDrivers(silence_ns=SECOND_NS))
    events = decode(account, (Chunk(_at(1), b"ab"), Chunk(_at(5), b"cd\n")), _at(5))
    assert events == [
        FrameRefused(Span(0, 2), PARTIAL, f"silent until {2 * SECOND_NS}"),
        FrameRead(Span(2, 3)),
    ]


def test_a_tick_bears_the_instant_at_which_it_was_due_however_late_we_come() -> None:
    def refusal(until: Instant) -> list[Event]:
        return decode(Account(FakeLineDrivers(silence_ns=SECOND_NS)), (Chunk(_at(1), b"ab"),), until)

    assert refusal(_at(2)) == refusal(_at(9))


def test_before_the_deadline_nothing_is_said() -> None:
    account = Account(FakeLineDrivers(silence_ns=SECOND_NS))
    assert decode(account, (Chunk(_at(1), b"ab"),), _at(1.9)) == []


class _Asker:
    """Asks once, and gives its answer a second from the moment at which the question was taken."""

    def __init__(self) -> None:
        self.next_deadline_ns: int | None = None
        self.ticks: list[int] = []
        self._outgoing = b"?"

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        return []

    def tick(self, at: Instant) -> list[Event]:
        self.ticks.append(at.monotonic_ns)
        self.next_deadline_ns = None if self.next_deadline_ns else at.monotonic_ns + SECOND_NS
        return []

    def to_send(self) -> bytes:
        outgoing, self._outgoing = self._outgoing, b""
        return outgoing


def test_what_is_taken_to_be_sent_is_told_the_moment() -> None:
    asker = _Asker()
    assert take_outgoing(asker, _at(3)) == (b"?", [])
    assert take_outgoing(asker, _at(4)) == (b"", [])
    assert asker.ticks == [3 * SECOND_NS]


def test_a_pour_takes_the_question_at_the_moment_at_which_it_was_sent() -> None:
    asker = _Asker()
    decode(asker, (Chunk(_at(3), b"?", Direction.SENT),), _at(9))
    assert asker.ticks == [3 * SECOND_NS, 4 * SECOND_NS]


class _NeverContent:
    next_deadline_ns = 0

    def __init__(self) -> None:
        self.ticks = 0

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        return []

    def tick(self, at: Instant) -> list[Event]:
        self.ticks += 1
        return []

    def to_send(self) -> bytes:
        return b""


def test_a_deadline_that_never_moves_does_not_hold_the_program_up() -> None:
    account = _NeverContent()
    decode(account, (), _at(1))
    assert account.ticks == MOST_TICKS
