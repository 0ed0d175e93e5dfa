import contextlib
import os
import sys
import time
from collections.abc import Iterator

import pytest
import serial

from acquire.clock import SystemClock
from acquire.lines.arrivals import TAKE_BYTES, Listen, listening
from acquire.lines.transport import Piece

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="needs pseudo-terminals read directly")


@pytest.fixture
def wire() -> Iterator[tuple[int, serial.Serial]]:
    """The instrument's end of a pseudo-terminal, and the port at the other."""
    master, slave = os.openpty()
    with serial.Serial(os.ttyname(slave), timeout=0.05) as port:
        os.close(slave)
        yield master, port
    with contextlib.suppress(OSError):  # a test closed it
        os.close(master)


def listener(port: serial.Serial) -> tuple[Listen, list[Piece]]:
    pieces: list[Piece] = []
    return listening(port, SystemClock(), pieces.append), pieces


def until_heard(listen: Listen, pieces: list[Piece], count: int) -> bytes:
    deadline = time.monotonic() + 10
    while sum(len(piece.data) for piece in pieces) < count and time.monotonic() < deadline:
        listen()
    return b"".join(piece.data for piece in pieces)


def test_what_is_there_comes_as_one_piece(wire: tuple[int, serial.Serial]) -> None:
    master, port = wire
    listen, pieces = listener(port)
    os.write(master, b"7.01 pH")
    assert until_heard(listen, pieces, 7) == b"7.01 pH"
    assert len(pieces) == 1


def test_more_than_one_reading_holds_comes_in_order(wire: tuple[int, serial.Serial]) -> None:
    master, port = wire
    listen, pieces = listener(port)
    sent = bytes(range(32, 127)) * 30
    for at in range(0, len(sent), TAKE_BYTES // 2):
        os.write(master, sent[at : at + TAKE_BYTES // 2])
        until_heard(listen, pieces, min(at + TAKE_BYTES // 2, len(sent)))
    assert b"".join(piece.data for piece in pieces) == sent


def test_nothing_is_handed_on_when_nothing_came_in_time(wire: tuple[int, serial.Serial]) -> None:
    listen, pieces = listener(wire[1])
    listen()
    assert pieces == []


def test_a_cancelled_wait_ends_once_and_the_next_one_hears(wire: tuple[int, serial.Serial]) -> None:
    master, port = wire
    listen, pieces = listener(port)
    port.cancel_read()
    listen()
    assert pieces == []
    os.write(master, b"x")
    assert until_heard(listen, pieces, 1) == b"x"


def test_what_came_before_the_other_end_went_is_heard_and_then_the_port_is_lost(
    wire: tuple[int, serial.Serial],
) -> None:
    master, port = wire
    listen, pieces = listener(port)
    os.write(master, b"7.01")
    assert until_heard(listen, pieces, 4) == b"7.01"
    os.close(master)
    with pytest.raises(OSError, match=r"gives none|Input/output"):
        listen()
