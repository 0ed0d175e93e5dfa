"""Keys: shown once, kept as hashes, taken in three ways, refused in words, never in a log."""

import base64
from collections.abc import AsyncIterator, Iterator
from hashlib import sha256
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select
from structlog.testing import capture_logs

from api.app import close_app
from api.callers import network_side
from api.credentials import CredentialsError, GivenKey, given_key
from api.keys import KEY_PREFIX, Scope, key_hash, new_key
from api.services import ApiSettings
from api.slowdown import LONGEST_S, WAITING_LIMIT, Slowdown
from storage.schema import access_key, request_answer
from storage.store import Store
from storage.verify import verify
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.keys import hand_out, take_back

Client = httpx.AsyncClient
BASE = "http://127.0.0.1:8710"
BY_AB = {"Tundish-Actor": "AB"}
STRICT = ApiSettings("demo", live_round_s=0, loopback_open=False, failure_pause_s=0)


@pytest.fixture
def strict_app(store: Store) -> Iterator[FastAPI]:
    """An app that wants a key of everybody."""
    app = app_on(still_services(store, STRICT))
    yield app
    close_app(app)


@pytest.fixture
async def strict(strict_app: FastAPI) -> AsyncIterator[Client]:
    async with Client(transport=httpx.ASGITransport(strict_app), base_url=BASE) as client:
        yield client


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def basic(user: str, password: str) -> dict[str, str]:
    return {"Authorization": "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()}


async def _made(client: Client, **body: Any) -> httpx.Response:
    return await client.post("/api/v1/keys", json={"name": "sheet", "scope": "read", **body}, headers=BY_AB)


def test_keys_are_long_random_and_taken_whole_by_a_double_click() -> None:
    keys = {new_key() for _ in range(100)}
    assert len(keys) == 100
    for key in keys:
        assert key.startswith(KEY_PREFIX)
        assert len(key.removeprefix(KEY_PREFIX)) * 5 >= 256  # five bits a letter
        assert key.replace("_", "").isalnum()


@pytest.mark.parametrize("held", Scope)
@pytest.mark.parametrize("wanted", Scope)
def test_a_scope_allows_itself_and_what_stands_before_it(held: Scope, wanted: Scope) -> None:
    order = ["read", "bench", "manage"]
    assert held.allows(wanted) == (order.index(held) >= order.index(wanted))


async def test_a_key_is_shown_once_and_only_its_hash_is_kept(client: Client, store: Store) -> None:
    answer = await client.post(
        "/api/v1/keys",
        json={"name": "sheet", "scope": "read"},
        headers={**BY_AB, "Idempotency-Key": "same-request-1"},
    )
    key = answer.json()["key"]
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    listed = await client.get("/api/v1/keys")
    assert key not in listed.text
    with store.reader() as connection:
        (row,) = connection.execute(select(access_key)).all()
        assert row.sha256 == sha256(key.encode()).digest() == key_hash(key)
        assert connection.execute(select(request_answer)).all() == []
        assert verify(connection).in_order


async def test_keys_are_listed_newest_first_with_who_made_and_ended_them(client: Client) -> None:
    first = (await _made(client)).json()
    await _made(client, name="other", scope="bench")
    revoked = await client.post(f"/api/v1/keys/{first['number']}/revoke", json={}, headers=BY_AB)
    assert revoked.status_code == 200
    items = (await client.get("/api/v1/keys")).json()["items"]
    assert [(one["name"], one["scope"], one["made_by"], one["revoked_by"]) for one in items] == [
        ("other", "bench", "AB", None),
        ("sheet", "read", "AB", "AB"),
    ]


async def test_a_walk_over_keys_goes_page_by_page(client: Client) -> None:
    for name in ("a", "b", "c"):
        await _made(client, name=name)
    page = (await client.get("/api/v1/keys", params={"limit": 2})).json()
    rest = (await client.get("/api/v1/keys", params={"limit": 2, "cursor": page["next"]})).json()
    assert [one["name"] for one in page["items"] + rest["items"]] == ["c", "b", "a"]
    assert rest["next"] is None


async def test_two_good_keys_have_different_names(client: Client) -> None:
    number = (await _made(client)).json()["number"]
    assert (await _made(client)).json()["rule"] == "key.name_taken"
    await client.post(f"/api/v1/keys/{number}/revoke", headers=BY_AB)
    assert (await _made(client)).status_code == 201


async def test_what_cannot_be_revoked_is_told(client: Client) -> None:
    assert (await client.post("/api/v1/keys/999/revoke", headers=BY_AB)).status_code == 404
    number = (await _made(client)).json()["number"]
    await client.post(f"/api/v1/keys/{number}/revoke", headers=BY_AB)
    again = await client.post(f"/api/v1/keys/{number}/revoke", headers=BY_AB)
    assert (again.status_code, again.json()["rule"]) == (409, "key.revoked")


@pytest.mark.parametrize("body", [{"name": "a b"}, {"name": ""}, {"name": "x" * 33}, {"scope": "all"}])
async def test_a_key_that_cannot_be_is_refused(client: Client, body: dict[str, str]) -> None:
    assert (await _made(client, **body)).status_code == 422


async def test_a_key_is_taken_as_bearer_as_password_as_user_and_in_the_address(
    strict: Client, store: Store
) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    for headers in (bearer(key), basic("anybody", key), basic(key, "")):
        assert (await strict.get("/sheets/readings.csv", headers=headers)).status_code == 200
    assert (await strict.get("/sheets/readings.csv", params={"key": key})).status_code == 200
    assert (await strict.head("/sheets/readings.csv", params={"key": key})).status_code == 200


@pytest.mark.parametrize("scope", [Scope.BENCH, Scope.MANAGE])
async def test_a_key_that_may_do_more_than_read_may_not_stand_in_an_address(
    strict: Client, store: Store, scope: Scope
) -> None:
    key = hand_out(store, "strong", scope)
    answer = await strict.get("/sheets/readings.csv", params={"key": key})
    assert answer.status_code == 403
    assert "revoke it" in answer.json()["detail"]
    assert key not in answer.text
    assert (await strict.get("/sheets/readings.csv", headers=bearer(key))).status_code == 200


async def test_a_reading_key_cannot_write(strict: Client, store: Store) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    answer = await strict.post(
        "/api/v1/lots", json={"code": "X", "fields": {"name": "x"}}, headers={**BY_AB, **bearer(key)}
    )
    assert answer.status_code == 403
    assert answer.json()["detail"] == "the key 'sheet' may read, and this wants a key that may bench"


@pytest.mark.parametrize("wrong", ["abc", "", "tundish_", pytest.param(new_key(), id="unknown"), "é", "\x00"])
async def test_a_wrong_key_is_refused_even_where_none_is_wanted(client: Client, wrong: str) -> None:
    assert (await client.get("/api/v1/health", params={"key": wrong})).status_code == 401
    assert (await client.get("/api/v1/health", headers=basic("anybody", wrong))).status_code == 401
    assert (await client.get("/api/v1/health")).status_code == 200


async def test_a_revoked_key_is_refused_at_once_and_says_why(strict: Client, store: Store) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    assert (await strict.get("/api/v1/health", headers=bearer(key))).status_code == 200
    with store.reader() as connection:
        number = connection.execute(select(access_key.c.number)).scalar_one()
    take_back(store, number)
    answer = await strict.get("/api/v1/health", headers=bearer(key))
    assert answer.status_code == 401
    assert "was revoked" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("headers", "query"),
    [
        ({"Authorization": "Digest x"}, ""),
        ({"Authorization": "Basic ???"}, ""),
        ({"Authorization": "Basic " + base64.b64encode(b"no colon").decode()}, ""),
        ({"Authorization": "Bearer a"}, "?key=b"),
        ({}, "?key=a&key=b"),
        ({"Authorization": ""}, ""),
    ],
)
async def test_credentials_that_cannot_be_read_are_refused_with_what_is_wanted(
    client: Client, headers: dict[str, str], query: str
) -> None:
    answer = await client.get(f"/api/v1/health{query}", headers=headers)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Basic")
    assert "key" in answer.json()["detail"]


