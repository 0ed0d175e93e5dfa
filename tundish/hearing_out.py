"""Hear a line out for the learner: find the settings by listening, then gather what comes."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Final

from acquire.clock import SystemClock
from acquire.config import SerialSettings, SerialSource
from acquire.learning.learn import MOST_BYTES
from acquire.learning.wire import Hearing, Judgement, judge, settings_of, settings_to_try
from acquire.lines.build import transport_for
from acquire.lines.serial_line import SerialLine
from acquire.lines.transport import Transport
from tundish.listening import aside
from tundish.screen import Say
from tundish.wiring import LinePlan

TRIAL_S: Final = 6.0
"""How long each speed is listened to before the next is tried; some meters send every five seconds. [s]"""
FOR_S: Final = 60.0
"""How long the line is listened to if nobody says it. [s]"""

Gather = Callable[[SerialSettings, float], Awaitable[bytes]]
"""Returns what a port says at some settings within some seconds. [s]"""


@dataclass(frozen=True, slots=True)
class HeardOut:
    """What came over a port, and the settings that it should have."""

    data: bytes
    settings: SerialSettings
    judgement: Judgement


async def hear_out(first: SerialSettings, gather: Gather, for_s: float, say: Say) -> HeardOut:
    """Find the settings of a port by listening, and return what it then says.

    Parameters
    ----------
    first : SerialSettings
        At which to listen first.
    gather : Gather
        Listens.
    for_s : float
        How long to listen once the settings are found, or if they never are. [s]
    say : callable
        Takes a line for a person.
    """
    trial_s = min(TRIAL_S, for_s)
    found = first
    data = b""
    for settings in settings_to_try(first):
        data = await gather(settings, trial_s)
        judgement = judge(data)
        say(f"at {settings}: {judgement.because}")
        found = settings
        if judgement.hearing is not Hearing.WRONG:
            break
    else:
        say("no speed gives text; the instrument may not send text at all")
        found = next(settings_to_try(first))
        data = b""
    data += await gather(found, for_s)
    judgement = judge(data)
    settings = settings_of(found, judgement.hearing)
    say(f"heard {len(data)} bytes; the settings look like {settings}: {judgement.because}")
    return HeardOut(data, settings, judgement)


def listener_of(source: SerialSource) -> Gather:
    """Return what listens at a serial port."""

    async def gather(settings: SerialSettings, for_s: float) -> bytes:
        return await gathered(SerialLine(SerialSource(source.port, settings), SystemClock()), for_s)

    return gather


async def hear_line_out(plan: LinePlan, for_s: float) -> bytes:
    """Return what a line of another kind says within some seconds, its capture file or its broker. [s]"""
    clock = SystemClock()
    return await gathered(transport_for(aside(plan.settings), plan.factory, clock), for_s)


async def gathered(transport: Transport, for_s: float) -> bytes:
    """Return what a line says within some seconds, at most as much as the learner looks at. [s]

    Raises
    ------
    TransportError
        If it cannot be opened.
    """
    await transport.open()
    data = bytearray()
    try:
        async with asyncio.timeout(for_s):
            while len(data) < MOST_BYTES:
                await transport.wait()
                batch = transport.take()
                data += b"".join(piece.data for piece in batch.pieces)
                if batch.end is not None:
                    break
    except TimeoutError:
        pass
    finally:
        transport.stop()
        await transport.close()
    return bytes(data)
