from acquire.events import Instant
from acquire.gaps import OpenGap
from acquire.sink import Gap
from tests.fakes.sink import FakeSink


def _at(second: int) -> Instant:
    return Instant(second * 1_000_000, second * 1_000_000_000)


async def test_what_is_lost_before_a_gap_was_kept_becomes_part_of_it() -> None:
    sink, gap = FakeSink(), OpenGap("ph", "meter")
    gap.begin(_at(1), "the store took no more", 8)
    gap.begin(_at(2), "the cable was pulled")
    gap.begin(_at(3), "the store took no more", 4)
    await gap.settle(sink, _at(5))
    assert sink.gaps == [Gap("ph", "meter", _at(1), _at(5), "the store took no more", 12)]


async def test_a_kept_gap_is_over() -> None:
    sink, gap = FakeSink(), OpenGap("ph", "meter")
    gap.begin(_at(1), "the cable was pulled")
    await gap.settle(sink, _at(2))
    await gap.settle(sink, _at(3))
    gap.begin(_at(4), "the cable was pulled again")
    await gap.settle(sink, _at(5))
    assert [(kept.begin, kept.end, kept.why) for kept in sink.gaps] == [
        (_at(1), _at(2), "the cable was pulled"),
        (_at(4), _at(5), "the cable was pulled again"),
    ]


async def test_a_gap_never_ends_before_it_began() -> None:
    sink, gap = FakeSink(), OpenGap("ph", "meter")
    gap.begin(_at(2), "bytes came faster than they were taken", 1)
    await gap.settle(sink, _at(1))
    assert sink.gaps[0].end == _at(2)
