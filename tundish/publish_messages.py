"""What is published: JSON messages with a schema of their own, made from the rows of the store alone.

The same row gives the same message, byte for byte, however often it is asked for: a message that comes twice
is known by its id. Bodies are those of the REST interface, so that what a message missed can be had there.
"""

import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter
from sqlalchemy import Connection

from api.routes.results import result_body
from api.schemas.bench import ResultBody
from api.schemas.common import LedgerNumber, UtcTime
from api.schemas.line_stream import CapturesMessage
from api.schemas.readings import SentReading, sent_reading
from storage.queries.publishing import Due
from storage.queries.readings import readings_by_number
from storage.queries.results import results_by_id

READING: Final = "tundish.reading/1"
RESULT: Final = "tundish.result/1"
STATUS: Final = "tundish.status/1"


@dataclass(frozen=True, slots=True)
class Sender:
    """Who publishes, and where."""

    root: str
    site: str
    store: str
    store_kind: str

    @property
    def base(self) -> str:
        """What every topic of the site begins with."""
        return f"{self.root}/{self.site}/v1"


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message with its place in the row of all of them."""

    sequence: int
    due: Due
    topic: str
    payload: bytes


class _Sent(BaseModel):
    """What every message says."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(description="Of this message: one that comes twice bears the same.")
    site: str = Field(description="Who sent it.", examples=["north-cellar"])
    store: str = Field(description="Id of the store it comes from.")
    store_kind: Literal["real", "demo", "practice"] = Field(description="Only `real` was measured.")
    sequence: int = Field(description="1, 2, 3 and so on for each store; a gap is a missing message.", ge=1)
    revision: LedgerNumber = Field(description="Number of the ledger entry that it tells of.")


class ReadingMessage(_Sent):
    """One version of a reading."""

    schema_: Literal["tundish.reading/1"] = Field(alias="schema")
    reading: SentReading


class ResultMessage(_Sent):
    """A result as it stood after an entry: made, judged anew, released, withdrawn or amended."""

    schema_: Literal["tundish.result/1"] = Field(alias="schema")
    result: ResultBody


class StatusMessage(BaseModel):
    """Whether a site publishes; retained, so that it stands there for whoever comes."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_: Literal["tundish.status/1"] = Field(alias="schema")
    site: str
    store: str = Field(description="Id of the store that publishes as this site.")
    state: Literal["online", "offline", "asking"] = Field(
        description="`asking` is not retained: a daemon looks whether the name of its site is free."
    )
    since: UtcTime = Field(description="When it connected, by its own clock.")
    connection: str = Field(description="Tells one connection from another.")
    version: str = Field(description="Of the program.")


AnyMessage = ReadingMessage | ResultMessage | StatusMessage | CapturesMessage


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of everything that is published."""
    found = TypeAdapter(AnyMessage).json_schema(by_alias=True, mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "What tundish publishes to a broker",
        **found,
    }


def schema_text() -> str:
    """Return the schema as its file in `docs` holds it."""
    return json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"


def compose(connection: Connection, sender: Sender, numbered: Iterable[tuple[int, Due]]) -> list[Outgoing]:
    """Return the messages that are due, each with its number in the row of all messages."""
    wanted = list(numbered)
    revisions = [due.number for _, due in wanted if due.kind == "reading"]
    readings = {one.number: one for one in readings_by_number(connection, revisions)} if revisions else {}
    made: list[Outgoing] = []
    for sequence, due in wanted:
        says: dict[str, Any] = {
            "id": f"{sender.store}:{due.number}:{due.kind}:{due.subject}",
            "site": sender.site,
            "store": sender.store,
            "store_kind": sender.store_kind,
            "sequence": sequence,
            "revision": due.number,
        }
        if due.kind == "reading":
            record = readings[due.subject]
            said: _Sent = ReadingMessage.model_validate(
                {**says, "schema": READING, "reading": sent_reading(record)}
            )
            topic = f"{sender.base}/reading/{record.instrument}"
        else:
            (result,) = results_by_id(connection, [due.subject], up_to=due.number)
            said = ResultMessage.model_validate(
                {**says, "schema": RESULT, "result": result_body(connection, result)}
            )
            topic = f"{sender.base}/result/{result.quantity}"
        made.append(Outgoing(sequence, due, topic, said.model_dump_json(by_alias=True).encode()))
    return made


if __name__ == "__main__":
    sys.stdout.write(schema_text())
