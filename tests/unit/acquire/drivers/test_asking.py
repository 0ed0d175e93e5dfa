"""When questions are due, and when their answers are late."""

from acquire.drivers.asking import Exchange, Schedule, in_ns
from acquire.events import Instant

SECOND_NS = 1_000_000_000


def at(second: float) -> Instant:
    return Instant(int(second * 1e6), int(second * SECOND_NS))


def test_at_the_beginning_every_question_is_due_in_its_order() -> None:
    schedule = Schedule([SECOND_NS, SECOND_NS])
    assert schedule.next_due_ns is None
    schedule.begin(at(5))
    assert schedule.next_index(at(5)) == 0
    schedule.asked(0, at(5))
    assert schedule.next_index(at(5)) == 1


def test_a_question_keeps_its_rate_though_each_answer_takes_its_time() -> None:
    schedule = Schedule([SECOND_NS])
    schedule.begin(at(0))
    schedule.asked(0, at(0))
    schedule.asked(0, at(1.2))
    assert schedule.next_due_ns == 2 * SECOND_NS


def test_what_was_missed_is_not_made_up_for() -> None:
    schedule = Schedule([SECOND_NS])
    schedule.begin(at(0))
    schedule.asked(0, at(0))
    schedule.asked(0, at(60))
    assert schedule.next_due_ns == 60 * SECOND_NS
    schedule.asked(0, at(60))
    assert schedule.next_due_ns == 61 * SECOND_NS


def test_a_question_without_an_interval_is_asked_once() -> None:
    schedule = Schedule([None])
    schedule.begin(at(0))
    schedule.asked(0, at(0))
    assert schedule.next_due_ns is None
    assert schedule.next_index(at(100)) is None


def test_of_several_the_one_that_waited_longest_comes_first() -> None:
    schedule = Schedule([5 * SECOND_NS, 2 * SECOND_NS])
    schedule.begin(at(0))
    schedule.asked(0, at(0))
    schedule.asked(1, at(0))
    assert schedule.next_index(at(1.9)) is None
    assert schedule.next_index(at(9)) == 1


def test_the_time_for_an_answer_counts_from_the_moment_after_the_question_was_taken() -> None:
    exchange = Exchange()
    exchange.ask(b"?", in_ns(2))
    exchange.told(at(100))
    assert not exchange.is_overdue(at(1000))
    assert exchange.to_send() == b"?"
    assert exchange.to_send() == b""
    exchange.told(at(1000))
    exchange.told(at(1001))
    assert not exchange.is_overdue(at(1001.9))
    assert exchange.is_overdue(at(1002))
    exchange.end()
    assert (exchange.is_open, exchange.is_overdue(at(2000))) == (False, False)
