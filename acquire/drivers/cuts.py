"""What cutting makes of bytes: frames that are still unread, refused bytes, and filler."""

from typing import NamedTuple, Protocol

from acquire.events import Filler, FrameRefused, Span
from acquire.reasons import OUT_OF_FRAME, PARTIAL, PLAIN_WORDS


class RawFrame(NamedTuple):
    """The bytes of one frame, still unread."""

    span: Span
    body: bytes
    """What stands between the marks."""
    tail: bytes = b""
    """The end mark and what stands behind it, where somebody asks for them."""


Cut = RawFrame | FrameRefused | Filler


def maybe_half(span: Span) -> FrameRefused:
    """Refuse bytes that may be the second half of a message."""
    detail = (
        "what comes before the first end mark may be the second half of a message; if this instrument sends "
        "whole messages only, say distrust_first = false in the framing of its driver file"
    )
    return FrameRefused(span, OUT_OF_FRAME, detail)


def rest(span: Span, left: bytes, blank: bytes, prompts: tuple[bytes, ...] = ()) -> list[Cut]:
    """Return what is left without an end: nothing, filler, or refused as partial."""
    if not left:
        return []
    if without_prompts(left, prompts).strip(blank):
        return [FrameRefused(span, PARTIAL, PLAIN_WORDS[PARTIAL])]
    return [Filler(span)]


def without_prompts(body: bytes, prompts: tuple[bytes, ...]) -> bytes:
    """Return a body without the prompts that stand at its beginning."""
    while prompts and body.startswith(prompts):
        body = body[max(len(prompt) for prompt in prompts if body.startswith(prompt)) :]
    return body


class Cutter(Protocol):
    """Cut the bytes of one capture into frames that follow each other without a gap."""

    @property
    def waits(self) -> bool:
        """Whether bytes wait for their end."""

    def push(self, data: bytes) -> list[Cut]:
        """Take bytes and return what they complete."""

    def silent(self) -> list[Cut]:
        """Say that nothing came for the declared time; return what that completes."""

    def close(self) -> list[Cut]:
        """Return what is left without an end. Call once, last."""
