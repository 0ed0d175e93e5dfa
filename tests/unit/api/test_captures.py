import httpx
import pytest
from fastapi import FastAPI

from api.routes.captures import heard_bytes
from tests.fakes.filled_store import Filler

Client = httpx.AsyncClient


async def _burette(client: Client) -> int:
    page = (await client.get("/api/v1/captures", params={"line": "burette"})).json()
    number: int = page["items"][0]["capture_id"]
    return number


async def test_captures_come_newest_first(bench: Client, ids: dict[str, int]) -> None:
    items = (await bench.get("/api/v1/captures")).json()["items"]
    assert [item["line"] for item in items] == ["running", "burette", "ph"]
    assert [item["ending"] for item in items] == [None, "lost", None]


async def test_pages_of_captures_join_to_the_whole(bench: Client, ids: dict[str, int]) -> None:
    first = (await bench.get("/api/v1/captures?limit=1")).json()
    second = (await bench.get(f"/api/v1/captures?limit=1&cursor={first['next']}")).json()
    third = (await bench.get(f"/api/v1/captures?limit=1&cursor={second['next']}")).json()
    pages = (first, second, third)
    assert [page["items"][0]["line"] for page in pages] == ["running", "burette", "ph"]
    assert third["next"] is None


async def test_a_capture_says_what_it_holds(bench: Client, ids: dict[str, int]) -> None:
    body = (await bench.get(f"/api/v1/captures/{await _burette(bench)}")).json()
    assert (body["frames_read"], body["frames_refused"], body["readings"]) == (4, 1, 7)
    assert body["why"] == "the port was gone"


async def test_the_bytes_are_exactly_what_was_heard(client: Client, filler: Filler) -> None:
    capture = filler.open("balance", "balance-1")
    pieces = [bytes([count % 256]) * (count % 5 + 1) for count in range(300)]
    for piece in pieces:
        filler.hear(capture, piece)
    answer = await client.get(f"/api/v1/captures/{capture.number}/bytes")
    assert answer.content == b"".join(pieces)
    assert answer.headers["content-type"] == "application/octet-stream"


async def test_a_capture_without_bytes_gives_none(client: Client, filler: Filler) -> None:
    capture = filler.open("balance", "balance-1")
    answer = await client.get(f"/api/v1/captures/{capture.number}/bytes")
    assert (answer.status_code, answer.content) == (200, b"")


async def test_head_tells_the_size_without_the_bytes(bench: Client, ids: dict[str, int]) -> None:
    address = f"/api/v1/captures/{await _burette(bench)}/bytes"
    assert (await bench.head(address)).headers["content-length"] == str(
        len((await bench.get(address)).content)
    )


async def test_frames_account_for_every_byte(bench: Client, ids: dict[str, int]) -> None:
    number = await _burette(bench)
    frames = (await bench.get(f"/api/v1/captures/{number}/frames")).json()["items"]
    ends = [frame["offset"] + frame["length"] for frame in frames]
    assert [frame["offset"] for frame in frames] == [0, *ends[:-1]]
    assert ends[-1] == (await bench.get(f"/api/v1/captures/{number}")).json()["heard_bytes"]


async def test_refused_frames_say_why(bench: Client, ids: dict[str, int]) -> None:
    address = f"/api/v1/captures/{await _burette(bench)}/frames?outcome=refused"
    (frame,) = (await bench.get(address)).json()["items"]
    assert (frame["reason"], frame["detail"]) == ("wrong_layout", "three parts came, five were wanted")


async def test_pages_of_frames_join_to_the_whole(bench: Client, ids: dict[str, int]) -> None:
    address = f"/api/v1/captures/{await _burette(bench)}/frames"
    whole = (await bench.get(address)).json()["items"]
    first = (await bench.get(f"{address}?limit=3")).json()
    second = (await bench.get(f"{address}?limit=3&cursor={first['next']}")).json()
    assert first["items"] + second["items"] == whole


async def test_gaps_tell_when_a_line_was_not_heard(bench: Client, ids: dict[str, int]) -> None:
    (gap,) = (await bench.get("/api/v1/gaps")).json()["items"]
    assert (gap["begin"], gap["end"]) == ("2025-10-03T12:00:45.000000Z", "2025-10-03T12:00:52.000000Z")
    assert gap["lost_bytes"] is None


@pytest.mark.parametrize("below", ["", "/bytes", "/frames"])
async def test_a_capture_that_is_not_there_is_not_found(bench: Client, below: str) -> None:
    answer = await bench.get(f"/api/v1/captures/999999{below}")
    assert answer.status_code == 404
    assert "there is no capture 999999" in answer.json()["detail"]


async def test_what_comes_while_a_capture_is_sent_does_not_exceed_its_length(
    filler: Filler, app: FastAPI
) -> None:
    capture = filler.open("balance", "balance-1")
    filler.hear(capture, b"12.3 g\r\n")
    filler.hear(capture, b"12.4 g\r\n")
    stream = heard_bytes(app.state.parts.database, capture.number, size=10)
    assert b"".join([piece async for piece in stream]) == b"12.3 g\r\n12"
