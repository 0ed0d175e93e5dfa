"""The host's clock: judged by the system, compared with a clock that nobody can set."""

import itertools
import sys
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tundish import host_clock
from tundish.adjtimex import KernelClock, kernel_clock
from tundish.host_clock import (
    SPREAD_NS,
    STEP_US,
    TRIES,
    ClockReading,
    Quality,
    judge,
    read_clocks,
    step_between,
    step_in_words,
)

HOUR_US = 3_600_000_000
REACH_US = st.integers(-(10**15), 10**15)


@given(begin=REACH_US, went_us=st.integers(0, 10**12), step_us=REACH_US)
def test_a_step_is_what_the_steady_clock_does_not_explain(begin: int, went_us: int, step_us: int) -> None:
    before = ClockReading(begin, 0)
    after = ClockReading(begin + went_us + step_us, went_us * 1000)
    assert step_between(before, after) == (step_us if abs(step_us) >= STEP_US else 0)


@pytest.mark.parametrize("rate", [500e-6, -500e-6, 0.08])
def test_a_clock_that_a_time_service_steers_does_not_step(rate: float) -> None:
    """500 ppm is the reference service's limit (RFC 5905, MAXFREQ); others steer up to some per cent."""
    readings = [ClockReading(int(second * 1e6 * (1 + rate)), second * 10**9) for second in range(100)]
    steps = [step_between(one, other) for one, other in itertools.pairwise(readings)]
    assert steps == [0] * 99


def _ticks(*values: int) -> Callable[[], int]:
    waiting: Iterator[int] = iter(values)
    return lambda: next(waiting)


def test_both_clocks_are_read_at_the_middle_of_the_reading() -> None:
    assert read_clocks(lambda: 7, _ticks(1000, 1200)) == ClockReading(7, 1100)


def test_a_reading_that_was_interrupted_is_taken_again() -> None:
    slow = SPREAD_NS + 1
    reading = read_clocks(_ticks(7, 8), _ticks(0, slow, 2 * slow, 2 * slow + 100))
    assert reading == ClockReading(8, 2 * slow + 50)


def test_the_best_reading_counts_where_all_were_interrupted() -> None:
    widths = [50, 40, 30, 45, 60]
    ticks = [tick for width in widths for tick in (0, width * SPREAD_NS)]
    assert read_clocks(_ticks(*range(TRIES)), _ticks(*ticks)) == ClockReading(2, 15 * SPREAD_NS)


def test_the_real_clocks_agree_over_a_moment() -> None:
    assert step_between(read_clocks(), read_clocks()) == 0


@pytest.mark.parametrize(
    ("step_us", "words"),
    [(HOUR_US, "put forward by 3600.000 s"), (-1_500_000, "put back by 1.500 s")],
)
def test_a_step_is_said_with_its_way_and_its_size(step_us: int, words: str) -> None:
    assert words in step_in_words(step_us)


def test_a_sleep_is_named_where_it_cannot_be_told_from_a_step(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host_clock, "COUNTS_SLEEP", False)
    assert step_in_words(HOUR_US).endswith("3600.000 s, or the computer slept")
    assert "slept" not in step_in_words(-HOUR_US)


def _raise(error: Exception) -> KernelClock:
    raise error


@pytest.mark.parametrize(
    ("answer", "quality", "words", "max_error_us"),
    [
        (lambda: KernelClock(True, 5120), Quality.IN_STEP, "keeps it in step, within 0.00512 s", 5120),
        (lambda: KernelClock(False, 16_000_000), Quality.NOT_IN_STEP, "it runs by itself", None),
        (lambda: _raise(PermissionError(1, "no")), Quality.UNKNOWN, "does not say: [Errno 1] no", None),
        (lambda: _raise(AttributeError("adjtimex")), Quality.UNKNOWN, "does not say: adjtimex", None),
    ],
)
def test_the_judgement_is_the_kernel_s(
    monkeypatch: pytest.MonkeyPatch,
    answer: Callable[[], KernelClock],
    quality: Quality,
    words: str,
    max_error_us: int | None,
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(host_clock, "kernel_clock", answer)
    said = judge()
    assert (said.quality, said.max_error_us) == (quality, max_error_us)
    assert words in said.why


def test_another_system_is_not_guessed_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    said = judge()
    assert said.quality is Quality.UNKNOWN
    assert "this system (win32) is not asked" in said.why


@pytest.mark.skipif(sys.platform != "linux", reason="no other system has this call")
def test_this_kernel_answers() -> None:
    answer = kernel_clock()
    assert 0 <= answer.max_error_us <= 16_000_000  # the kernel stops counting there: NTP_PHASE_LIMIT
