"""How bytes become frames, as a driver file declares it, and what proves a frame whole."""

from typing import Literal

from pydantic import Field as Setting

from acquire.drivers.checks import CheckKind, HexCase, Writing, check_length
from acquire.drivers.escapes import Encoding
from acquire.drivers.strict import StrictModel

LEAST_SILENCE_MS = 50
"""Bytes that came within 20 ms bear one time, and adapters hold bytes back for up to 16 ms. [ms]"""


class Framing(StrictModel):
    """How bytes become frames."""

    ends: tuple[str, ...] = ()
    """End marks, with escapes."""
    start: str = ""
    """Start mark, with escapes; empty if there is none."""
    length: int | None = Setting(default=None, ge=2, le=65_536)
    """Of every frame with its start mark, when nothing else ends it. [bytes]"""
    silence_ms: int | None = Setting(default=None, ge=LEAST_SILENCE_MS, le=60_000)
    """Silence that ends a frame; with end marks or a length, that ends the wait for one. [ms]"""
    max_length: int = Setting(default=4096, ge=16, le=65_536)
    """Of a frame with its marks. [bytes]"""
    encoding: Encoding = "ascii"
    filler: str = ""
    """Characters that mean nothing before and after a frame, with escapes."""
    ignore: str = ""
    """Control characters that mean nothing wherever they stand, with escapes."""
    ansi: bool = False
    """Terminal codes (colours, cursor) stand between texts and mean nothing."""
    prompts: tuple[str, ...] = ()
    """Texts that may stand before a frame and mean nothing, with escapes."""
    ignore_lines: tuple[str, ...] = ()
    """How lines begin that carry nothing, with escapes: the echo of a command, a title, a rule."""
    distrust_first: bool | None = None
    """Refuse what comes before the first end mark; if left out, done where half a frame may look whole."""


class Block(StrictModel):
    """Several lines make one frame."""

    begin: str = ""
    """How the first line begins, blanks before it apart; empty if the block begins behind the last one."""
    end: str = ""
    """How the last line begins; empty if an empty line ends the block."""


class Check(StrictModel):
    """A number computed from the bytes of the frame, at its end."""

    kind: CheckKind
    written: Writing = "hex"
    """As hexadecimal or decimal digits, or as bytes with the high or the low one first."""
    place: Literal["before_end", "after_end"] = "before_end"
    """Before or behind the end mark."""
    mark: str = ""
    """Stands between the covered bytes and the check."""
    skip_bytes: int = Setting(default=0, ge=0, le=64)
    """At the beginning of the frame, after a start mark, not covered. [bytes]"""
    includes_start: bool = False
    """The start mark is covered too."""
    includes_end: bool = False
    """The end mark is covered too; only for a check that stands behind it."""
    case: HexCase = "upper"

    @property
    def length(self) -> int:
        """How much of a frame it takes. [bytes]"""
        return check_length(self.kind, self.written)
