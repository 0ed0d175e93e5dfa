"""What a person asks of the running daemon, entered into the ledger with who, when and why."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from acquire.sink import SinkFullError
from storage.errors import WriterClosedError
from storage.ledger import ActorKind
from storage.rows import Row
from storage.writer import Writer
from tundish.answers import Answers
from tundish.errors import NotKeptError


@dataclass(frozen=True, slots=True)
class By:
    """Who did something, and why."""

    actor: str
    kind: ActorKind = ActorKind.PERSON
    reason: str | None = None


class ActRecord:
    """Enters acts; an act that cannot be entered now is refused, not queued."""

    def __init__(self, writer: Writer, clock_us: Callable[[], int]) -> None:
        self._writer = writer
        self._answers = Answers(writer)
        self._clock_us = clock_us

    async def enter(self, action: str, by: By, rows: Mapping[str, Sequence[Row]]) -> int:
        """Enter an act with its rows and return the number of its entry, once it is durable.

        Raises
        ------
        NotKeptError
            If the store cannot be written.
        """
        health = self._writer.health()
        if not health.ok:
            raise NotKeptError(f"nothing was done, because the store cannot be written: {health.why}")
        try:
            return await self._answers.submit(
                lambda tx: tx.enter(
                    action,
                    at_us=self._clock_us(),
                    actor=by.actor,
                    actor_kind=by.kind,
                    rows=rows,
                    reason=by.reason,
                ),
            )
        except (SinkFullError, WriterClosedError) as error:
            raise NotKeptError(f"nothing was done, because the store takes nothing: {error}") from error
