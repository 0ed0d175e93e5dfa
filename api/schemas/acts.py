"""Bodies of what is asked of the running daemon, and of the answers."""

from typing import Any

from pydantic import Field

from api.acts import LineSettings, Reloaded
from api.schemas.common import Body, LedgerNumber
from api.schemas.lines import LineBody

Reason = Field(None, max_length=1000, description="Why, in words; it stands in the ledger.")


class ActBody(Body):
    """An act that needs no more than a reason."""

    reason: str | None = Reason


class LineActBody(ActBody):
    """A line as it shall be."""

    line: dict[str, Any] = Field(
        description="The line as a table `[[line]]` of the configuration says it.",
        examples=[
            {
                "name": "so2",
                "kind": "serial",
                "device": "/dev/ttyUSB0",
                "baud": 9600,
                "instrument": "bur-1",
                "driver": "so2-burette",
            }
        ],
    )


class LineActAnswer(Body):
    """What became of an act on a line."""

    ledger_number: LedgerNumber | None = Field(
        description="The entry of the act; null if nothing needed doing."
    )
    line: LineBody | None = Field(description="How the line is doing now; null if it was removed.")


class LineSettingsBody(Body):
    """What the configuration says of a line."""

    line: dict[str, Any] = Field(description="A table `[[line]]`.")
    file: str = Field(description="The file that says it.", examples=["tundish.lines.toml"])


class ReloadAnswer(Body):
    """What reading the configuration again has changed."""

    ledger_number: LedgerNumber
    added: list[str] = Field(description="Lines that are new.")
    changed: list[str] = Field(description="Lines that were opened with other settings.")
    started: list[str] = Field(description="Lines that had failed and were started again.")
    removed: list[str] = Field(description="Lines that are no longer configured.")


def line_settings_body(settings: LineSettings) -> LineSettingsBody:
    """Return the body of a line's settings."""
    return LineSettingsBody(line=dict(settings.table), file=settings.file)


def reload_answer(done: Reloaded) -> ReloadAnswer:
    """Return the answer to reading the configuration again."""
    lists = {
        act: [line for line, done_to_it in done.acts.items() if done_to_it == act]
        for act in ("added", "changed", "started", "removed")
    }
    return ReloadAnswer(ledger_number=done.number, **lists)
