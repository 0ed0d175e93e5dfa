"""Cursors: where a walk over pages stands, and with which filters it was begun."""

import base64
import binascii
import hashlib
import json
from collections.abc import Mapping
from typing import Final

_MARK_BYTES: Final = 6  # enough that another query's cursor is not taken by chance (1 in 2.8e14) [bytes]
_PLACE_BYTES: Final = 8  # ledger numbers are 64 bit [bytes]


class CursorError(ValueError):
    """The text is no cursor of this walk; the message says why and what to do."""


def filter_mark(route: str, filters: Mapping[str, object]) -> bytes:
    """Return a short mark of a route and its filters; the order of the filters does not matter."""
    text = json.dumps([route, {key: str(value) for key, value in filters.items()}], sort_keys=True)
    return hashlib.sha256(text.encode()).digest()[:_MARK_BYTES]


def write_cursor(place: int, mark: bytes) -> str:
    """Return the cursor that goes on after `place` in the walk with this mark."""
    packed = mark + place.to_bytes(_PLACE_BYTES, "big")
    return base64.urlsafe_b64encode(packed).decode().rstrip("=")


def read_cursor(text: str, mark: bytes) -> int:
    """Return the place at which a walk goes on; raise `CursorError` if the cursor is not of this walk."""
    try:
        packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        packed = b""
    place = int.from_bytes(packed[_MARK_BYTES:], "big")
    if len(packed) != _MARK_BYTES + _PLACE_BYTES or place >= 2**63:
        raise CursorError("it is no cursor; take it from the field next of the page before, whole")
    if packed[:_MARK_BYTES] != mark:
        raise CursorError(
            "it belongs to a walk with other filters; repeat the filters of the first page, "
            "or begin anew without a cursor"
        )
    return place
