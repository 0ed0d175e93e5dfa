from acquire.doctor.collector import EXCHANGES, LOSSES, SAMPLE_BYTES, Collector
from acquire.doctor.evidence import Exchange, Signals
from acquire.events import Filler, FrameRead, FrameRefused, Instant, Span
from acquire.reasons import NOT_TEXT, WRONG_LAYOUT

START = Instant(0, 5_000_000_000)
LATER = Instant(0, 17_500_000_000)


def test_bytes_are_counted_and_the_newest_kept() -> None:
    collector = Collector()
    collector.opened(START, None)
    for _ in range(100):
        collector.heard(b"x" * 1000)
    collector.heard(b"end")
    evidence = collector.evidence(LATER)
    assert evidence.heard_bytes == 100_003
    assert len(evidence.sample) == SAMPLE_BYTES
    assert evidence.sample.endswith(b"xend")
    assert evidence.listened_s == 12.5


def test_frames_are_counted_by_what_became_of_them_and_the_newest_detail_is_kept() -> None:
    collector = Collector()
    span = Span(0, 1)
    collector.events(
        [
            FrameRead(span),
            Filler(span),
            FrameRefused(span, NOT_TEXT, "first"),
            FrameRefused(span, NOT_TEXT, "second"),
            FrameRefused(span, WRONG_LAYOUT, "third"),
        ]
    )
    evidence = collector.evidence(LATER)
    assert evidence.frames_read == 1
    assert evidence.refusals == {NOT_TEXT: 2, WRONG_LAYOUT: 1}
    assert evidence.details == {NOT_TEXT: "second", WRONG_LAYOUT: "third"}
    assert evidence.frames_refused == 3
    assert collector.undecodable_frames == 2


def test_what_comes_behind_something_sent_belongs_to_it() -> None:
    collector = Collector()
    collector.heard(b"before")
    collector.sent(b"P\r")
    collector.heard(b"P")
    collector.heard(b"\rpH 3.41")
    collector.sent(b"Q\r")
    evidence = collector.evidence(LATER)
    assert evidence.exchanges == (Exchange(b"P\r", b"P\rpH"),)
    assert evidence.sent_bytes == 4


def test_only_the_newest_exchanges_and_losses_are_kept() -> None:
    collector = Collector()
    for number in range(20):
        collector.sent(b"%d" % number)
        collector.heard(b"!")
        collector.lost(LATER, str(number))
    evidence = collector.evidence(LATER)
    assert [one.sent for one in evidence.exchanges] == [
        b"%d" % number for number in range(20 - EXCHANGES, 20)
    ]
    assert [loss.why for loss in evidence.losses] == [str(number) for number in range(20 - LOSSES, 20)]


def test_control_lines_are_those_seen_last() -> None:
    collector = Collector()
    collector.opened(START, 7)
    collector.shows(Signals(cts=True, dsr=False, ri=False, cd=True))
    evidence = collector.evidence(LATER)
    assert str(evidence.signals) == "CTS on DSR off RI off CD on"
    assert evidence.data_bits == 7


def test_time_counts_while_the_line_is_open() -> None:
    collector = Collector()
    assert collector.evidence(LATER).listened_s == 0
    collector.opened(START, 8)
    collector.opened(LATER, 8)
    assert collector.evidence(LATER).listened_s == 12.5
    collector.lost(LATER, "the cable was pulled")
    assert collector.evidence(LATER).listened_s == 0
