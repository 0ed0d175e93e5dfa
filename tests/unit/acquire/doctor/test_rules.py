"""Each rule with captures that must raise it and captures that must not."""

import random
from typing import Final

import pytest

from acquire.doctor.evidence import Evidence, Exchange, Loss, Signals
from acquire.doctor.examine import RULES, examine
from acquire.events import Instant
from acquire.reasons import NOT_TEXT, WRONG_LAYOUT
from tests.fakes.uart import Parity, receive, transmit

ROWS: Final = b"".join(b"W-10%02d;%d.%d mg/L\r\n" % (row, row, row % 10) for row in range(20))
UMLAUTS: Final = "Prüfmuster Süßmost 21,4 °C pH 3,41\r\n".encode() * 8
NOISE: Final = random.Random(7).randbytes(400)
MODBUS: Final = bytes.fromhex("01 03 04 41 5a 3d 71 9f 42") * 12


def heard(data: bytes, **more: object) -> Evidence:
    return Evidence(listened_s=20.0, heard_bytes=len(data), sample=data, **more)  # type: ignore[arg-type]


def as_eight_bits(parity: Parity) -> bytes:
    return receive(transmit(ROWS, data_bits=7, parity=parity))


def at_speed(speed: float) -> Evidence:
    return heard(receive(transmit(ROWS), speed=speed))


def lost(*at_s: float, why: str = "device disconnected or multiple access on port?") -> Evidence:
    return heard(ROWS, losses=tuple(Loss(Instant(0, int(moment * 1e9)), why) for moment in at_s))


def silent(seconds: float = 20.0, **more: object) -> Evidence:
    return Evidence(listened_s=seconds, **more)  # type: ignore[arg-type]


def refused(count: int, reason: str = WRONG_LAYOUT, read: int = 0) -> Evidence:
    detail = {reason: "wanted 3 columns, got 2"}
    return heard(ROWS, refusals={reason: count}, details=detail, frames_read=read)


def asked(*pairs: tuple[bytes, bytes], **more: object) -> Evidence:
    exchanges = tuple(Exchange(sent, back) for sent, back in pairs)
    return heard(ROWS, sent_bytes=12, exchanges=exchanges, **more)


DOWN: Final = Signals(cts=False, dsr=False, ri=False, cd=False)
UP: Final = Signals(cts=True, dsr=True, ri=False, cd=False)

RAISED: Final[dict[str, list[Evidence]]] = {
    "seven_even": [heard(as_eight_bits("even")), heard(as_eight_bits("even")[:40], refusals={NOT_TEXT: 3})],
    "seven_odd": [heard(as_eight_bits("odd"))],
    "two_bytes": [heard(ROWS.decode().encode("utf-16-le")), heard(ROWS.decode().encode("utf-16-be"))],
    "wrong_speed": [at_speed(0.5), at_speed(0.25), at_speed(2.0), at_speed(4.0), at_speed(8.0)],
    "cr_only": [heard(ROWS.replace(b"\r\n", b"\r"))],
    "two_readers": [lost(1, 3), lost(1, 500, 502), lost(1, 2, why="port COM7 is in use by another program")],
    "no_control_line": [silent(signals=DOWN)],
    "only_when_asked": [silent(), silent(signals=UP)],
    "no_answer": [silent(sent_bytes=30), silent(sent_bytes=30, signals=UP)],
    "open_wire": [heard(b"\x00\xff\x00\xfe"), heard(b"\x80")],
    "echo": [
        asked((b"P\r", b"P\rpH"), (b"P\r", b"P\rpH"), refusals={WRONG_LAYOUT: 2}),
        asked((b"P\r", b"P\r"), (b"P\r", b"P\r")),
    ],
    "all_refused": [refused(5), refused(50)],
}

