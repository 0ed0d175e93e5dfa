import asyncio
from collections.abc import Sequence
from dataclasses import dataclass

from api.live import Bell, Pace, follow

PACE = Pace(round_s=0, round_events=3)
PATIENCE_S = 5


@dataclass(frozen=True)
class Entry:
    number: int


class Ledger:
    """A ledger in memory that rings the bell when it grows."""

    def __init__(self, bell: Bell, size: int = 0) -> None:
        self._bell = bell
        self.size = size
        self.largest_page = 0
        self.asked = asyncio.Event()

    async def read(self, after: int, limit: int) -> Sequence[Entry]:
        page = [Entry(number) for number in range(after + 1, min(after + limit, self.size) + 1)]
        self.asked.set()
        self.largest_page = max(self.largest_page, len(page))
        return page

    def grow(self, count: int) -> None:
        self.size += count
        self._bell.ring(self.size)


async def _take(ledger: Ledger, bell: Bell, after: int, count: int) -> list[int]:
    """Follow the ledger until `count` entries came, as a client would that then goes away."""
    numbers: list[int] = []
    async with asyncio.timeout(PATIENCE_S):
        rounds = follow(after, ledger.read, bell, PACE)
        async for entries in rounds:
            numbers += [entry.number for entry in entries]
            if len(numbers) >= count:
                break
        await rounds.aclose()  # type: ignore[attr-defined] # an async generator, seen as an iterator
    return numbers


async def test_a_stream_begins_after_its_number_and_skips_nothing() -> None:
    bell = Bell()
    assert await _take(Ledger(bell, size=10), bell, after=4, count=6) == [5, 6, 7, 8, 9, 10]


async def test_what_is_written_meanwhile_follows() -> None:
    bell = Bell()
    ledger = Ledger(bell, size=2)
    taking = asyncio.create_task(_take(ledger, bell, after=0, count=7))
    for _ in range(5):
        await asyncio.sleep(0)
        ledger.grow(1)
    assert await taking == [1, 2, 3, 4, 5, 6, 7]


async def test_a_ring_from_another_thread_wakes_the_stream() -> None:
    bell = Bell()
    ledger = Ledger(bell)
    taking = asyncio.create_task(_take(ledger, bell, after=0, count=1))
    await asyncio.wait_for(ledger.asked.wait(), PATIENCE_S)
    await asyncio.to_thread(ledger.grow, 1)
    assert await taking == [1]


async def test_a_client_that_comes_back_with_its_last_number_loses_nothing() -> None:
    bell = Bell()
    ledger = Ledger(bell, size=50)
    first = await _take(ledger, bell, after=0, count=7)
    ledger.grow(20)
    second = await _take(ledger, bell, after=first[-1], count=70 - len(first))
    assert first + second == list(range(1, 71))


async def test_a_round_is_never_larger_than_its_bound() -> None:
    bell = Bell()
    ledger = Ledger(bell, size=100)
    await _take(ledger, bell, after=0, count=100)
    assert ledger.largest_page == PACE.round_events


async def test_streams_end_when_the_bell_is_closed() -> None:
    bell = Bell()
    ledger = Ledger(bell)
    taking = asyncio.create_task(_take(ledger, bell, after=0, count=1))
    await asyncio.wait_for(ledger.asked.wait(), PATIENCE_S)
    bell.close()
    assert await asyncio.wait_for(taking, PATIENCE_S) == []


async def test_a_client_that_goes_away_leaves_no_listener() -> None:
    bell = Bell()
    await _take(Ledger(bell, size=1), bell, after=0, count=1)
    assert bell.listeners == 0


async def test_a_stream_without_news_shows_that_it_lives() -> None:
    bell = Bell()
    rounds = follow(0, Ledger(bell).read, bell, Pace(round_s=0, round_events=3, ping_s=0.001))
    assert await asyncio.wait_for(anext(rounds), PATIENCE_S) == ()
    await rounds.aclose()  # type: ignore[attr-defined] # an async generator, seen as an iterator
