from collections.abc import Callable
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fakes.filled_store import Answer, Filler, OpenCapture

Client = httpx.AsyncClient
READINGS = "/api/v1/readings"


@pytest.fixture
def balance(filler: Filler) -> OpenCapture:
    return filler.open("balance", "balance-1")


async def _walk(
    client: Client, filters: dict[str, Any], between: Callable[[], object] = lambda: None
) -> list[dict[str, Any]]:
    """Follow `next` to the last page."""
    items: list[dict[str, Any]] = []
    cursor: str | None = None
    while True:
        page = (await client.get(READINGS, params=filters | ({"cursor": cursor} if cursor else {}))).json()
        items += page["items"]
        cursor = page["next"]
        if cursor is None:
            return items
        between()


async def test_an_empty_store_has_an_empty_page(client: Client) -> None:
    body = (await client.get(READINGS)).json()
    assert body == {"items": [], "next": None, "head": 1}


async def test_a_reading_keeps_its_digits_and_names_its_unit(bench: Client, ids: dict[str, int]) -> None:
    body = (await bench.get(READINGS, params={"sample": "W-1007", "quantity": "free_so2"})).json()
    (item,) = body["items"]
    assert (item["value"], item["value_text"], item["unit"]) == (28.4, "28.40", "mg/L")
    assert item["normal"] == {"value": 28.4, "value_text": "28.40", "unit": "mg/L", "note": None}
    assert item["at"] == "2025-10-03T12:00:41.000000Z"


async def test_there_is_no_number_where_the_instrument_gave_none(bench: Client, ids: dict[str, int]) -> None:
    (item,) = (await bench.get(READINGS, params={"outcome": "above_range"})).json()["items"]
    assert item["value"] is None
    assert item["value_text"] == ">OVR"
    assert "above its range" in item["reason"]


@pytest.mark.parametrize(
    ("filters", "count"),
    [
        ({"instrument": "burette-1"}, 7),
        ({"line": "ph"}, 80),
        ({"quantity": "temperature"}, 40),
        ({"instrument": "burette-1", "quantity": "free_so2"}, 4),
        ({"sample": "nobody"}, 0),
        ({"from": "2025-10-03T12:00:40Z", "to": "2025-10-03T14:00:42+02:00"}, 4),
    ],
)
async def test_filters_choose(
    bench: Client, ids: dict[str, int], filters: dict[str, str], count: int
) -> None:
    assert len(await _walk(bench, filters)) == count


async def test_since_brings_only_what_is_new(client: Client, filler: Filler) -> None:
    head = (await client.get(READINGS)).json()["head"]
    capture = filler.open("balance", "balance-1")
    (new,) = filler.hear(capture, b"12.3 g\r\n", [Answer("mass", "12.3", "g")])
    body = (await client.get(READINGS, params={"since": head})).json()
    assert [item["reading_id"] for item in body["items"]] == [new]


async def test_since_in_the_future_is_refused(bench: Client, ids: dict[str, int]) -> None:
    answer = await bench.get(READINGS, params={"since": 10_000})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == "since"


@pytest.mark.parametrize("limit", [1, 7, 86, 87, 88])
async def test_pages_join_to_the_whole(bench: Client, ids: dict[str, int], limit: int) -> None:
    walked = await _walk(bench, {"limit": limit})
    whole = (await bench.get(READINGS, params={"limit": 1000})).json()["items"]
    assert walked == whole
    assert len(whole) == 87


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(limit=st.integers(1, 9), bursts=st.lists(st.integers(0, 4), max_size=12))
async def test_a_walk_while_readings_come_neither_skips_nor_repeats(
    client: Client, filler: Filler, balance: OpenCapture, limit: int, bursts: list[int]
) -> None:
    begin = (await client.get("/api/v1/health")).json()["store"]["head"]
    written: list[int] = []

    def write(count: int) -> None:
        for _ in range(count):
            written.extend(filler.hear(balance, b"1.0 g\r\n", [Answer("mass", "1.0", "g")]))

    write(5)
    counts = iter(bursts)
    walked = await _walk(client, {"limit": limit, "since": begin}, between=lambda: write(next(counts, 0)))
    assert [item["reading_id"] for item in walked] == written


async def test_the_link_header_leads_to_the_next_page(bench: Client, ids: dict[str, int]) -> None:
    first = await bench.get(READINGS, params={"limit": 2, "instrument": "burette-1"})
    second = await bench.get(first.links["next"]["url"])
    assert second.json()["items"][0]["revision"] > first.json()["items"][-1]["revision"]


@pytest.mark.parametrize(
    "changed", [{"instrument": "ph-meter-1"}, {"limit": 2, "since": 3}, {"cursor": "junk"}]
)
async def test_a_cursor_with_other_filters_is_refused(
    bench: Client, ids: dict[str, int], changed: dict[str, str]
) -> None:
    filters: dict[str, Any] = {"instrument": "burette-1", "limit": 2}
    cursor = (await bench.get(READINGS, params=filters)).json()["next"]
    answer = await bench.get(READINGS, params={**filters, "cursor": cursor, **changed})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == "cursor"


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("limit=0", "limit"),
        ("limit=1001", "limit"),
        ("limit=many", "limit"),
        ("since=-1", "since"),
        (f"since={2**63}", "since"),
        ("from=2025-10-03T12:00:00", "from"),
        ("to=yesterday", "to"),
        ("outcome=good", "outcome"),
        ("instrumnet=burette-1", "instrumnet"),
        ("cursor=" + "x" * 65, "cursor"),
    ],
)
async def test_a_wrong_parameter_is_named(bench: Client, query: str, parameter: str) -> None:
    answer = await bench.get(f"{READINGS}?{query}")
    assert answer.status_code == 422
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [parameter]


async def test_a_misspelt_filter_is_answered_with_the_right_name(bench: Client) -> None:
    answer = await bench.get(f"{READINGS}?instrumnet=burette-1")
    assert "did you mean instrument?" in answer.json()["errors"][0]["detail"]


async def test_a_range_that_runs_backwards_is_refused(bench: Client) -> None:
    answer = await bench.get(READINGS, params={"from": "2025-10-03T12:00:00Z", "to": "2025-10-03T11:00:00Z"})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == "to"


async def test_the_thread_leads_to_the_bytes(bench: Client, ids: dict[str, int]) -> None:
    body = (await bench.get(f"{READINGS}/{ids['W-1007']}")).json()
    frame = body["frame"]
    heard = (await bench.get(f"/api/v1/captures/{frame['capture_id']}/bytes")).content
    data = heard[frame["offset"] : frame["offset"] + frame["length"]]
    assert data == bytes.fromhex(frame["hex"]) == b"F;W-1007;28.40;mg/L;1.1\r\n"
    assert body["reading"] == body["versions"][-1]
    assert body["driver"]["name"] == "burette-text"


@pytest.mark.parametrize("unknown", [1, 999_999, 2**63 - 1])
async def test_a_reading_that_is_not_there_is_not_found(bench: Client, unknown: int) -> None:
    answer = await bench.get(f"{READINGS}/{unknown}")
    assert answer.status_code == 404
    assert "there is no reading" in answer.json()["detail"]
