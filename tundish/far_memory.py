"""What the store knows of a line of a far bench, and how the far bench itself is asked."""

import json
import ssl
import urllib.error
import urllib.request
from typing import Final
from urllib.parse import quote, urlencode

from acquire.config import FarSource
from acquire.events import Instant
from acquire.far.memory import Continued, FarFetchError, Fetch
from acquire.sink import Chunk, FarPlace
from storage.queries.far import far_continuation, far_place
from storage.store import Store

ANSWER_LIMIT_S: Final = 20.0  # [s]
MOST_BYTES: Final = 64 << 20  # [bytes] more than any answer of ours
AT_A_TIME: Final = 500  # events of one answer


class StoredFar:
    """Answers from the store; each question is a short transaction of its own, from any thread."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def place(self, line: str) -> FarPlace | None:
        """Return up to where a line was taken; None if nothing was."""
        with self._store.reader() as connection:
            found = far_place(connection, line)
        return None if found is None else FarPlace(*found)

    def continued(self, line: str, store: str, capture: int) -> Continued | None:
        """Return how far a capture of a far bench was taken; None if nothing of it was."""
        with self._store.reader() as connection:
            found = far_continuation(connection, line, store, capture)
        if found is None:
            return None
        tail = tuple(Chunk(Instant(one.at_us, 0), one.data) for one in found.tail)
        device = found.device.partition(" ")[2]
        return Continued(device, found.settings, found.next_heard, found.next_sent, tail)


def fetch_from(source: FarSource) -> Fetch | None:
    """Return what asks a far bench over REST; None if the line names no address."""
    if source.url is None:
        return None
    address = f"{source.url.rstrip('/')}/api/v1/lines/{quote(source.line, safe='')}/stream"

    def fetch(after: int) -> bytes:
        request = urllib.request.Request(f"{address}?{urlencode({'after': after, 'limit': AT_A_TIME})}")  # noqa: S310
        if source.key is not None:
            request.add_header("Authorization", f"Bearer {source.key}")
        try:
            with urllib.request.urlopen(request, timeout=ANSWER_LIMIT_S, context=_context()) as answer:  # noqa: S310 - the configuration lets http and https alone through
                return bytes(answer.read(MOST_BYTES))
        except urllib.error.HTTPError as error:
            raise FarFetchError(f"{source.url} answered {error.code}: {_detail(error)}") from error
        except (OSError, ValueError) as error:
            why = getattr(error, "reason", None) or error
            raise FarFetchError(f"{source.url} cannot be asked: {why}") from error

    return fetch


def _context() -> ssl.SSLContext:
    return ssl.create_default_context()


def _detail(error: urllib.error.HTTPError) -> str:
    try:
        said = json.loads(error.read(10_000))
    except ValueError:
        return str(error.reason)
    return str(said.get("detail", error.reason)) if isinstance(said, dict) else str(error.reason)
