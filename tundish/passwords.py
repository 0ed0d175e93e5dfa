"""Passwords stand in the environment or in a file of their own, never in the configuration."""

import os
from pathlib import Path

from tundish.errors import PasswordError


def read_password(
    variable: str | None, file: str | None, folder: Path, *, what: str = "password"
) -> str | None:
    """Return the password, or the key, that stands in a variable or a file; None if neither is named.

    Raises
    ------
    PasswordError
        If what is named holds none.
    """
    if variable is not None:
        password = os.environ.get(variable)
        if not password:
            raise PasswordError(f"{what}_env: the environment variable {variable} is not set")
        return password
    return None if file is None else _first_line(folder / file, what)


def _first_line(file: Path, what: str) -> str:
    try:
        first = file.read_text(encoding="utf-8").partition("\n")[0].strip("\r")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or error
        raise PasswordError(f"{what}_file: {file} cannot be read: {why}") from error
    if not first:
        raise PasswordError(f"{what}_file: the first line of {file} is empty")
    return first
