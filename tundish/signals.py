"""Ask the daemon to stop by SIGTERM, SIGINT or Ctrl-Break, and to read its configuration again by SIGHUP."""

import asyncio
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType, ModuleType, SimpleNamespace


def stop_signals(known: ModuleType | SimpleNamespace = signal) -> tuple[signal.Signals, ...]:
    """Return the signals that ask to stop, of those that a system knows; SIGBREAK is Windows' Ctrl-Break."""
    names = ("SIGTERM", "SIGINT", "SIGBREAK")
    return tuple(getattr(known, name) for name in names if hasattr(known, name))


STOP_SIGNALS = stop_signals()


@contextmanager
def handled(
    stop: Callable[[], None],
    reload: Callable[[], None],
    stopping: tuple[signal.Signals, ...] = STOP_SIGNALS,
) -> Iterator[None]:
    """Call `stop` and `reload` in the running loop when the signals come; put the old handlers back after."""
    loop = asyncio.get_running_loop()
    calls = dict.fromkeys(stopping, stop)
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