NOT_RAISED: Final[dict[str, list[Evidence]]] = {
    "seven_even": [
        heard(ROWS),
        heard(UMLAUTS),
        heard(NOISE),
        heard(MODBUS),
        heard(as_eight_bits("odd")),
        heard(as_eight_bits("even")[:20]),
        heard(as_eight_bits("even"), data_bits=7),
        heard(as_eight_bits("even"), frames_read=12),
    ],
    "seven_odd": [heard(ROWS), heard(UMLAUTS), heard(NOISE), heard(MODBUS), heard(as_eight_bits("even"))],
    "two_bytes": [heard(ROWS), heard(bytes(100)), heard(NOISE), at_speed(2.0)],
    "wrong_speed": [
        heard(ROWS),
        heard(UMLAUTS),
        heard(as_eight_bits("even")),
        heard(ROWS.decode().encode("utf-16-le")),
        heard(MODBUS, frames_read=12),
        heard(NOISE[:20]),
        at_speed(1.02),
    ],
    "cr_only": [
        heard(ROWS),
        heard(ROWS.replace(b"\r\n", b"\n")),
        heard(ROWS.replace(b"\r\n", b"\r"), frames_read=19),
        heard(NOISE.replace(b"\n", b"")),
    ],
    "two_readers": [
        lost(5),
        lost(5, 200),
        lost(1, 2, why="port COM7 does not exist"),
    ],
    "no_control_line": [silent(signals=UP), silent(), silent(5, signals=DOWN), heard(ROWS, signals=DOWN)],
    "only_when_asked": [silent(5), silent(sent_bytes=30), silent(signals=DOWN), heard(b"\x00")],
    "no_answer": [silent(), silent(5, sent_bytes=30), heard(ROWS, sent_bytes=30)],
    "open_wire": [heard(b"pH"), heard(ROWS), silent(), heard(b"\x00", frames_read=1), heard(bytes(200))],
    "echo": [
        asked((b"P\r", b"pH 3.41"), (b"P\r", b"pH 3.42"), refusals={WRONG_LAYOUT: 2}),
        asked((b"P\r", b"P\rpH"), (b"P\r", b"P\rpH"), frames_read=9),
        asked((b"P\r", b"P\r"), refusals={WRONG_LAYOUT: 2}),
        asked((b"\x06", b"\x06"), (b"\x06", b"\x06"), refusals={WRONG_LAYOUT: 2}),
    ],
    "all_refused": [refused(4), refused(50, read=1), heard(ROWS, frames_read=20)],
}


def codes(evidence: Evidence) -> list[str]:
    return [hint.code for hint in examine(evidence)]


def test_every_rule_has_captures_that_raise_it_and_captures_that_do_not() -> None:
    assert [rule.code for rule in RULES] == list(RAISED) == list(NOT_RAISED)


@pytest.mark.parametrize(
    ("code", "place"),
    [(code, place) for code, captures in RAISED.items() for place in range(len(captures))],
)
def test_a_rule_is_raised(code: str, place: int) -> None:
    assert code in codes(RAISED[code][place])


@pytest.mark.parametrize(
    ("code", "place"),
    [(code, place) for code, captures in NOT_RAISED.items() for place in range(len(captures))],
)
def test_a_rule_is_not_raised(code: str, place: int) -> None:
    assert code not in codes(NOT_RAISED[code][place])


@pytest.mark.parametrize("code", RAISED)
def test_a_hint_says_what_was_seen_and_what_to_do(code: str) -> None:
    hint = next(hint for hint in examine(RAISED[code][0]) if hint.code == code)
    assert hint.words
    assert hint.because
    assert hint.what_to_do


def test_a_healthy_line_gets_no_hint() -> None:
    assert codes(heard(ROWS, frames_read=20, signals=UP, data_bits=8)) == []


def test_a_plain_cause_stands_for_the_refusals_that_it_brings() -> None:
    evidence = heard(as_eight_bits("even"), refusals={NOT_TEXT: 20}, details={NOT_TEXT: "byte 0xB7"})
    assert codes(evidence) == ["seven_even"]


def test_refusals_are_told_with_their_most_frequent_reason() -> None:
    evidence = heard(
        ROWS,
        refusals={NOT_TEXT: 2, WRONG_LAYOUT: 9},
        details={NOT_TEXT: "byte 0xB7", WRONG_LAYOUT: "wanted 3 columns, got 2"},
    )
    (hint,) = examine(evidence)
    assert hint.words.endswith("refused by this driver: the frame does not have the declared parts")
    assert hint.because.startswith(
        "11 frames were refused and none was read, 9 of them so; the newest: wanted"
    )


def test_parity_is_told_with_the_shares_that_speak_for_it() -> None:
    (hint,) = examine(heard(as_eight_bits("even")))
    assert hint.words == "looks like 7 data bits, even parity"
    assert hint.because.startswith(f"100 % of {len(ROWS)} bytes have even parity")
