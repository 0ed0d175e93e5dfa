import errno
import socket

import pytest
import serial

from acquire.errors import (
    NotATtyError,
    PortAbsentError,
    PortBusyError,
    PortForbiddenError,
    PortSettingError,
    PortUnavailableError,
)
from acquire.lines.port_faults import refusal


def _library_error(number: int) -> serial.SerialException:
    return serial.SerialException(number, f"could not open port: [Errno {number}]")


def _wrapped(cause: BaseException) -> BaseException:
    """Return the error as the library often raises it: the number only in what went before."""
    error = serial.SerialException("Could not configure port")
    error.__context__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (_library_error(errno.ENOENT), PortAbsentError, "port P does not exist; is the cable plugged in?"),
        (_library_error(errno.EAGAIN), PortBusyError, "port P is in use by another program"),
        (_library_error(errno.EBUSY), PortBusyError, "close that program"),
        (_library_error(errno.EACCES), PortForbiddenError, "to the dialout group"),
        (_wrapped(OSError(errno.ENOTTY, "?")), NotATtyError, "P is not a serial port"),
        (OSError(errno.EINVAL, "?"), PortSettingError, "cannot be set to 9600 8N1"),
        (ValueError("Invalid baud rate: 'x'"), PortSettingError, "Invalid baud rate"),
        (_wrapped(ConnectionRefusedError(errno.ECONNREFUSED, "?")), PortAbsentError, "nothing answers at P"),
        (_wrapped(TimeoutError("timed out")), PortAbsentError, "nothing answers at P"),
        (_wrapped(socket.gaierror(-2, "unknown")), PortAbsentError, "nothing answers at P"),
        (serial.SerialException("odd"), PortUnavailableError, "port P cannot be opened: odd"),
    ],
)
def test_says_in_plain_words_why_a_port_cannot_be_opened(
    error: BaseException, kind: type[PortUnavailableError], words: str
) -> None:
    refused = refusal("P", "9600 8N1", error)
    assert type(refused) is kind
    assert words in str(refused)
    assert "\n" not in str(refused)
    assert refused.target == "P"
