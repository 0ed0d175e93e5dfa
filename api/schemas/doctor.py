"""Body of the examination of a line."""

from pydantic import Field

from api.doctor import DoctorHint, DoctorReport
from api.hexdump import hex_rows
from api.schemas.common import Body

SHOWN_BYTES = 256
"""Newest bytes that are shown. [bytes]"""


class HexRowBody(Body):
    """Sixteen bytes."""

    offset: int = Field(description="Of the first byte among all that were heard. [bytes]", ge=0)
    hexadecimal: str = Field(examples=["70 48 20 33 2e 34 31 0d 0a"])
    text: str = Field(description="A dot for what is no printable ASCII.", examples=["pH 3.41··"])


class HintBody(Body):
    """One thing that seems wrong with a line."""

    code: str = Field(examples=["seven_even"])
    words: str = Field(examples=["looks like 7 data bits, even parity"])
    because: str = Field(description="What was seen, with its numbers.")
    what_to_do: str


class ControlLinesBody(Body):
    """What the other end drives."""

    cts: bool
    dsr: bool
    ri: bool
    cd: bool


class DoctorBody(Body):
    """What was seen of a line since the daemon started, and what it looks like."""

    line: str
    listened_s: float = Field(description="Since the line was opened last; 0 while it is not. [s]", ge=0)
    heard_bytes: int = Field(description="[bytes]", ge=0)
    sent_bytes: int = Field(description="[bytes]", ge=0)
    frames_read: int = Field(ge=0)
    frames_refused: int = Field(ge=0)
    refusals: dict[str, int] = Field(description="Refused frames by reason; not_text: undecodable.")
    control_lines: ControlLinesBody | None = Field(description="Empty where the port shows none.")
    newest: list[HexRowBody] = Field(description="The newest bytes.")
    hints: list[HintBody] = Field(description="The plainest first; empty if nothing seems wrong.")


def doctor_body(line: str, report: DoctorReport) -> DoctorBody:
    """Return the body of an examination."""
    newest = report.newest[-SHOWN_BYTES:]
    rows = hex_rows(newest, max(0, report.heard_bytes - len(newest)))
    return DoctorBody(
        line=line,
        listened_s=report.listened_s,
        heard_bytes=report.heard_bytes,
        sent_bytes=report.sent_bytes,
        frames_read=report.frames_read,
        frames_refused=sum(report.refusals.values()),
        refusals=dict(report.refusals),
        control_lines=None if report.control_lines is None else ControlLinesBody(**report.control_lines),
        newest=[HexRowBody(offset=row.offset, hexadecimal=row.hexadecimal, text=row.text) for row in rows],
        hints=[_hint_body(hint) for hint in report.hints],
    )


def _hint_body(hint: DoctorHint) -> HintBody:
    return HintBody(code=hint.code, words=hint.words, because=hint.because, what_to_do=hint.what_to_do)
