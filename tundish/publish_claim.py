"""Whether the name of a site is ours: two daemons that publish as one site would mix two benches.

A daemon asks before it says that it is online, and says it only if nobody answers.
"""

import json
import secrets
from enum import Enum
from typing import Any

from tundish.publish_messages import STATUS, Sender, StatusMessage
from tundish.version import software_version


class Seen(Enum):
    """What a message under the status topic means to whoever asked."""

    NOTHING = "nothing"
    ASKED = "asked"
    """Our question came back: what stood there came before it, answers come after it."""
    TAKEN = "taken"
    """Another connection holds the name."""
    OURS = "ours"
    """The name is ours from now on."""
    DISPUTED = "disputed"
    """The name is ours, and somebody asks or says otherwise: say it again."""


class Claim:
    """One connection's claim to the name of its site.

    Whoever holds the name answers a question; what stands there and does not answer is a leftover of somebody
    who is gone. Of two that claim it at once, both go by the same order, so that one of them goes away.
    """

    def __init__(self, sender: Sender, since: str) -> None:
        self._sender = sender
        self._since = since
        self.connection = secrets.token_hex(8)
        self._asked = self._said = False
        self.stands = False
        """Whether somebody else stood there when we asked, dead or alive."""
        self.other = ""
        """Who holds the name, in words; empty while nobody else does."""

    def says(self, state: str) -> dict[str, object]:
        """Return the status of this connection in one state."""
        self._said = self._said or state == "online"
        said = StatusMessage.model_validate(
            {
                "schema": STATUS,
                "site": self._sender.site,
                "store": self._sender.store,
                "state": state,
                "since": self._since,
                "connection": self.connection,
                "version": software_version(),
            }
        )
        return said.model_dump(by_alias=True)

    def saw(self, payload: bytes) -> Seen:
        """Take note of a message under the status topic; what is none of ours means nothing."""
        said = _read(payload)
        state = said.get("state")
        if said.get("connection") == self.connection:
            return self._own(state)
        if state == "online":
            return self._another(said)
        return Seen.DISPUTED if self._said and state in ("offline", "asking") else Seen.NOTHING

    def _own(self, state: object) -> Seen:
        if state == "asking":
            self._asked = True
            return Seen.ASKED
        return Seen.OURS if state == "online" else Seen.NOTHING

    def _another(self, said: dict[str, Any]) -> Seen:
        """Judge somebody else who says to be online."""
        if not self._asked:
            self.stands = True
            return Seen.NOTHING
        if self._said and _rank(said) > (self._since, self.connection):
            return Seen.DISPUTED
        self.other = f"store {said.get('store')}, online since {said.get('since')}"
        return Seen.TAKEN


def _rank(said: dict[str, Any]) -> tuple[str, str]:
    """Return by what the first of two is chosen: any order does, as long as both know it."""
    return str(said.get("since")), str(said.get("connection"))


def _read(payload: bytes) -> dict[str, Any]:
    try:
        said = json.loads(payload)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}
