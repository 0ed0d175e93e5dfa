"""What a port raises when it goes wrong, and what that means in plain words."""

import errno
import importlib
import os
import pkgutil
import queue
import socket
import sys
from collections.abc import Iterator
from typing import Final

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

if sys.platform == "win32":
    _SYSTEM_FAULTS: tuple[type[Exception], ...] = (OSError,)
else:
    import termios

    _SYSTEM_FAULTS = (OSError, termios.error)

FAULTS: Final = (*_SYSTEM_FAULTS, TypeError, ValueError, AttributeError, queue.Full)
"""The families an unplugged, closed or overfull port raises from; `serial.SerialException` is an OSError."""

_HANDLER: Final = "protocol_"  # how the library's name of a module for one kind of URL begins

_Kind = type[PortUnavailableError] | type[NoPortError]

_ABSENT: Final = frozenset({errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO})
_BUSY: Final = frozenset({errno.EAGAIN, errno.EBUSY})
_FORBIDDEN: Final = frozenset({errno.EACCES, errno.EPERM})
_NO_TTY: Final = frozenset({errno.ENOTTY, errno.EISDIR})
_SILENT: Final = frozenset({errno.ECONNREFUSED, errno.ETIMEDOUT, errno.EHOSTUNREACH, errno.ENETUNREACH})


def refuse_unknown_scheme(target: str) -> None:
    """Raise `UnknownSchemeError` if `target` is a URL of a kind that nobody knows."""
    scheme, divider, _ = target.partition("://")
    known = known_schemes()
    if divider and scheme.lower() not in known:
        raise UnknownSchemeError(
            target,
            f"there is no kind of URL {scheme!r} as in {target}; known: {', '.join(known)}; "
            "correct the line's device or url",
        )


def known_schemes() -> tuple[str, ...]:
    """Return the kinds of URL that the library can open, by name."""
    folders = [importlib.import_module(package).__path__ for package in serial.protocol_handler_packages]
    names = [module.name for folder in folders for module in pkgutil.iter_modules(folder)]
    return tuple(sorted(name.removeprefix(_HANDLER) for name in names if name.startswith(_HANDLER)))


def refusal(target: str, settings: str, error: BaseException) -> PortUnavailableError | NoPortError:
    """Say why a port could not be opened.

    Parameters
    ----------
    target : str
        The device or URL that was tried.
    settings : str
        The line settings that were asked for, such as ``9600 8N1``.
    error : BaseException
        What the library raised.
    """
    kind, words = _meaning(error)
    if words is _NOT_POSSIBLE and "://" in target:
        words = _URL_NOT_POSSIBLE
    return kind(target, words.format(target=target, settings=settings, error=error))


def _meaning(error: BaseException) -> tuple[_Kind, str]:
    numbers = frozenset(_numbers(error))
    for known, kind, words in _TABLE:
        if numbers & known:
            return kind, words
    if any(isinstance(cause, TimeoutError | socket.gaierror) for cause in _chain(error)):
        return PortAbsentError, _NOBODY_ANSWERS
    if not isinstance(error, serial.SerialException):
        return PortSettingError, _NOT_POSSIBLE
    return PortUnavailableError, "port {target} cannot be opened: {error}"


_NOBODY_ANSWERS: Final = "nothing answers at {target}; is it switched on, and is the address right?"
_NOT_POSSIBLE: Final = "port {target} cannot be set to {settings} ({error}); correct the line's settings"
_URL_NOT_POSSIBLE: Final = (
    "{target} cannot be opened ({error}); correct the line's device or url, or its settings"
)
_IN_USE: Final = "port {target} is in use by another program; close that program"
_DENIED_ON_WINDOWS: Final = _IN_USE  # the system opens ports for one program only and says "access denied"
_DENIED: Final = (
    "no permission to open port {target}; add the user that runs this program to the dialout group "
    "and start it again"
)

_TABLE: Final[tuple[tuple[frozenset[int], _Kind, str], ...]] = (
    (_NO_TTY, NotATtyError, "{target} is not a serial port; name the port's device file"),
    (_BUSY, PortBusyError, _IN_USE),
    (
        _FORBIDDEN,
        PortBusyError if os.name == "nt" else PortForbiddenError,
        _DENIED_ON_WINDOWS if os.name == "nt" else _DENIED,
    ),
    (_ABSENT, PortAbsentError, "port {target} does not exist; is the cable plugged in?"),
    (_SILENT, PortAbsentError, _NOBODY_ANSWERS),
    (frozenset({errno.EINVAL}), PortSettingError, _NOT_POSSIBLE),
)


def _chain(error: BaseException) -> Iterator[BaseException]:
    """Yield an error and those it came from: the library often keeps the number in the first one only."""
    cause: BaseException | None = error
    while cause is not None:
        yield cause
        cause = cause.__cause__ or cause.__context__


def _numbers(error: BaseException) -> Iterator[int]:
    """Yield the system's error numbers along the chain, those of `termios.error` too."""
    for cause in _chain(error):
        first = cause.args[0] if cause.args else None
        number = getattr(cause, "errno", None) or first
        if isinstance(number, int):
            yield number
