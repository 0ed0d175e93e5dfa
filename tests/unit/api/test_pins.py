"""Pins over REST: set by their person or a manager, locked after five wrong ones, never shown."""

import asyncio
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from bench.people import LOCKED_FOR_US
from storage.schema import pin, request_answer
from storage.store import Store
from tests.fakes.rest import API, Rest, rest_on

RIGHT, WRONG = {"pin": "4711"}, {"pin": "4712"}
GUESS = {"pin": "1234", "old": "9999"}


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    """A bench with a technician and a manager, who both have a pin."""
    with rest_on(store) as client:
        client.record("people", "MAL", name="Mallow")
        client.record("people", "YAR", name="Yarrow", roles=["reviewer", "manager"])
        client.put("/people/YAR/pin", {"pin": "90210"}, "YAR")
        client.put("/people/MAL/pin", RIGHT, "MAL")
        yield client


def check(rest: Rest, body: Any = RIGHT, initials: str = "MAL") -> Any:
    return rest.send("POST", f"/people/{initials}/pin/check", body)


def lock(rest: Rest) -> None:
    for _ in range(5):
        check(rest, WRONG)


def test_the_right_pin_says_who_it_is(rest: Rest) -> None:
    assert check(rest).json() == {"person": "MAL", "name": "Mallow", "roles": ["operator"]}


def test_a_wrong_pin_is_refused_with_the_tries_that_are_left(rest: Rest) -> None:
    answers = [check(rest, WRONG).json() for _ in range(5)]
    assert [one["rule"] for one in answers] == ["pin.wrong"] * 4 + ["pin.locked"]
    assert [answers[at]["detail"].split("; ")[1] for at in (0, 3)] == ["4 tries are left", "1 try is left"]
    assert "let a manager" in answers[4]["detail"]


def test_a_locked_pin_takes_not_even_the_right_one_until_the_time_is_over(rest: Rest) -> None:
    lock(rest)
    assert rest.get("/people/MAL/pin")["tries_left"] == 0
    assert rest.refused("/people/MAL/pin/check", RIGHT) == (403, "pin.locked")
    rest.wait_until(rest.now_us + LOCKED_FOR_US + 1)
    assert check(rest).status_code == 200
    assert rest.get("/people/MAL/pin") == {"is_set": True, "locked_until": None, "tries_left": 5}


def test_a_new_pin_from_a_manager_is_the_other_way_out(rest: Rest) -> None:
    lock(rest)
    rest.put("/people/MAL/pin", {"pin": "1234", "reason": "forgotten"}, "YAR")
    assert check(rest, {"pin": "1234"}).status_code == 200
    assert check(rest, RIGHT).status_code == 403


def test_the_lock_stands_in_the_ledger(rest: Rest) -> None:
    lock(rest)
    entries = rest.get("/ledger")["items"]
    assert [one["actor"] for one in entries if one["action"] == "pin.locked"] == ["MAL"]


def test_the_right_pin_forgets_the_wrong_ones(rest: Rest) -> None:
    for _ in range(3):
        for _ in range(4):
            assert check(rest, WRONG).json()["rule"] == "pin.wrong"
        assert check(rest).status_code == 200


def test_a_pin_is_changed_by_its_person_with_the_old_one_alone(rest: Rest) -> None:
    path = "/people/MAL/pin"
    assert rest.refused(path, {"pin": "1234"}, "MAL", "PUT") == (403, "pin.not_yours")
    assert rest.refused(path, {"pin": "1234"}, "FEN", "PUT") == (403, "pin.not_yours")
    assert rest.refused(path, {"pin": "1234", "old": "9999"}, "MAL", "PUT") == (403, "pin.wrong")
    assert check(rest).status_code == 200
    rest.put(path, {"pin": "1234", "old": "4711"}, "MAL")
    assert check(rest, {"pin": "1234"}).status_code == 200


def test_guessing_the_old_pin_locks_as_well(rest: Rest) -> None:
    for _ in range(4):
        rest.refused("/people/MAL/pin", GUESS, "MAL", "PUT")
    assert rest.refused("/people/MAL/pin", GUESS, "MAL", "PUT") == (
        403,
        "pin.locked",
    )


@pytest.mark.parametrize("digits", ["123", "123456789", "1111", "12a4", "", "١٢٣٤"])
def test_what_is_no_pin_is_refused(rest: Rest, digits: str) -> None:
    assert rest.refused("/people/MAL/pin", {"pin": digits}, "YAR", "PUT") == (422, "pin.malformed")


def test_somebody_without_a_pin_or_unknown_cannot_be_checked(rest: Rest) -> None:
    rest.record("people", "FEN", name="Fennel")
    assert rest.refused("/people/FEN/pin/check", RIGHT) == (403, "pin.unset")
    assert rest.refused("/people/SOR/pin/check", RIGHT) == (404, "record.unknown")
    assert not rest.get("/people/FEN/pin")["is_set"]


def test_nothing_from_which_a_pin_could_be_found_by_trying_is_kept(rest: Rest, store: Store) -> None:
    key = {"Idempotency-Key": "7f9c2e51-aa"}
    for method, path, body in (
        ("POST", "/people/MAL/pin/check", RIGHT),
        ("PUT", "/people/MAL/pin", {"pin": "1234", "old": "4711"}),
    ):
        assert rest.send(method, path, body, **key).status_code == 200
    with store.reader() as connection:
        assert connection.execute(request_answer.select()).all() == []
        assert len({row.salt for row in connection.execute(pin.select())}) == 3


def test_tries_that_come_together_do_not_get_past_the_lock(rest: Rest) -> None:
    async def at_once() -> list[httpx.Response]:
        headers = {"Tundish-Actor": "MAL"}
        path = f"{API}/people/MAL/pin/check"
        return await asyncio.gather(*(rest.client.post(path, json=WRONG, headers=headers) for _ in range(9)))

    rules = sorted(one.json()["rule"] for one in rest.run(at_once()))
    assert rules == ["pin.locked"] * 5 + ["pin.wrong"] * 4
    assert rest.refused("/people/MAL/pin/check", RIGHT) == (403, "pin.locked")
