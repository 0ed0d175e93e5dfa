from hypothesis import given
from hypothesis import strategies as st

from acquire.backoff import Backoff


def test_waits_double_up_to_the_cap() -> None:
    backoff = Backoff(first_s=0.2, cap_s=5.0, chance=lambda: 1.0)
    assert [backoff.next_s() for _ in range(7)] == [0.2, 0.4, 0.8, 1.6, 3.2, 5.0, 5.0]


@given(st.lists(st.floats(0, 1, exclude_max=True), min_size=1, max_size=30))
def test_chance_shortens_a_wait_by_half_at_most(chances: list[float]) -> None:
    drawn, fixed = iter(chances), Backoff(chance=lambda: 1.0)
    backoff = Backoff(chance=lambda: next(drawn))
    for _ in chances:
        due_s = fixed.next_s()
        assert due_s / 2 <= backoff.next_s() <= due_s


def test_no_wait_keeps_a_returned_port_unheard_for_ten_seconds() -> None:
    backoff = Backoff(chance=lambda: 1.0)
    assert max(backoff.next_s() for _ in range(100)) <= 5.0


def test_a_line_that_was_healthy_for_a_minute_begins_again_with_the_shortest_wait() -> None:
    backoff = Backoff(first_s=0.2, chance=lambda: 1.0)
    backoff.next_s()
    backoff.was_open(60_000_000_000)
    assert backoff.next_s() == 0.2


def test_a_line_that_flaps_goes_on_with_longer_waits() -> None:
    backoff = Backoff(first_s=0.2, chance=lambda: 1.0)
    backoff.next_s()
    backoff.was_open(59_000_000_000)
    assert backoff.next_s() == 0.4
