"""Bodies of lines."""

from pydantic import Field

from api.schemas.common import Body, UtcTime
from api.services import LineState
from api.times import rfc3339
from api.words import state_words


class LineBody(Body):
    """How one line is doing."""

    line: str = Field(examples=["ph-meter"])
    instrument: str = Field(examples=["ph-meter-1"])
    driver: str = Field(examples=["ph-stream"])
    device: str = Field(description="What is, or would be, opened.", examples=["/dev/pts/4"])
    state: str = Field(
        description="opening, open, unrecognised, waiting, stopped or failed.", examples=["open"]
    )
    state_words: str = Field(description="The state in plain words.", examples=["listening"])
    since: UtcTime = Field(description="When the state began.")
    why: str = Field(description="The reason of the state; empty while all is well.")
    what_to_do: str = Field(description="What a person can do; empty where nothing needs doing.")
    last_byte_at: UtcTime | None = Field(description="When the last byte came.")
    last_contact_at: UtcTime | None = Field(
        None, description="Of a line of a far bench: when anything came from there, by the clock here."
    )
    bytes_heard: int = Field(description="Since the start of the daemon. [bytes]", ge=0)
    waiting_bytes: int = Field(description="Heard, and waiting for the store. [bytes]", ge=0)
    frames_read: int = Field(description="Since the start of the daemon.", ge=0)
    frames_refused: int = Field(description="Since the start of the daemon.", ge=0)
    last_refusal: str | None = Field(description="Why the last refused frame was refused.")
    overflow_bytes: int = Field(description="Bytes that came and could not be kept. [bytes]", ge=0)


class LinesBody(Body):
    """Every configured line."""

    items: list[LineBody]


def line_body(state: LineState) -> LineBody:
    """Return the body of one line."""
    words = state_words(state.state)
    return LineBody(
        line=state.line,
        instrument=state.instrument,
        driver=state.driver,
        device=state.device,
        state=state.state,
        state_words=words.word,
        since=rfc3339(state.since_us),
        why=state.why,
        what_to_do=words.what_to_do,
        last_byte_at=optional_time(state.last_byte_us),
        last_contact_at=optional_time(state.last_contact_us),
        bytes_heard=state.bytes_heard,
        waiting_bytes=state.waiting_bytes,
        frames_read=state.frames_read,
        frames_refused=state.frames_refused,
        last_refusal=state.last_refusal,
        overflow_bytes=state.overflow_bytes,
    )


def optional_time(at_us: int | None) -> str | None:
    """Return a moment as text, or None. [µs]"""
    return None if at_us is None else rfc3339(at_us)
