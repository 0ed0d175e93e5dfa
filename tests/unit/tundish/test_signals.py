"""Signals become calls in the loop."""

import asyncio
import signal
from types import SimpleNamespace

import pytest

from tundish.signals import STOP_SIGNALS, handled, stop_signals


@pytest.mark.parametrize("number", STOP_SIGNALS)
async def test_each_stop_signal_asks_to_stop(number: signal.Signals) -> None:
    stopped = asyncio.Event()
    with handled(stopped.set, lambda: None):
        signal.raise_signal(number)
        await asyncio.wait_for(stopped.wait(), 5)


@pytest.mark.needs("hangup signal")
async def test_ctrl_break_asks_to_stop_where_a_system_has_it() -> None:
    windows = SimpleNamespace(
        SIGTERM=signal.SIGTERM,
        SIGINT=signal.SIGINT,
        SIGBREAK=signal.SIGUSR1,  # this system has no Ctrl-Break; another signal takes its way
    )
    stopped = asyncio.Event()
    with handled(stopped.set, lambda: None, stop_signals(windows)):
        signal.raise_signal(windows.SIGBREAK)
        await asyncio.wait_for(stopped.wait(), 5)


@pytest.mark.needs("hangup signal")
async def test_a_hangup_asks_to_read_the_configuration_again() -> None:
    asked = asyncio.Event()
    with handled(lambda: None, asked.set):
        signal.raise_signal(signal.SIGHUP)
        await asyncio.wait_for(asked.wait(), 5)


async def test_the_old_handlers_are_put_back() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with handled(lambda: None, lambda: None):
        assert signal.getsignal(signal.SIGTERM) is not before
    assert signal.getsignal(signal.SIGTERM) is before
