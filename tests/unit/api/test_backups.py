"""Copies that are told, and how old the newest is."""

from typing import Any

import httpx
import pytest

from api.vitals import BACKUP_DUE_US, Vitals
from storage.queries import BackupRecord
from storage.store import Store
from tests.fakes.filled_store import NOON_US

Client = httpx.AsyncClient
BY_AB = {"Tundish-Actor": "AB"}


@pytest.fixture
def copy(store: Store) -> dict[str, Any]:
    """What is told of a copy of this store."""
    return {
        "file": "/backups/cellar.db",
        "made_at": "2025-10-03T12:00:00Z",
        "head": str(store.writer.head),
        "size_bytes": 4096,
    }


async def test_a_copy_that_is_told_is_listed_and_dates_the_last_one(
    client: Client, copy: dict[str, Any]
) -> None:
    assert (await client.get("/api/v1/health")).json()["store"]["last_backup_at"] is None
    answer = await client.post("/api/v1/backups", json={**copy, "reason": "weekly"}, headers=BY_AB)
    assert answer.status_code == 201
    (known,) = (await client.get("/api/v1/backups")).json()["items"]
    assert known == {
        "ledger_number": answer.json()["ledger_number"],
        "file": "/backups/cellar.db",
        "made_at": "2025-10-03T12:00:00.000000Z",
        "head": 1,
        "size_bytes": 4096,
        "actor": "AB",
    }
    store = (await client.get("/api/v1/health")).json()["store"]
    assert (store["last_backup_at"], store["last_backup_age_s"]) == ("2025-10-03T12:00:00.000000Z", 300.0)
    (entry,) = (await client.get("/api/v1/ledger", params={"since": known["ledger_number"] - 1})).json()[
        "items"
    ]
    assert (entry["action"], entry["actor"], entry["reason"]) == ("backup.made", "AB", "weekly")
    assert "5 min ago" in (await client.get("/lines")).text


async def test_a_copy_of_another_store_is_refused(client: Client, copy: dict[str, Any]) -> None:
    for head in (f"1:{'0b' * 32}", f"7:{copy['head'].partition(':')[2]}"):
        answer = await client.post("/api/v1/backups", json={**copy, "head": head}, headers=BY_AB)
        assert answer.status_code == 409
        assert "the copy is of another store" in answer.json()["errors"][0]["detail"]
    assert (await client.get("/api/v1/backups")).json()["items"] == []


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("head", "1"),
        ("made_at", "yesterday"),
        ("size_bytes", -1),
        ("file", ""),
        ("made_at", "2025-10-03T12:00:00"),
    ],
)
async def test_a_wrong_field_is_named(
    client: Client, copy: dict[str, Any], field: str, value: object
) -> None:
    answer = await client.post("/api/v1/backups", json={**copy, field: value}, headers=BY_AB)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == field


async def test_copies_are_read_in_pages(client: Client, copy: dict[str, Any]) -> None:
    numbers = [
        (await client.post("/api/v1/backups", json=copy, headers=BY_AB)).json()["ledger_number"]
        for _ in range(3)
    ]
    first = (await client.get("/api/v1/backups?limit=2")).json()
    second = (await client.get(f"/api/v1/backups?limit=2&cursor={first['next']}")).json()
    assert [one["ledger_number"] for one in first["items"] + second["items"]] == numbers[::-1]


def vitals(made_at_us: int | None) -> Vitals:
    record = None if made_at_us is None else BackupRecord(2, "a.db", made_at_us, 1, 4096, "AB")
    return Vitals(2, record, None)


@pytest.mark.parametrize(
    ("made_at_us", "kind", "due"),
    [
        (None, "real", True),
        (None, "demo", False),
        (None, "practice", False),
        (NOON_US - BACKUP_DUE_US, "real", False),
        (NOON_US - BACKUP_DUE_US - 1, "real", True),
        (NOON_US - BACKUP_DUE_US - 1, "demo", False),
        (NOON_US + 1, "real", False),
    ],
)
def test_a_real_store_wants_a_copy_a_week(made_at_us: int | None, kind: str, due: bool) -> None:
    assert vitals(made_at_us).backup_is_due(NOON_US, kind) is due


def test_a_copy_of_the_future_has_no_negative_age() -> None:
    assert vitals(NOON_US + 1).backup_age_us(NOON_US) == 0
