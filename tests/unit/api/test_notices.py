"""Points of curves and reports over REST, as hearing keeps them."""

from decimal import Decimal
from typing import Any

import httpx
import pytest

from acquire.driver import DriverIdentity
from acquire.events import (
    CurvePoint,
    FrameRead,
    Instant,
    Notice,
    Outcome,
    Reading,
    RunEnded,
    RunStarted,
    Span,
    Status,
)
from acquire.sink import Chunk, Hearing, Opening
from storage.store import Store
from tests.fakes.filled_store import NOON_US
from tundish.store_sink import StoreSink

Client = httpx.AsyncClient
POINTS, REPORTS = "/api/v1/curve-points", "/api/v1/reports"
AT = Instant(NOON_US, 0)


def _point(volume: str, ph: str) -> CurvePoint:
    values = (
        Reading("dispensed_volume", Outcome.VALUE, volume, Decimal(volume), "mL"),
        Reading("ph", Outcome.VALUE, ph, Decimal(ph), "pH"),
        Reading("potential", Outcome.NO_VALUE, "----", None, "mV"),
    )
    return CurvePoint(values, sample="W-1007", sequence="42")


@pytest.fixture
async def titration(store: Store) -> None:
    """Three points between a beginning and an end, heard from one burette."""
    sink = StoreSink(store.writer, store.begin_session("0.1.0", "in step", NOON_US), {})
    driver = DriverIdentity("acid", "1", "text")
    capture = await sink.opened(Opening("acid", "burette-2", driver, "/dev/pts/4", "9600 8N1", AT))
    said: tuple[Notice, ...] = (
        RunStarted(sequence="42"),
        *(_point(volume, ph) for volume, ph in (("0.00", "3.40"), ("1.10", "5.20"), ("2.20", "8.20"))),
        Status("W3", Outcome.VALUE, "stirrer slow"),
        RunEnded(sequence="42"),
    )
    events = tuple(FrameRead(Span(place, 1), (), (notice,)) for place, notice in enumerate(said))
    await capture.heard(Hearing((Chunk(AT, b"x" * len(said)),), events, AT))


async def _walk(client: Client, address: str, **filters: Any) -> list[dict[str, Any]]:
    """Follow `next` to the last page, two items a page."""
    items: list[dict[str, Any]] = []
    more: dict[str, Any] = {}
    while True:
        page = (await client.get(address, params={"limit": 2, **filters, **more})).json()
        items += page["items"]
        if page["next"] is None:
            return items
        more = {"cursor": page["next"]}


@pytest.mark.usefixtures("titration")
async def test_a_point_shows_its_volume_and_each_signal_with_every_digit(client: Client) -> None:
    first, *_ = await _walk(client, POINTS)
    assert (first["volume_ml"], first["volume_text"], first["sample"]) == (0.0, "0.00", "W-1007")
    assert first["signals"] == [
        {"quantity": "ph", "outcome": "value", "value": 3.4, "value_text": "3.40", "unit": "pH"},
        {"quantity": "potential", "outcome": "no_value", "value": None, "value_text": "----", "unit": "mV"},
    ]


@pytest.mark.usefixtures("titration")
async def test_a_walk_over_points_neither_skips_nor_repeats_nor_cuts_one_in_two(client: Client) -> None:
    points = await _walk(client, POINTS)
    assert [point["volume_text"] for point in points] == ["0.00", "1.10", "2.20"]
    assert {len(point["signals"]) for point in points} == {2}


@pytest.mark.usefixtures("titration")
async def test_since_brings_only_what_came_after(client: Client) -> None:
    first, second, _ = await _walk(client, POINTS)
    later = await _walk(client, POINTS, since=second["ledger_number"])
    assert first["ledger_number"] < second["ledger_number"]
    assert [point["volume_text"] for point in later] == ["2.20"]


@pytest.mark.usefixtures("titration")
async def test_reports_come_in_order_and_by_kind(client: Client) -> None:
    reports = await _walk(client, REPORTS)
    assert [one["kind"] for one in reports] == ["run_started", "status", "run_ended"]
    (status,) = await _walk(client, REPORTS, kind="status")
    assert (status["body"]["code"], status["body"]["words"]) == ("W3", "stirrer slow")


@pytest.mark.usefixtures("titration")
@pytest.mark.parametrize("address", [POINTS, REPORTS])
async def test_what_is_of_another_instrument_line_or_capture_is_not_shown(
    client: Client, address: str
) -> None:
    for wanted in ({"instrument": "other"}, {"line": "other"}, {"capture": 1}):
        assert await _walk(client, address, **wanted) == []
    (capture,) = {one["capture_id"] for one in await _walk(client, address)}
    assert await _walk(client, address, capture=capture, line="acid", instrument="burette-2")


@pytest.mark.parametrize(
    ("address", "wrong"),
    [
        (POINTS, {"kind": "status"}),
        (REPORTS, {"kind": "rumour"}),
        (REPORTS, {"sample": "W-1"}),
        (POINTS, {"capture": 0}),
        (POINTS, {"limit": 1001}),
        (POINTS, {"cursor": "x"}),
    ],
)
async def test_what_cannot_be_asked_is_refused_by_name(
    client: Client, address: str, wrong: dict[str, Any]
) -> None:
    answer = await client.get(address, params=wrong)
    assert answer.status_code in {400, 422}
    assert answer.json()["errors"][0]["parameter"] == next(iter(wrong))


@pytest.mark.parametrize("address", [POINTS, REPORTS])
async def test_a_number_of_the_future_is_refused(client: Client, address: str) -> None:
    answer = await client.get(address, params={"since": 10_000})
    assert answer.json()["errors"][0]["parameter"] == "since"
