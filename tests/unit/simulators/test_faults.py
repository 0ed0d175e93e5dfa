"""Faults by name: schedule and effect."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.faults import AILMENTS, DEFAULT_DURATION_S, Fault, FaultBox, parse_fault
from simulators.faults import STRIKING as STRIKING_NAMES
from simulators.instrument import Message

STRIKING = sorted(STRIKING_NAMES)


def struck(name: str, data: bytes, seed: int = 1) -> bytes:
    box = FaultBox([Fault(name, 0.0)], Random(seed))
    box.turn(0.0)
    return box.mangle(Message(data)).data


def test_reads_a_fault_with_all_its_parts() -> None:
    assert parse_fault("bur-1/garbage@5:2.5") == Fault("garbage", 5.0, 2.5, "bur-1")


def test_reads_a_fault_for_every_line_that_strikes_once() -> None:
    assert parse_fault("half_line@3") == Fault("half_line", 3.0, None, None)


def test_a_cut_cable_without_a_duration_lasts_for_the_default() -> None:
    assert parse_fault("cut_cable@1").end_s == 1.0 + DEFAULT_DURATION_S


@pytest.mark.parametrize("text", ["", "garbage", "garbage@", "garbage@x", "garbage@1:", "garbage@1:y"])
def test_says_how_a_fault_is_written(text: str) -> None:
    with pytest.raises(ValueError, match=r"INSTRUMENT/\]NAME@SECONDS"):
        parse_fault(text)


@pytest.mark.parametrize("text", ["garbage@-1", "garbage@nan", "garbage@1:0", "garbage@1:-2"])
def test_refuses_a_time_that_cannot_be(text: str) -> None:
    with pytest.raises(ValueError, match="the start must be"):
        parse_fault(text)


def test_names_the_faults_there_are_when_one_is_unknown() -> None:
    with pytest.raises(ValueError, match="cut_cable, silence"):
        parse_fault("gremlin@1")


@pytest.mark.parametrize("name", ["echo", *AILMENTS])
def test_what_is_no_damage_of_a_message_leaves_it_alone_and_stays(name: str) -> None:
    box = FaultBox([Fault(name, 0.0)], Random(1))
    box.turn(0.0)
    assert box.mangle(Message(b"abcd")) == Message(b"abcd")
    assert box.is_on(name)


def test_at_another_speed_a_message_is_shorter_and_no_text() -> None:
    read = struck("wrong_baud", b"pH 3.41\r\n")
    assert len(read) == 5
    assert not read.isascii()


def test_a_fault_begins_and_ends_on_schedule() -> None:
    fault = Fault("silence", 2.0, 3.0)
    box = FaultBox([fault], Random(1))
    assert box.turn(1.9) == ([], [])
    assert box.turn(2.0) == ([fault], [])
    assert box.is_on("silence")
    assert box.turn(5.0) == ([], [fault])


def test_the_next_change_is_the_nearest_beginning_or_end() -> None:
    box = FaultBox([Fault("silence", 2.0, 3.0), Fault("garbage", 9.0)], Random(1))
    before, _ = box.next_change_s, box.turn(2.0)
    during, _ = box.next_change_s, box.turn(5.0)
    assert (before, during, box.next_change_s) == (2.0, 5.0, 9.0)


def test_a_fault_without_a_duration_strikes_one_message_only() -> None:
    box = FaultBox([Fault("half_line", 0.0)], Random(1))
    box.turn(0.0)
    assert [box.mangle(Message(b"abcd\r\n")).data for _ in range(2)] == [b"abc", b"abcd\r\n"]


def test_a_fault_with_a_duration_strikes_every_message_in_it() -> None:
    box = FaultBox([Fault("half_line", 0.0, 5.0)], Random(1))
    box.turn(1.0)
    assert [box.mangle(Message(b"abcd\r\n")).data for _ in range(2)] == [b"abc", b"abc"]


def test_garbage_comes_before_the_message_and_leaves_it_whole() -> None:
    dirty = struck("garbage", b"abc\r\n")
    assert dirty.endswith(b"abc\r\n")
    assert 3 <= len(dirty) - 5 <= 40


@given(st.binary(min_size=1, max_size=80), st.integers(0, 1000))
def test_a_flipped_bit_differs_in_exactly_one_bit(data: bytes, seed: int) -> None:
    damaged = struck("flipped_bit", data, seed)
    assert sum((a ^ b).bit_count() for a, b in zip(data, damaged, strict=True)) == 1


@given(st.binary(min_size=1, max_size=80))
def test_with_the_parity_bit_every_byte_has_an_even_number_of_ones(data: bytes) -> None:
    damaged = struck("parity_bit", data)
    assert all(byte.bit_count() % 2 == 0 for byte in damaged)
    assert [byte & 0x7F for byte in damaged] == [byte & 0x7F for byte in data]


def test_a_break_reads_as_a_nul() -> None:
    assert struck("break", b"x\n") == b"\0x\n"


def test_the_meaning_says_which_faults_struck() -> None:
    box = FaultBox([Fault("break", 0.0), Fault("half_line", 0.0)], Random(1))
    box.turn(0.0)
    assert box.mangle(Message(b"ab", {"kind": "x"})).meaning == {
        "kind": "x",
        "faults": ["break", "half_line"],
    }


@given(st.lists(st.sampled_from(STRIKING), max_size=6), st.binary(max_size=40))
def test_no_mixture_of_faults_raises(names: list[str], data: bytes) -> None:
    box = FaultBox([Fault(name, 0.0) for name in names], Random(1))
    box.turn(0.0)
    assert isinstance(box.mangle(Message(data)).data, bytes)
