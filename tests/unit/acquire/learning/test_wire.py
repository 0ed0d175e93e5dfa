"""Settings of a line, judged from what comes over it."""

import pytest

from acquire.config import Parity, SerialSettings
from acquire.learning.wire import ENOUGH_BYTES, Hearing, judge, settings_of, settings_to_try
from tests.fakes.uart import receive, transmit

ROWS = b"".join(b"W-10%02d;%d.%d mg/L\r\n" % (row, row, row % 10) for row in range(20))


def test_text_is_heard_at_the_right_settings() -> None:
    assert judge(receive(transmit(ROWS))).hearing is Hearing.TEXT


@pytest.mark.parametrize(("parity", "hearing"), [("even", Hearing.SEVEN_EVEN), ("odd", Hearing.SEVEN_ODD)])
def test_seven_bits_with_parity_are_heard_through_eight(parity: str, hearing: Hearing) -> None:
    heard = receive(transmit(ROWS, data_bits=7, parity=parity))  # type: ignore[arg-type]
    assert judge(heard).hearing is hearing


@pytest.mark.parametrize("speed", [0.25, 0.5, 2.0, 4.0, 8.0])
def test_the_wrong_speed_is_heard(speed: float) -> None:
    assert judge(receive(transmit(ROWS), speed=speed)).hearing is Hearing.WRONG


@pytest.mark.parametrize("data", [b"", ROWS[: ENOUGH_BYTES - 1]])
def test_few_bytes_say_nothing(data: bytes) -> None:
    assert judge(data).hearing is Hearing.TOO_LITTLE


def test_two_bytes_a_character_are_text() -> None:
    assert judge(ROWS.decode().encode("utf-16-le")).hearing is Hearing.TEXT


def test_other_speeds_are_tried_once_each_with_eight_bits() -> None:
    first = SerialSettings(baud=4800, data_bits=7, parity=Parity.EVEN, stop_bits=2)
    tried = list(settings_to_try(first))
    assert tried[0] == SerialSettings(baud=4800, stop_bits=2)
    assert len({one.baud for one in tried}) == len(tried) == 8
    assert all((one.data_bits, one.parity) == (8, Parity.NONE) for one in tried)


def test_the_settings_follow_from_what_was_heard() -> None:
    at = SerialSettings(baud=4800)
    assert str(settings_of(at, Hearing.SEVEN_EVEN)) == "4800 7E1"
    assert str(settings_of(at, Hearing.SEVEN_ODD)) == "4800 7O1"
    assert settings_of(at, Hearing.TEXT) == at
