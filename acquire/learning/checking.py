"""Which check stands at the end of messages, found by trying those that the engine knows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, get_args

from acquire.drivers.checks import CheckKind, FrameCheck, HexCase, Writing, check_length
from acquire.drivers.crc import CrcName
from acquire.drivers.refusal import Refusal
from acquire.learning.frames import FramingDraft
from acquire.learning.report import Claim, succession
from acquire.learning.toml_file import escaped

KINDS: Final[tuple[CheckKind, ...]] = (
    "sum8",
    "sum8-negated",
    "sum8-inverted",
    "sum16",
    "xor8",
    *get_args(CrcName),
)
LEAST_FRAMES: Final = 4  # with checks that differ; by chance one of 8 bits fits 4 frames in 4 000 million
TRIED: Final = 40  # messages that every candidate is tried on
MOST_SKIPPED: Final = 8  # bytes at the beginning that a check may leave out [bytes]
MOST_FOUND: Final = 3  # checks that are handed on
LEAST_SHARE: Final = 0.8  # of messages whose check must fit; others may be damaged


@dataclass(frozen=True, slots=True)
class FoundCheck:
    """A check that fits."""

    table: dict[str, Any]
    """The table ``[check]``."""
    bodies: list[bytes]
    """Of the messages without it; those that it does not fit are left out."""
    claim: Claim


@dataclass(frozen=True, slots=True)
class _Trial:
    check: FrameCheck
    table: dict[str, Any]


def checks_of(framing: FramingDraft, *, seven_bits: bool = False) -> Iterator[FoundCheck]:
    """Yield the checks that fit the messages which a framing cuts, those that cover most first.

    Where messages begin alike, one check can pass for another that leaves out some bytes.
    """
    if framing.block is not None or framing.length is not None or len(framing.bodies) < LEAST_FRAMES:
        return
    found_so_far = 0
    few = _spread(list(zip(framing.bodies, framing.tails, strict=True)))
    for trial in _trials(framing, few, seven_bits=seven_bits):
        if sum(_fits(trial.check, body, tail, framing) for body, tail in few) >= LEAST_SHARE * len(few):
            found = _found(trial, framing)
            if found is not None:
                yield found
                found_so_far += 1
                if found_so_far == MOST_FOUND:
                    return


def _spread(pairs: Sequence[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Return some messages from all over, each different."""
    different = list(dict.fromkeys(pairs))
    return different[:: len(different) // TRIED + 1]


def _found(trial: _Trial, framing: FramingDraft) -> FoundCheck | None:
    texts = [
        _text(trial.check, body, tail, framing)
        for body, tail in zip(framing.bodies, framing.tails, strict=True)
    ]
    bodies = [text for text in texts if text is not None]
    if len(set(bodies)) < LEAST_FRAMES or any(not body for body in bodies):
        return None
    kind = str(trial.table["kind"])
    because = f"it fits {len(bodies)} of {len(texts)} messages, {len(set(bodies))} of them different"
    claim = Claim("check", _in_words(kind, trial.table), succession(len(bodies), len(texts)), because)
    return FoundCheck(trial.table, bodies, claim)


def _in_words(kind: str, table: dict[str, Any]) -> str:
    covers = "the message" + (" with its start mark" if table.get("includes_start") else "")
    covers += f" but its first {table['skip_bytes']} bytes" if table.get("skip_bytes") else ""
    covers += " and the end mark" if table.get("includes_end") else ""
    return f"{kind} over {covers}, written as {table.get('written', 'hex')}"


def _fits(check: FrameCheck, body: bytes, tail: bytes, framing: FramingDraft) -> bool:
    return _text(check, body, tail, framing) is not None


def _text(check: FrameCheck, body: bytes, tail: bytes, framing: FramingDraft) -> bytes | None:
    length = check_length(check.kind, check.written)
    behind = framing.ends[0] + tail[: len(check.mark) + length] if check.behind_end else b""
    try:
        return check.text_of(body, behind)
    except Refusal:
        return None


def _trials(
    framing: FramingDraft, few: Sequence[tuple[bytes, bytes]], *, seven_bits: bool
) -> Iterator[_Trial]:
    """Yield the checks that could stand there: those over all bytes and before the end mark first."""
    for skips in (range(1), range(1, MOST_SKIPPED + 1)):
        for behind_end in (False, True):
            for kind in KINDS:
                for written in _writings(behind_end=behind_end, seven_bits=seven_bits):
                    length = check_length(kind, written)
                    ends = [_ending(body, tail, length, behind_end=behind_end) for body, tail in few]
                    case = _looks_right(ends, written)
                    if case is not None:
                        place = _Place(kind, written, case, behind_end=behind_end)
                        yield from _coverages(place, framing, few, skips)


def _writings(*, behind_end: bool, seven_bits: bool) -> tuple[Writing, ...]:
    if not behind_end or seven_bits:
        return ("hex", "decimal")
    return ("hex", "decimal", "bytes_high_first", "bytes_low_first")


def _ending(body: bytes, tail: bytes, length: int, *, behind_end: bool) -> bytes:
    return tail[:length] if behind_end else body[-length:]


def _looks_right(ends: Sequence[bytes], written: Writing) -> HexCase | None:
    """Return the case of the digits that stand there; None if most are no such digits, or never change."""
    if len(set(ends)) < LEAST_FRAMES - 1:
        return None
    if written.startswith("bytes"):
        return "upper"
    digits = b"0123456789" if written == "decimal" else b"0123456789abcdefABCDEF"
    fitting = [end for end in ends if end and not end.strip(digits)]
    if len(fitting) < LEAST_SHARE * len(ends):
        return None
    letters = b"".join(fitting)
    has_upper = any(0x41 <= byte <= 0x46 for byte in letters)
    has_lower = any(0x61 <= byte <= 0x66 for byte in letters)
    return "any" if has_upper and has_lower else "lower" if has_lower else "upper"


@dataclass(frozen=True, slots=True)
class _Place:
    """What stands where a check could be."""

    kind: CheckKind
    written: Writing
    case: HexCase
    behind_end: bool


def _coverages(
    place: _Place, framing: FramingDraft, few: Sequence[tuple[bytes, bytes]], skips: range
) -> Iterator[_Trial]:
    kind, written, case, behind_end = place.kind, place.written, place.case, place.behind_end
    for mark in _marks(few, check_length(kind, written), behind_end=behind_end):
        for prefix in dict.fromkeys((b"", framing.start)):
            for includes_end in (False, True) if behind_end else (False,):
                for skip in skips if not prefix or 0 in skips else ():
                    check = FrameCheck(
                        kind,
                        mark,
                        skip,
                        prefix,
                        case,
                        written,
                        behind_end=behind_end,
                        includes_end=includes_end,
                    )
                    yield _Trial(check, _table(check))


def _marks(few: Sequence[tuple[bytes, bytes]], length: int, *, behind_end: bool) -> list[bytes]:
    """Return what may stand between the covered bytes and the check."""
    if behind_end:
        return [b""]
    marks = []
    for size in (1, 2):
        found = {body[-length - size : -length] for body, _ in few if len(body) > length + size}
        if len(found) == 1 and not any(mark.isalnum() for mark in found):
            marks.append(found.pop())
    return [*marks, b""]


def _table(check: FrameCheck) -> dict[str, Any]:
    table: dict[str, Any] = {"kind": check.kind}
    if check.mark:
        table["mark"] = escaped(check.mark, "ascii")
    if check.written != "hex":
        table["written"] = check.written
    elif check.case != "upper":
        table["case"] = check.case
    if check.behind_end:
        table["place"] = "after_end"
    if check.skip_bytes:
        table["skip_bytes"] = check.skip_bytes
    if check.prefix:
        table["includes_start"] = True
    if check.includes_end:
        table["includes_end"] = True
    return table
