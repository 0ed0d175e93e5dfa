"""A port on the network (RFC 2217): what a line asks of it, and what comes through it."""

import asyncio

import pytest

from acquire.clock import SystemClock
from acquire.config import FlowControl, Parity, PortUrl, SerialSettings, SerialSource
from acquire.doctor.evidence import Signals
from acquire.errors import PortUnavailableError
from acquire.lines.serial_line import SerialLine
from acquire.lines.transport import Batch
from acquire.sink import Ending
from tests.fakes.rfc2217 import AskedFor, NetworkPort, network_port

PATIENCE_S = 15.0  # [s] a test that waits longer has failed
# The library names its reader thread by a call that the language would like to see gone.
pytestmark = pytest.mark.filterwarnings(
    "ignore:setDaemon:DeprecationWarning", "ignore:setName:DeprecationWarning"
)

SETTINGS = [
    (SerialSettings(), AskedFor(9600, 8, "none", 1.0, "none", dtr=True, rts=True)),
    (
        SerialSettings(1200, 7, Parity.EVEN, 1),
        AskedFor(1200, 7, "even", 1.0, "none", dtr=True, rts=True),
    ),
    (
        SerialSettings(300, 7, Parity.ODD, 2, FlowControl.XON_XOFF),
        AskedFor(300, 7, "odd", 2.0, "xon_xoff", dtr=True, rts=True),
    ),
    (
        SerialSettings(115_200, 8, Parity.MARK, 1, FlowControl.RTS_CTS),
        AskedFor(115_200, 8, "mark", 1.0, "rts_cts", dtr=True, rts=None),
    ),
    (SerialSettings(4800, 5, Parity.SPACE, 1.5), AskedFor(4800, 5, "space", 1.5, "none", dtr=True, rts=True)),
]


def _line(port: NetworkPort, settings: SerialSettings | None = None) -> SerialLine:
    return SerialLine(
        SerialSource(PortUrl(port.url), settings or SerialSettings()), SystemClock(), ports=list
    )


async def _next(line: SerialLine) -> Batch:
    async with asyncio.timeout(PATIENCE_S):
        await line.wait()
    return line.take()


async def _read(line: SerialLine, size: int) -> bytes:
    data = b""
    while len(data) < size:
        data += b"".join(piece.data for piece in (await _next(line)).pieces)
    return data


@pytest.mark.parametrize(("settings", "wanted"), SETTINGS, ids=lambda one: str(one)[:20])
async def test_a_line_asks_for_just_the_settings_that_are_configured(
    settings: SerialSettings, wanted: AskedFor
) -> None:
    with network_port() as port:
        line = _line(port, settings)
        opened = await line.open()
        await line.close()
        assert port.asked_for == wanted
        assert (opened.device, opened.settings) == (port.url, str(settings))


async def test_every_byte_comes_through_in_both_directions() -> None:
    every = bytes(range(256)) * 4
    with network_port() as port:
        line = _line(port)
        await line.open()
        port.say(every)
        assert await _read(line, len(every)) == every
        await line.send(every)
        port.say(b"heard")
        assert await _read(line, 5) == b"heard"
        await line.close()
        assert bytes(port.heard) == every


async def test_the_control_lines_that_the_port_tells_are_shown() -> None:
    with network_port() as port:
        line = _line(port)
        await line.open()
        assert line.signals() is None  # the port has not told them yet
        port.tell_control_lines(cts=True, dsr=False, ri=False, cd=True)
        port.say(b"x")
        assert await _read(line, 1) == b"x"
        assert line.signals() == Signals(cts=True, dsr=False, ri=False, cd=True)
        await line.close()


async def test_a_connection_that_is_cut_is_a_lost_line_that_can_be_opened_again() -> None:
    with network_port() as port:
        line = _line(port)
        await line.open()
        port.say(b"28.5\r\n")
        assert await _read(line, 6) == b"28.5\r\n"
        port.cut()
        end = None
        while end is None:
            end = (await _next(line)).end
        assert end.ending is Ending.LOST
        await line.close()
        again = _line(port)
        await again.open()
        port.say(b"28.6\r\n")
        assert await _read(again, 6) == b"28.6\r\n"
        await again.close()
        assert port.connections == 2


@pytest.mark.parametrize("fault", [{"grants_baud": False}, {"speaks_rfc2217": False}])
async def test_a_port_that_does_not_grant_the_settings_is_told_in_words(fault: dict[str, bool]) -> None:
    with network_port(**fault) as port:
        line = _line(port, SerialSettings(1200))
        with pytest.raises(PortUnavailableError, match="rfc2217"):
            await line.open()
        await line.close()
