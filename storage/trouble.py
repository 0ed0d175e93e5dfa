"""Whose fault a database error is: the work's, or the world's."""

from typing import Final

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
_WAITING: Final = frozenset({5, 6})
_FULL: Final = 13
_PRIMARY: Final = 0xFF  # the low byte of an extended result code is the primary one


def _code(error: BaseException) -> int:
    """Return SQLite's primary result code, 0 if the error carries none; looks through a wrapped error."""
    origin = getattr(error, "orig", None) or error
    code = getattr(origin, "sqlite_errorcode", 0)
    return code & _PRIMARY if isinstance(code, int) else 0


def is_environment(error: BaseException) -> bool:
    """Tell whether the same work may succeed later: locked, full, disk trouble."""
    return _code(error) in _ENVIRONMENT


def is_disk_full(error: BaseException) -> bool:
    """Tell whether the disk is full."""
    return _code(error) == _FULL


def is_lock(error: BaseException) -> bool:
    """Tell whether only another connection stands in the way."""
    return _code(error) in _WAITING


def in_words(error: BaseException) -> str:
    """Return one line that says what the database said."""
    origin = getattr(error, "orig", None) or error
    name = _ENVIRONMENT.get(_code(error))
    return f"{origin} (SQLITE_{name})" if name else str(origin)
