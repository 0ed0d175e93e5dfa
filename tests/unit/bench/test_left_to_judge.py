"""One act may put any number of results in another light; no commit grows with it, and a crash loses none."""

from collections import Counter
from collections.abc import Iterator

import pytest
from sqlalchemy import select

from bench import results
from bench.intake import SOMEBODYS, Intake
from bench.kinds.cellar import Sample
from bench.kinds.laboratory import Method
from bench.left_to_judge import PIECE, judge_next, left
from bench.records import find
from bench.results import Measured
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.schema import amendment_item, position, standing, taken
from storage.store import Store
from storage.transaction import Transaction
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.rest import Rest, check, enter_acidity, rest_on
from tests.unit.bench.acts import act, make, person, take_in

RESULTS = 2 * PIECE + 5
NOON = "2025-10-03T12:00:00Z"
PREVIEW = {
    "begin": "2025-10-03T10:00:00Z",
    "end": "2025-10-03T13:00:00Z",
    "titrant": "N-0925",
    "factors": [{"at": "2025-10-03T09:00:00Z", "factor": 0.9}],
}


@pytest.fixture
def rest(store: Store) -> Iterator[Rest]:
    """A bench with a passed check and many good results of one burette."""
    with rest_on(store) as client:
        enter_acidity(client, plausible_low=6.0)
        check(client, 8.44, "2025-10-03T11:30:00Z")
        act(store, enter_results)
        yield client


def enter_results(tx: Transaction) -> None:
    sample = find(tx.connection, Sample, "CK4H7M").record_id
    method = find(tx.connection, Method, "ta")
    for place in range(RESULTS):
        at_us = NOON_US - 1_200_000_000 + place * 1_000_000
        results.make_result(tx, person(), method, Measured(8.4, "value", at_us, "burette-1", sample))


def words(store: Store) -> Counter[str | None]:
    with store.reader() as connection:
        return Counter(one.standing for one in results_after(connection, ResultFilter()))


def judged_at_once(store: Store, since: int) -> list[int]:
    """Return how many standings each entry after a number brought, newest last."""
    with store.reader() as connection:
        numbers = connection.execute(select(standing.c.number).where(standing.c.number > since)).scalars()
        return [count for _, count in sorted(Counter(numbers).items())]


def is_left(store: Store) -> bool:
    with store.reader() as connection:
        return bool(left(connection))


def fail_a_check(store: Store) -> None:
    """Let the burette measure the check wine, far off."""
    filler = Filler(store, at_us=NOON_US)
    with rest_on(store, NOON_US) as rest:
        items = [{"kind": "check", "standard": "HC1", "tests": ["ta"]}]
        (item,) = rest.post("/trays/burette-1/items", {"items": items})["items"]
        rest.post("/trays/burette-1/on", {"item": item})
    filler.hear(filler.open("burette", "burette-1"), b"9.20", [Answer("dispensed_volume", "9.20", "mL")])


def test_a_failed_check_judges_a_large_bracket_piece_by_piece(store: Store, rest: Rest) -> None:
    assert words(store) == {"good": RESULTS}
    begun = store.writer.head.number
    fail_a_check(store)
    intake = Intake(store, lambda: NOON_US, "tundish")
    assert (intake.step(), intake.behind) == (1, True)
    assert words(store) == {"good": RESULTS - PIECE, "do_not_use": PIECE}
    while intake.step():
        pass
    assert words(store) == {"do_not_use": RESULTS}
    assert judged_at_once(store, begun) == [PIECE, PIECE, RESULTS - 2 * PIECE]
    assert not is_left(store)


def test_what_was_left_when_the_daemon_died_is_judged_by_the_next(store: Store, rest: Rest) -> None:
    fail_a_check(store)
    Intake(store, lambda: NOON_US, "tundish").step()
    assert is_left(store)
    take_in(store)
    assert words(store) == {"do_not_use": RESULTS}


def test_who_enters_a_check_is_answered_when_its_whole_bracket_is_judged(store: Store, rest: Rest) -> None:
    begun = store.writer.head.number
    check(rest, 9.2, NOON)
    assert words(store) == {"do_not_use": RESULTS}
    assert max(judged_at_once(store, begun)) == PIECE
    (hold,) = rest.get("/holds")["items"]
    rest.post(f"/holds/{hold['number']}/settle", {"way": "accepted", "reason": "the check wine was warm"})
    assert words(store) == {"look_again": RESULTS}
    assert max(judged_at_once(store, begun)) == PIECE
    assert not is_left(store)


def test_a_large_amendment_is_applied_and_taken_back_piece_by_piece(store: Store, rest: Rest) -> None:
    begun = store.writer.head.number
    before = rest.get("/results", limit=1000)["items"]
    made = rest.post("/amendments", {**PREVIEW, "reason": "weak hydroxide"})
    assert (made["state"], len(made["results"]), made["expected"]) == ("in_force", RESULTS, RESULTS)
    assert words(store) == {"look_again": RESULTS}
    rest.post(f"/amendments/{made['id']}/undo", {"reason": "it was not"})
    after = rest.get("/results", limit=1000)["items"]
    assert [one["value"] for one in after] == [one["value"] for one in before]
    assert words(store) == {"good": RESULTS}
    assert max(judged_at_once(store, begun)) == PIECE
    assert not is_left(store)


def test_an_application_that_is_sent_again_acts_once(store: Store, rest: Rest) -> None:
    body = {**PREVIEW, "reason": "weak hydroxide"}
    headers = {"Idempotency-Key": "weak-hydroxide"}
    first, again = (rest.send("POST", "/amendments", body, **headers).json() for _ in range(2))
    assert again == first
    with store.reader() as connection:
        assert len(connection.execute(select(amendment_item.c.result_id)).all()) == RESULTS


def test_a_commit_takes_few_readings_that_may_be_somebodys(store: Store) -> None:
    make(store, "sample", "CK4H7M")
    filler = Filler(store)
    meter = filler.open("ph", "ph-1")
    for _ in range(2 * SOMEBODYS + 1):
        filler.hear(meter, b"x", [Answer("ph", "3.41", "pH", sample="CK4H7M")])
    nobodys = filler.open("brix", "brix-1")
    for _ in range(4 * SOMEBODYS):
        filler.hear(nobodys, b"x", [Answer("brix", "21.0", "°Brix")])
    take_in(store)
    with store.reader() as connection:
        taken_at_once = Counter(connection.execute(select(taken.c.number)).scalars())
    counts = [count for _, count in sorted(taken_at_once.items())]
    assert counts == [SOMEBODYS, SOMEBODYS, 4 * SOMEBODYS + 1]


def test_nothing_is_left_where_nothing_was_begun(store: Store) -> None:
    assert act(store, lambda tx: judge_next(tx, person())) is False
    with store.reader() as connection:
        assert connection.execute(select(position)).all() == []
