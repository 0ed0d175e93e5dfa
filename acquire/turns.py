"""Where the turns of a driver run, so that a slow one holds up its own line and no other.

A turn is what a driver does with the bytes of one moment. On the event loop, where every line takes its turn,
a quick one costs least. A driver that was not quick runs in a thread beside the loop, until it has been quick
for a while; so does each at first, since nobody knows it yet.
"""

import asyncio
import contextlib
import sys
import threading
import time
from collections.abc import Callable
from typing import Final, Protocol, TypeVar

T = TypeVar("T")

QUICK_WORK_NS: Final = 5_000_000  # [ns] of processor time; more holds the other lines up
QUICK_WAIT_NS: Final = 50_000_000  # [ns] from begin to end; a driver that sleeps or waits works little
QUICK_IN_A_ROW: Final = 16  # turns after which a driver is known to be quick
GIVE_WAY_S: Final = 0.000_02
"""How long a thread keeps the interpreter while others want it, as long as a turn runs in one: a message
passes through several threads until it is kept, and each waits so long for a driver that works. [s]"""


class Turns(Protocol):
    """Takes the turns of one line, one after the other."""

    async def take(self, work: Callable[[], T]) -> T:
        """Return what the work returns; raise what it raises."""


class _GivingWay:
    """Makes threads give way sooner while there are turns that want it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._turns = 0
        self._usual_s = 0.0

    def __enter__(self) -> None:
        with self._lock:
            if self._turns == 0:
                self._usual_s = sys.getswitchinterval()
                sys.setswitchinterval(GIVE_WAY_S)
            self._turns += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._turns -= 1
            if self._turns == 0:
                sys.setswitchinterval(self._usual_s)


_giving_way: Final = _GivingWay()


class OnTheLoop:
    """Takes every turn where it is called."""

    async def take(self, work: Callable[[], T]) -> T:
        """Return what the work returns."""
        return work()


class ApartWhileSlow:
    """Takes turns on the loop while they are quick, and in a thread of their own otherwise."""

    def __init__(self) -> None:
        self._quick_in_a_row = 0

    @property
    def is_apart(self) -> bool:
        """Whether the next turn runs in a thread."""
        return self._quick_in_a_row < QUICK_IN_A_ROW

    async def take(self, work: Callable[[], T]) -> T:
        """Return what the work returns; other lines go on meanwhile if it is not known to be quick."""
        return await _apart(lambda: self._timed(work)) if self.is_apart else self._timed(work)

    def _timed(self, work: Callable[[], T]) -> T:
        began_ns, worked_ns = time.perf_counter_ns(), time.thread_time_ns()
        try:
            return work()
        finally:
            worked_ns = time.thread_time_ns() - worked_ns
            waited_ns = time.perf_counter_ns() - began_ns
            is_quick = worked_ns <= QUICK_WORK_NS and waited_ns <= QUICK_WAIT_NS
            self._quick_in_a_row = self._quick_in_a_row + 1 if is_quick else 0


async def _apart(work: Callable[[], T]) -> T:
    """Do work in a thread that lives as long as the work; whoever gives up waiting does not end it."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[T] = loop.create_future()

    def run() -> None:
        try:
            with _giving_way:
                result = work()
        except BaseException as error:
            tell(answer.set_exception, error)
        else:
            tell(answer.set_result, result)

    def tell(settle: Callable[..., None], value: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
            loop.call_soon_threadsafe(lambda: None if answer.done() else settle(value))

    threading.Thread(target=run, name="driver", daemon=True).start()
    return await answer
