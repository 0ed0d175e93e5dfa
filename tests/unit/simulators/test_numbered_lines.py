"""Lines that count their frames."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.numbered_lines import BATCH, NumberedLines


def numbers(data: bytes) -> list[int]:
    return [int(line.split(b"|")[1]) for line in data.splitlines()]


@given(st.lists(st.floats(0.0, 2.0), max_size=20), st.floats(0.0, 1.0))
def test_the_sequence_has_no_gap_however_late_it_is_asked(steps_s: list[float], phase: float) -> None:
    line, now_s, data = NumberedLines("a", 20.0, phase=phase), 0.0, b""
    for step_s in steps_s:
        now_s += step_s
        data += b"".join(message.data for message in line.advance(now_s))
    assert numbers(data) == list(range(1, len(numbers(data)) + 1))
    assert abs(len(numbers(data)) - now_s * 20.0) <= 1.0 + 1e-6


def test_frames_end_at_the_count() -> None:
    line = NumberedLines("a", 20.0, frames=5)
    data = b"".join(message.data for message in line.advance(60.0))
    assert numbers(data) == [1, 2, 3, 4, 5]
    assert (line.next_due_s, line.advance(70.0)) == (float("inf"), [])


def test_the_next_frame_is_due_one_period_later() -> None:
    line = NumberedLines("a", 20.0, phase=0.5)
    line.advance(line.next_due_s)
    assert line.next_due_s == pytest.approx(0.075)


def test_a_saturating_line_always_has_more() -> None:
    line = NumberedLines("a", 0.0)
    assert [len(numbers(line.advance(0.0)[0].data)) for _ in range(3)] == [BATCH] * 3


def test_the_meaning_names_first_and_last() -> None:
    (message,) = NumberedLines("a", 10.0).advance(0.45)
    assert message.meaning == {"kind": "lines", "first": 1, "last": 5}


def test_the_same_seed_gives_the_same_values() -> None:
    assert NumberedLines("a", 1.0, seed=3).advance(9.0) == NumberedLines("a", 1.0, seed=3).advance(9.0)
    assert NumberedLines("a", 1.0, seed=3).advance(9.0) != NumberedLines("b", 1.0, seed=3).advance(9.0)


@pytest.mark.parametrize("rate", [-1.0, float("nan"), 1e9])
def test_refuses_a_rate_that_cannot_be(rate: float) -> None:
    with pytest.raises(ValueError, match="rate"):
        NumberedLines("a", rate)