@given(st.binary(max_size=60), st.binary(max_size=60))
def test_no_header_and_no_query_raises_anything_but_what_says_why(header: bytes, query: bytes) -> None:
    scope = {"type": "http", "headers": [(b"authorization", header)], "query_string": query}
    try:
        found = given_key(scope)
    except CredentialsError:
        return
    assert isinstance(found, GivenKey)
    key_hash(found.text)


async def test_what_comes_from_the_network_needs_a_key_though_this_machine_needs_none(
    app: FastAPI, store: Store
) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    transport = httpx.ASGITransport(network_side(app))
    async with Client(transport=transport, base_url=BASE) as outside:
        assert (await outside.get("/api/v1/health")).status_code == 401
        assert (await outside.get("/api/v1/health", headers=bearer(key))).status_code == 200


async def test_the_network_is_open_only_where_the_configuration_says_so(store: Store) -> None:
    app = app_on(still_services(store, ApiSettings("demo", network_open=True)))
    try:
        transport = httpx.ASGITransport(network_side(app))
        async with Client(transport=transport, base_url=BASE) as outside:
            assert (await outside.get("/api/v1/health")).status_code == 200
    finally:
        close_app(app)


async def test_no_key_reaches_the_log_or_an_answer(strict: Client, store: Store) -> None:
    strong = hand_out(store, "strong", Scope.MANAGE)
    wrong = new_key()
    with capture_logs() as entries:
        answers = [
            await strict.get("/api/v1/health", params={"key": strong}),
            await strict.get("/api/v1/health", params={"key": wrong}),
            await strict.get("/api/v1/health", headers=bearer(wrong)),
            await strict.get("/api/v1/health", params={"key": wrong, "nonsense": "1"}),
        ]
    assert [entry["event"] for entry in entries] == ["key.refused"] * 3
    for key in (strong, wrong):
        assert key not in repr(entries)
        assert all(key not in answer.text for answer in answers)


