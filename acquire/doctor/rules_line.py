"""Rules that look at the line: who else is on it, whether anybody answers, what the control lines show."""

from typing import Final

from acquire.doctor.evidence import Evidence, Exchange
from acquire.doctor.hints import Finding, Rule
from acquire.instants import seconds_between
from acquire.reasons import PLAIN_WORDS

LONG_ENOUGH_S: Final = 10.0  # [s] of silence before it means something; meters send every second or so
TWO_READERS_WITHIN_S: Final = 60.0  # [s]
MULTIPLE_ACCESS: Final = "multiple access on port"  # pySerial's words when another reader took the bytes
IN_USE: Final = "in use by another program"
FEW_REFUSALS: Final = 5
STRAY_BYTES: Final = 31  # more than so many are looked at as text
STRAY_VALUES: Final = frozenset((0x00, 0x80, 0xC0, 0xE0, 0xF0, 0xF8, 0xFC, 0xFE, 0xFF))
"""What a start bit and a line that falls back before the stop bit look like: noise on an open wire."""


def _two_readers(evidence: Evidence) -> Finding | None:
    newest = [loss for loss in evidence.losses if MULTIPLE_ACCESS in loss.why or IN_USE in loss.why]
    if len(newest) < 2:
        return None
    apart_s = seconds_between(newest[-2].at, newest[-1].at)
    if apart_s > TWO_READERS_WITHIN_S:
        return None
    return Finding(f"the port was lost to somebody else twice within {apart_s:.0f} s")


def _only_when_asked(evidence: Evidence) -> Finding | None:
    if evidence.heard_bytes or evidence.sent_bytes or evidence.listened_s < LONG_ENOUGH_S:
        return None
    if _no_signal(evidence):
        return None
    return Finding(f"not a byte in {evidence.listened_s:.0f} s, and nothing was asked")


def _no_answer(evidence: Evidence) -> Finding | None:
    if evidence.heard_bytes or not evidence.sent_bytes or evidence.listened_s < LONG_ENOUGH_S:
        return None
    return Finding(
        f"{evidence.sent_bytes} bytes were sent in {evidence.listened_s:.0f} s, and none came back"
    )


def _no_control_line(evidence: Evidence) -> Finding | None:
    if evidence.heard_bytes or evidence.listened_s < LONG_ENOUGH_S or not _no_signal(evidence):
        return None
    return Finding(f"not a byte in {evidence.listened_s:.0f} s; {evidence.signals}")


def _no_signal(evidence: Evidence) -> bool:
    signals = evidence.signals
    return signals is not None and not (signals.cts or signals.dsr or signals.cd)


def _open_wire(evidence: Evidence) -> Finding | None:
    if not 0 < evidence.heard_bytes <= STRAY_BYTES or evidence.listened_s < LONG_ENOUGH_S:
        return None
    if evidence.frames_read or not set(evidence.sample) <= STRAY_VALUES:
        return None
    return Finding(
        f"{evidence.heard_bytes} bytes in {evidence.listened_s:.0f} s, all of them {_hex(evidence)}"
    )


def _hex(evidence: Evidence) -> str:
    return " ".join(f"{byte:02x}" for byte in sorted(set(evidence.sample)))


def _all_refused(evidence: Evidence) -> Finding | None:
    if evidence.frames_read or evidence.frames_refused < FEW_REFUSALS:
        return None
    reason, count = max(evidence.refusals.items(), key=lambda one: one[1])
    words = PLAIN_WORDS.get(reason, reason)
    detail = evidence.details.get(reason, "")
    return Finding(
        f"{evidence.frames_refused} frames were refused and none was read, {count} of them so; "
        f"the newest: {detail or words}",
        f"frames arrive, but all are refused by this driver: {words}",
    )


def _echo(evidence: Evidence) -> Finding | None:
    told = [one for one in evidence.exchanges if len(one.sent) > 1]
    if len(told) < 2 or not all(map(_comes_back, told)):
        return None
    if all(one.heard == one.sent for one in told):
        words = "what we send comes straight back and nothing else does"
        return Finding(f"{len(told)} times, such as {told[-1].sent!r}", words)
    return Finding(f"{len(told)} times, such as {told[-1].sent!r}") if evidence.frames_refused else None


def _comes_back(one: Exchange) -> bool:
    return one.heard.startswith(one.sent)


RULES: Final = (
    Rule(
        "two_readers",
        "looks like two readers on this port",
        "end the other program that reads this port, and look whether two lines name the same one",
        _two_readers,
    ),
    Rule(
        "no_control_line",
        "nothing heard, and no control line of the other end is up",
        "is the instrument on, and the plug in? If both are, the cable is straight where a crossed one is "
        "wanted, or the other way round; a cable of three wires shows no control lines at all",
        _no_control_line,
    ),
    Rule(
        "only_when_asked",
        "nothing heard: is it switched on, and does this kind perhaps answer only when asked?",
        "press the print key of the instrument; if it only answers, choose a driver that asks, or set the "
        "instrument to send by itself",
        _only_when_asked,
    ),
    Rule(
        "no_answer",
        "what was asked is not answered",
        "check speed, parity and address; a crossed cable may be wanted, since a straight one joins the two "
        "senders",
        _no_answer,
    ),
    Rule(
        "open_wire",
        "stray bytes as from an open wire",
        "the ground wire is missing, or the cable is plugged in on this side alone",
        _open_wire,
    ),
    Rule(
        "echo",
        "what we send is echoed before each answer",
        "switch the echo off in the instrument, or let the driver pass over it (ignore_lines)",
        _echo,
    ),
    Rule(
        "all_refused",
        "frames arrive, but all are refused by this driver",
        "compare the newest bytes with the driver's examples; it may be the driver of another instrument",
        _all_refused,
    ),
)
