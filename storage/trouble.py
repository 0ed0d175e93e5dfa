"""Whose fault a database error is: the work's, or the world's."""

from typing import Final

from storage.errors import StoreBusyError, StoreMovedOnError

# Primary result codes of SQLite (sqlite3.h) that say nothing about the rows: the same may succeed later.
_ENVIRONMENT: Final = {
    5: "BUSY",
    6: "LOCKED",
    7: "NOMEM",
    8: "READONLY",
    9: "INTERRUPT",
    10: "IOERR",
    11: "CORRUPT",
    13: "FULL",
    14: "CANTOPEN",
    15: "PROTOCOL",
    26: "NOTADB",
}
_NO_DATABASE: Final = frozenset({11, 26})
_WAITING: Final = frozenset({5, 6})
_FULL: Final = 13
_PRIMARY: Final = 0xFF  # the low byte of an extended result code is the primary one

# SQLSTATEs of PostgreSQL (its manual, appendix A), by class or whole, that say nothing about the rows.
_SERVER_CLASSES: Final = (
    "08",  # connection
    "25",  # transaction state: a server that only reads
    "28",  # authorization: a password that was changed
    "3D",  # no such database
    "40",  # rolled back by the server
    "53",  # resources: disk full, out of memory, too many connections
    "55",  # not ready: locked
    "57",  # an operator stops it, or it is starting
    "58",  # the system: disk trouble
    "XX",  # damage
)
_SERVER_RIGHTS: Final = "42501"  # rights were taken away; they may be given back
_SERVER_LOCKED: Final = "55P03"
_LOST: Final = frozenset({"OperationalError", "InterfaceError"})  # PEP 249
_WORLD: Final = (StoreBusyError, StoreMovedOnError)


def _origin(error: BaseException) -> BaseException:
    """Return the driver's own error."""
    found = getattr(error, "orig", None)
    return found if isinstance(found, BaseException) else error


def _code(error: BaseException) -> int:
    """Return SQLite's primary result code, 0 if the error carries none."""
    code = getattr(_origin(error), "sqlite_errorcode", 0)
    return code & _PRIMARY if isinstance(code, int) else 0


def _server_state(error: BaseException) -> str:
    """Return the SQLSTATE of a server's error; that of a lost connection if the driver has none to tell."""
    origin = _origin(error)
    if not hasattr(origin, "sqlstate"):  # it is not the server's driver that raised it
        return ""
    lost = _LOST & {kind.__name__ for kind in type(origin).__mro__}
    return origin.sqlstate or ("08000" if lost else "")


def is_environment(error: BaseException) -> bool:
    """Tell whether the same work may succeed later: locked, full, disk trouble, server away."""
    state = _server_state(error)
    return (
        isinstance(error, _WORLD)
        or _code(error) in _ENVIRONMENT
        or state.startswith(_SERVER_CLASSES)
        or state == _SERVER_RIGHTS
    )


def is_no_database(error: BaseException) -> bool:
    """Tell whether the file is damaged or something else than a database."""
    return _code(error) in _NO_DATABASE


def is_disk_full(error: BaseException) -> bool:
    """Tell whether the disk that we could make room on is full."""
    return _code(error) == _FULL


def is_lock(error: BaseException) -> bool:
    """Tell whether only another connection stands in the way."""
    return _code(error) in _WAITING or _server_state(error) == _SERVER_LOCKED


def in_words(error: BaseException) -> str:
    """Return one line that says what the database said."""
    said = " ".join(str(_origin(error)).split())
    name = _ENVIRONMENT.get(_code(error))
    return f"{said} (SQLITE_{name})" if name else said
