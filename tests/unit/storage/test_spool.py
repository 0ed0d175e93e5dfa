import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from storage.errors import SpoolFullError, WriterClosedError
from storage.spool import ITEM_OVERHEAD_BYTES, Spool

TWO_ITEMS_BYTES = 2 * (100 + ITEM_OVERHEAD_BYTES)


def test_gives_back_in_the_order_of_coming() -> None:
    spool: Spool[str] = Spool()
    for item in "abc":
        spool.put(item, 1)
    assert [spool.take(2), spool.take(2)] == [["a", "b"], ["c"]]


def test_refuses_what_does_not_fit_and_says_how_full_it_is() -> None:
    spool: Spool[str] = Spool(TWO_ITEMS_BYTES)
    spool.put("a", 100)
    spool.put("b", 100)
    with pytest.raises(SpoolFullError, match="1 bytes came, 1224 bytes in 2 items wait") as caught:
        spool.put("c", 1)
    assert (caught.value.offered_bytes, caught.value.held_items) == (1, 2)


def test_counts_what_it_refused() -> None:
    spool: Spool[str] = Spool(0)
    with pytest.raises(SpoolFullError):
        spool.put("a", 40)
    state = spool.state()
    assert (state.refused_items, state.refused_bytes, state.items) == (1, 40, 0)


def test_a_batch_on_its_way_still_counts_until_it_is_released() -> None:
    spool: Spool[str] = Spool(TWO_ITEMS_BYTES)
    spool.put("a", 100)
    batch = spool.take(10)
    held_bytes = spool.state().held_bytes
    spool.release(batch)
    assert (held_bytes, spool.state().held_bytes) == (100 + ITEM_OVERHEAD_BYTES, 0)


def test_takes_nothing_more_once_it_is_closed_but_gives_out_what_waits() -> None:
    spool: Spool[str] = Spool()
    spool.put("a", 1)
    spool.close()
    with pytest.raises(WriterClosedError, match="nothing was kept"):
        spool.put("b", 1)
    assert [spool.take(10), spool.take(10)] == [["a"], []]


def test_whoever_waits_for_an_item_is_woken() -> None:
    spool: Spool[str] = Spool()
    begun = threading.Event()

    def wait() -> list[str]:
        begun.set()
        return spool.take(10)

    with ThreadPoolExecutor(1) as threads:
        waiting = threads.submit(wait)
        assert begun.wait(10)
        spool.put("a", 1)
        assert waiting.result(10) == ["a"]


@given(st.lists(st.integers(0, 2000)), st.integers(0, 5000))
def test_never_holds_more_than_its_limit(sizes: list[int], limit_bytes: int) -> None:
    spool: Spool[int] = Spool(limit_bytes)
    for size_bytes in sizes:
        with suppress(SpoolFullError):
            spool.put(size_bytes, size_bytes)
        assert 0 <= spool.state().held_bytes <= limit_bytes
    assert spool.state().items + spool.state().refused_items == len(sizes)