@pytest.mark.parametrize("audited", [True, False])
async def test_reads_are_logged_where_the_configuration_asks_for_it(store: Store, audited: bool) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    app = app_on(still_services(store, ApiSettings("demo", audit_reads=audited)))
    try:
        async with Client(transport=httpx.ASGITransport(app), base_url=BASE) as client:
            with capture_logs() as entries:
                body = (await client.get("/sheets/readings.csv", params={"key": key, "line": "a b"})).content
                await client.post("/api/v1/reload", headers=BY_AB)
    finally:
        close_app(app)
    assert len(entries) == int(audited)
    for entry in entries:
        assert entry.pop("took_s") >= 0
        assert entry == {
            "event": "read.answered",
            "log_level": "info",
            "key": "sheet",
            "peer": "127.0.0.1",
            "method": "GET",
            "path": "/sheets/readings.csv",
            "query": "line=a+b",
            "status": 200,
            "size_bytes": len(body),
        }


class Pauses:
    """Notes how long it was to wait, and does not wait."""

    def __init__(self) -> None:
        self.asked: list[float] = []

    async def __call__(self, length_s: float) -> None:
        self.asked.append(length_s)


async def test_answers_to_wrong_keys_come_later_and_later_up_to_a_limit() -> None:
    pauses = Pauses()
    slowdown = Slowdown(pauses)
    for _ in range(6):
        assert await slowdown.wrong("192.0.2.1", 0.5)
    assert await slowdown.wrong("192.0.2.2", 0.5)
    assert pauses.asked == [0.5, 1.0, 2.0, 4.0, LONGEST_S, LONGEST_S, 0.5]


async def test_a_right_key_makes_earlier_wrong_ones_forgotten() -> None:
    pauses = Pauses()
    slowdown = Slowdown(pauses)
    await slowdown.wrong("192.0.2.1", 0.5)
    slowdown.right("192.0.2.1")
    await slowdown.wrong("192.0.2.1", 0.5)
    assert pauses.asked == [0.5, 0.5]


async def test_only_so_many_wrong_keys_wait_at_a_time(strict_app: FastAPI, strict: Client) -> None:
    strict_app.state.parts.failures._waiting = WAITING_LIMIT
    answer = await strict.get("/api/v1/health", params={"key": "wrong"})
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "10"
