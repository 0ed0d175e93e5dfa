"""The event loop that the program runs in, the same kind on every system."""

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


def run(main: Coroutine[Any, Any, T]) -> T:
    """Run a coroutine to its end in a loop that watches sockets.

    The usual loop of Windows cannot tell when a socket is ready, which the client library of brokers needs;
    the one chosen here can, on every system. It starts no other programs there, and holds 512 sockets.
    """
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(main)
