"""Hear one line without a store: every piece is shown, then what the driver makes of it."""

import asyncio
from collections.abc import Callable

from acquire.accounting import Account
from acquire.clock import SystemClock, now
from acquire.events import Event
from acquire.lines.build import transport_for
from acquire.pour import event_as_json
from tundish.commands.listen import hex_rows
from tundish.commands.pour import in_words
from tundish.wiring import LinePlan

Say = Callable[[str], object]
NOTHING_HEARD = "nothing heard: is it switched on, and does it perhaps answer only when asked?"


async def listen(plan: LinePlan, for_s: float | None, say: Say) -> None:
    """Show what comes until the line ends, or for a time. [s]

    Raises
    ------
    PortUnavailableError, NoPortError
        If the line cannot be opened.
    """
    clock = SystemClock()
    transport = transport_for(plan.settings, plan.factory, clock)
    opened = await transport.open()
    say(f"{opened.device} {opened.settings}".rstrip())
    account = Account(plan.factory)
    try:
        async with asyncio.timeout(for_s):
            while True:
                await transport.wait()
                batch = transport.take()
                for piece in batch.pieces:
                    _show(account, piece.data, say)
                    _tell(account.receive(piece.data, piece.at), say)
                if batch.end is not None:
                    say(f"the line ended: {batch.end.why}")
                    break
    except TimeoutError:
        say(f"{for_s:g} seconds are over")
    finally:
        await transport.close()
    _tell(account.closed(now(clock)), say)
    say(f"{account.heard_bytes} bytes heard" if account.heard_bytes else NOTHING_HEARD)


def _show(account: Account, data: bytes, say: Say) -> None:
    for row in hex_rows(data, account.heard_bytes):
        say(row)


def _tell(events: list[Event], say: Say) -> None:
    for event in events:
        say("          " + in_words(event_as_json(event)))
