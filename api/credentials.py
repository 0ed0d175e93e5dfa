"""The key that came with a request: in the Authorization header as Bearer or Basic, or in the address."""

import base64
import binascii
from typing import Final, NamedTuple
from urllib.parse import parse_qsl

from starlette.datastructures import Headers
from starlette.types import Scope

KEY_PARAMETER: Final = "key"
HOW: Final = "send it as Authorization: Bearer KEY, or as the password of Basic with any user name"


class GivenKey(NamedTuple):
    """A key as it came."""

    text: str
    in_address: bool
    """Addresses are kept in histories, logs and workbooks."""


class CredentialsError(ValueError):
    """What came is no key as it is wanted; the message says why and what to do."""


def given_key(scope: Scope) -> GivenKey | None:
    """Return the key that came with a request; None if none did.

    Raises
    ------
    CredentialsError
        If several came, or one in a form that cannot be read.
    """
    headers = Headers(scope=scope).getlist("authorization")
    query = parse_qsl(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)
    in_address = [value for name, value in query if name == KEY_PARAMETER]
    if len(headers) + len(in_address) > 1:
        raise CredentialsError("more than one key came; give one, once")
    if in_address:
        return GivenKey(in_address[0], in_address=True)
    return GivenKey(_from_header(headers[0]), in_address=False) if headers else None


def _from_header(value: str) -> str:
    scheme, _, rest = value.strip().partition(" ")
    match scheme.lower():
        case "bearer":
            return rest.strip()
        case "basic":
            return _password(rest.strip())
        case _:
            raise CredentialsError(f"the Authorization header does not hold a key; {HOW}")


def _password(encoded: str) -> str:
    """Return the password of Basic credentials, or the user name where the password is empty."""
    try:
        text = base64.b64decode(encoded, validate=True).decode()
    except (binascii.Error, UnicodeDecodeError):
        text = ""
    user, colon, password = text.partition(":")
    if not colon:
        raise CredentialsError(f"the Basic credentials hold no key; {HOW}")
    return password or user
