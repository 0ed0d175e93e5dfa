"""What a line says to the driver of CLSI LIS01-A2 and LIS02-A2."""

from typing import Literal

from pydantic import Field as Setting

from acquire.drivers.definition import RangeMarks
from acquire.protocols.options import AnswerOptions, QuantityOptions


class Lis01Options(AnswerOptions):
    """Which test code is which quantity, and what differs from the usual."""

    tests: dict[str, QuantityOptions] = Setting(min_length=1)
    """By the test code of result records."""
    ignored_tests: tuple[str, ...] = ()
    """Codes of results that nobody wants; they are read without a reading."""
    code_component: int = Setting(default=4, ge=1, le=8)
    """Which component of the test id is the code: 1 is the first, 4 the maker's own."""
    sender: str | None = None
    """Name by which the instrument calls itself in the header; another one is refused."""
    final_status: tuple[str, ...] = ("", "F", "C", "R", "V")
    """Status letters of results that count; others are kept without a number."""
    range_marks: RangeMarks = RangeMarks(above=(">",), below=("<",))
    encoding: Literal["ascii", "utf-8", "cp1252"] = "ascii"
    frame_timeout_s: float = Setting(default=30.0, gt=0, le=600)
    """How long a frame may take to come before the transfer is given up. [s]"""
    max_frame_bytes: int = Setting(default=64_000, ge=16, le=64_000)
    """Greatest length of a frame with its marks. [bytes]"""
