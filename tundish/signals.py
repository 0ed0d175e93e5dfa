"""Ask the daemon to stop by SIGTERM, SIGINT or Ctrl-Break, and to read its configuration again by SIGHUP."""

import asyncio
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

STOP_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGINT", "SIGBREAK") if hasattr(signal, name)
)


@contextmanager
def handled(stop: Callable[[], None], reload: Callable[[], None]) -> Iterator[None]:
    """Call `stop` and `reload` in the running loop when the signals come; put the old handlers back after."""
    loop = asyncio.get_running_loop()
    calls = dict.fromkeys(STOP_SIGNALS, stop)
    if hasattr(signal, "SIGHUP"):
        calls[signal.SIGHUP] = reload

    def in_loop(number: int, _frame: FrameType | None) -> None:
        loop.call_soon_threadsafe(calls[signal.Signals(number)])

    # signal.signal rather than loop.add_signal_handler: the one way that every system has.
    before = {number: signal.signal(number, in_loop) for number in calls}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
