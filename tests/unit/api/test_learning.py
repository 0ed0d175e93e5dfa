"""Learning a driver file over REST."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

import httpx
import pytest

Client = httpx.AsyncClient
LEARN = "/api/v1/learn"


async def _newest(bench: Client) -> int:
    number: int = (await bench.get("/api/v1/captures")).json()["items"][0]["capture_id"]
    return number


async def test_a_capture_is_learnt_from_and_the_proposal_comes_whole(bench: Client) -> None:
    number = await _newest(bench)
    answer = await bench.post(LEARN, json={"capture": number, "answers": {"turb": "turbidity:NTU"}})
    assert answer.status_code == HTTPStatus.OK, answer.text
    body = answer.json()
    assert (body["capture"], body["standing"]) == (number, "good")
    assert body["looked_at_bytes"] > 0
    assert body["held_out"]["refused"][0]["reason"] == "not_a_number"
    assert body["claims"][0]["confidence"] == 0.98
    assert body["questions"][0]["key"] == "lamp"


async def test_a_line_stands_for_its_newest_capture_with_bytes(bench: Client) -> None:
    by_line = (await bench.post(LEARN, json={"line": "ph"})).json()
    assert by_line["capture"] >= 1
    by_number = (await bench.post(LEARN, json={"capture": by_line["capture"]})).json()
    assert by_number == by_line


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, HTTPStatus.UNPROCESSABLE_ENTITY),
        ({"capture": 4, "line": "ph"}, HTTPStatus.UNPROCESSABLE_ENTITY),
        ({"capture": 0}, HTTPStatus.UNPROCESSABLE_ENTITY),
        ({"capture": 4, "answers": {"a\x00b": "ph"}}, HTTPStatus.UNPROCESSABLE_ENTITY),
        ({"capture": 4, "name": "No Name"}, HTTPStatus.UNPROCESSABLE_ENTITY),
        ({"capture": 4000}, HTTPStatus.NOT_FOUND),
        ({"line": "redox"}, HTTPStatus.NOT_FOUND),
    ],
)
async def test_what_cannot_be_meant_is_refused(bench: Client, body: Mapping[str, Any], status: int) -> None:
    answer = await bench.post(LEARN, json=body)
    assert answer.status_code == status, answer.text
    assert answer.json()["detail"]
