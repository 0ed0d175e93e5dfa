"""Hearing a port out: its settings are found by listening."""

from pathlib import Path

import pytest

from acquire.config import CaptureFileSource, LineSettings, SerialSettings
from acquire.errors import PortAbsentError
from acquire.learning.wire import Hearing
from acquire.registry import DriverRegistry
from tests.fakes.uart import Parity, receive, transmit
from tundish.hearing_out import hear_line_out, hear_out
from tundish.wiring import LinePlan

ROWS = b"".join(b"<%04d> turb: %2d.%d3NTU\r\n" % (row, row % 30, row % 10) for row in range(12))


class Instrument:
    """Sends at one speed to a port that listens at any."""

    def __init__(self, baud: int, data_bits: int = 8, parity: Parity = "none") -> None:
        self.heard_at: list[str] = []
        self._baud = baud
        self._levels = transmit(ROWS, data_bits=data_bits, parity=parity)

    async def gather(self, settings: SerialSettings, for_s: float) -> bytes:
        self.heard_at.append(str(settings))
        return receive(self._levels, speed=settings.baud / self._baud)


async def test_the_first_settings_are_kept_if_text_comes() -> None:
    instrument = Instrument(9600)
    heard = await hear_out(SerialSettings(), instrument.gather, 1.0, lambda _: None)
    assert instrument.heard_at == ["9600 8N1", "9600 8N1"]
    assert (str(heard.settings), heard.judgement.hearing) == ("9600 8N1", Hearing.TEXT)
    assert heard.data == ROWS[:-2] * 2 or ROWS[:40] in heard.data


async def test_the_speed_is_found_and_what_came_at_others_is_left_out() -> None:
    instrument = Instrument(4800)
    said: list[str] = []
    heard = await hear_out(SerialSettings(baud=9600), instrument.gather, 1.0, said.append)
    assert instrument.heard_at[:2] == ["9600 8N1", "4800 8N1"]
    assert heard.settings == SerialSettings(baud=4800)
    assert heard.data.count(b"\xff") == 0
    assert any("no text" in line for line in said)


async def test_seven_bits_even_parity_are_found() -> None:
    instrument = Instrument(2400, data_bits=7, parity="even")
    heard = await hear_out(SerialSettings(baud=2400), instrument.gather, 1.0, lambda _: None)
    assert str(heard.settings) == "2400 7E1"


async def test_a_silent_port_keeps_its_settings() -> None:
    async def gather(_settings: SerialSettings, _for_s: float) -> bytes:
        return b""

    heard = await hear_out(SerialSettings(baud=1200), gather, 0.0, lambda _: None)
    assert (heard.data, heard.settings, heard.judgement.hearing) == (
        b"",
        SerialSettings(baud=1200),
        Hearing.TOO_LITTLE,
    )


async def test_bytes_that_are_text_at_no_speed_are_heard_at_the_first() -> None:
    async def gather(_settings: SerialSettings, _for_s: float) -> bytes:
        return bytes(range(128, 256)) * 2

    said: list[str] = []
    heard = await hear_out(SerialSettings(), gather, 0.0, said.append)
    assert heard.settings == SerialSettings()
    assert len(heard.data) == 256
    assert any("may not send text at all" in line for line in said)


async def test_a_line_of_another_kind_is_heard_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "monday.bin"
    path.write_bytes(ROWS)
    plan = LinePlan(
        LineSettings("turb", "turb-1", CaptureFileSource(path)), DriverRegistry([]).factory("load-lines")
    )
    assert await hear_line_out(plan, 10.0) == ROWS


async def test_an_absent_port_is_one_clear_error(tmp_path: Path) -> None:
    from acquire.config import DevicePath, SerialSource
    from tundish.hearing_out import listener_of

    gather = listener_of(SerialSource(DevicePath(str(tmp_path / "ttyX"))))
    with pytest.raises(PortAbsentError):
        await gather(SerialSettings(), 0.1)
