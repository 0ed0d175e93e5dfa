"""The name of a site belongs to one: whoever comes, and in whatever order their words cross."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tundish.publish_claim import Claim, Seen
from tundish.publish_messages import Sender

SINCE = "2026-11-25T12:00:00.000000Z"


def claim(store: str = "a", since: str = SINCE) -> Claim:
    return Claim(Sender("winery", "north", store, "real"), since)


def text(said: dict[str, object]) -> bytes:
    return json.dumps(said).encode()


def holding(since: str = SINCE) -> Claim:
    one = claim(since=since)
    for state in ("asking", "online"):
        one.saw(text(one.says(state)))
    return one


def test_nobody_there_makes_the_name_ours() -> None:
    one = claim()
    assert one.saw(text(one.says("asking"))) is Seen.ASKED
    assert one.saw(text(one.says("online"))) is Seen.OURS
    assert not one.stands


def test_what_stands_there_and_does_not_answer_is_a_leftover() -> None:
    one, dead = claim(), claim("b")
    assert one.saw(text(dead.says("online"))) is Seen.NOTHING
    assert one.saw(text(one.says("asking"))) is Seen.ASKED
    assert one.stands
    assert one.saw(text(one.says("online"))) is Seen.OURS


@pytest.mark.parametrize("since", [SINCE, "1999-01-01T00:00:00.000000Z", "2099-01-01T00:00:00.000000Z"])
def test_who_answers_keeps_the_name_whatever_the_clocks_say(since: str) -> None:
    late, holder = claim("late"), holding(since)
    question = text(late.says("asking"))
    assert holder.saw(question) is Seen.DISPUTED
    late.saw(question)
    assert late.saw(text(holder.says("online"))) is Seen.TAKEN
    assert late.other == f"store a, online since {since}"


@pytest.mark.parametrize("state", ["offline", "asking"])
def test_a_holder_says_again_that_it_is_online(state: str) -> None:
    assert holding().saw(text(claim("b").says(state))) is Seen.DISPUTED


@given(st.binary() | st.sampled_from([b"null", b"[]", b'{"state": 7}', b'{"state": "online"', b'"online"']))
def test_what_is_no_status_means_nothing(payload: bytes) -> None:
    assert claim().saw(payload) is Seen.NOTHING
    assert holding().saw(payload) is Seen.NOTHING


class _Bench:
    """One of two that want the name at the same time; the broker gives both the same order of words."""

    def __init__(self, since: str) -> None:
        self.claim = claim(since=since)
        self.to_say = ["asking", "online"]
        self.has_name = self.is_gone = False

    def hear(self, said: bytes) -> None:
        if self.is_gone:
            return
        match self.claim.saw(said):
            case Seen.TAKEN:
                self.is_gone, self.has_name, self.to_say = True, False, []
            case Seen.OURS:
                self.has_name = True
            case Seen.DISPUTED if "online" not in self.to_say:
                self.to_say.append("online")


@given(st.lists(st.booleans(), max_size=30), st.permutations([SINCE, "2026-11-25T12:00:01.000000Z"]))
def test_of_two_that_claim_it_at_once_exactly_one_gets_it(turns: list[bool], sinces: list[str]) -> None:
    benches = [_Bench(since) for since in sinces]
    spoken = 0
    for turn in [*turns, *[True, False] * 40]:
        bench = benches[turn]
        if bench.to_say:
            said = text(bench.claim.says(bench.to_say.pop(0)))
            spoken += 1
            for each in benches:
                each.hear(said)
    assert sorted(bench.has_name for bench in benches) == [False, True]
    assert not any(bench.to_say for bench in benches), "it comes to rest"
    assert spoken < 20
