import errno
import socket

import pytest
import serial

from acquire.errors import (
    NoPortError,
    NotATtyError,
    PortAbsentError,
    PortBusyError,
    PortForbiddenError,
    PortSettingError,
    PortUnavailableError,
    UnknownSchemeError,
)
from acquire.lines.port_faults import known_schemes, refusal, refuse_unknown_scheme


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
    error: BaseException, kind: type[PortUnavailableError | NoPortError], words: str
) -> None:
    refused = refusal("P", "9600 8N1", error)
    assert type(refused) is kind
    assert words in str(refused)
    assert "\n" not in str(refused)
    assert "tried again" not in str(refused), "only a line tries again; who merely listens does not"
    assert refused.target == "P"


def test_a_url_that_cannot_be_opened_blames_the_address_before_the_settings() -> None:
    refused = refusal("cp2110://x", "9600 8N1", ValueError("invalid URL, protocol 'cp2110' not known"))
    assert "correct the line's device or url, or its settings" in str(refused)


def test_the_kinds_of_url_are_those_that_the_library_can_open() -> None:
    assert {"loop", "rfc2217", "socket", "spy"} <= set(known_schemes())


@pytest.mark.parametrize("target", ["/dev/ttyUSB0", "COM7", "loop://", "SOCKET://192.0.2.7:4001"])
def test_a_device_and_a_known_kind_of_url_are_let_pass(target: str) -> None:
    refuse_unknown_scheme(target)


def test_an_unknown_kind_of_url_blames_the_address_and_not_the_settings() -> None:
    with pytest.raises(UnknownSchemeError, match="no kind of URL 'tcp'") as refused:
        refuse_unknown_scheme("tcp://192.0.2.7:4001")
    assert "settings" not in str(refused.value)
