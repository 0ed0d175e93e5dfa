"""How a line is doing, as a value for whoever asks."""

from dataclasses import dataclass
from enum import StrEnum

from acquire.events import Instant


class Condition(StrEnum):
    """What a line is about."""

    OPENING = "opening"
    OPEN = "open"
    UNRECOGNISED = "unrecognised"
    """It is open, but what speaks there is not what the line expects; nothing of it is read."""
    WAITING = "waiting"
    """It cannot be opened, or was lost; it is tried again by itself."""
    STOPPED = "stopped"
    """Somebody stopped it, or its file was read to the end."""
    FAILED = "failed"
    """What is named is no port, or an error of the program ended it; it comes back only when started."""


@dataclass(frozen=True, slots=True)
class LineState:
    """One line at one moment."""

    line: str
    instrument: str
    driver: str
    state: Condition
    since: Instant
    device: str | None = None
    """What is open, or was last."""
    why: str = ""
    """Plain words; empty while all is well."""
    last_byte_at: Instant | None = None
    last_contact_at: Instant | None = None
    """Of a line of a far bench: when anything came from there, by the clock here."""
    bytes_heard: int = 0
    """Bytes that were kept. [bytes]"""
    waiting_bytes: int = 0
    """Bytes that were heard and wait to be kept. [bytes]"""
    frames_read: int = 0
    frames_refused: int = 0
    last_refusal: str | None = None
    """Reason and detail of the newest refused frame."""
    overflow_bytes: int = 0
    """Bytes that came faster than they were taken and are lost. [bytes]"""
    unkept_bytes: int = 0
    """Bytes that the store could not take and that are lost. [bytes]"""
