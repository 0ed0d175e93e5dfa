"""Sheets of results, lots, judged records and amendments: what stands in each cell, in every form."""

import csv
import gzip
import io
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import httpx
import openpyxl
import pytest
from fastapi import FastAPI
from openpyxl.worksheet.worksheet import Worksheet
from starlette.types import Message, Scope

from api.app import close_app
from api.callers import network_side
from api.keys import Scope as KeyScope
from api.routes.cells import cell_text
from api.sheets.exports import OPEN_LIMIT
from storage.sheets.one_value import OneValue
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.cellar import HOUR_US, Cellar
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.keys import hand_out
from tests.unit.api.conftest import BASE

Client = httpx.AsyncClient
SHEETS = ("readings", "results", "wide", "lots", "calibrations", "checks", "amendments", "additions")
AT = "2025-10-04T12:00:00Z"


@pytest.fixture
def cellar(store: Store) -> Cellar:
    """Two samples of one lot and one of another, in two quantities."""
    cellar = Cellar(store)
    for sample, lot in (("A1", "L1"), ("A2", "L1"), ("B1", "L2")):
        cellar.sample(sample, lot)
    return cellar


async def rows(client: Client, address: str, separator: str = ",") -> list[dict[str, str]]:
    answer = await client.get(address)
    assert answer.status_code == 200, answer.text
    return list(csv.DictReader(io.StringIO(answer.text, newline=""), delimiter=separator))


def page(answer: httpx.Response) -> Worksheet:
    found = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    assert isinstance(found, Worksheet)
    return found


async def cells(client: Client, address: str) -> list[dict[str, Any]]:
    answer = await client.get(address)
    assert answer.status_code == 200, answer.text
    head, *lines = page(answer).iter_rows(values_only=True)
    return [dict(zip(map(str, head), line, strict=True)) for line in lines]


async def test_the_wide_sheet_has_a_row_a_sample_and_a_column_a_quantity(
    client: Client, cellar: Cellar
) -> None:
    cellar.result("A1", "PH", 3.41)
    cellar.result("A1", "SO2", 28.0, NOON_US + HOUR_US)
    cellar.result("B1", "SO2", 31.5)
    found = await rows(client, "/sheets/wide.csv")
    assert list(found[0]) == [
        "sample_id",
        "sample",
        "lot",
        "measured_at_utc",
        "revision",
        "store",
        "ph [pH]",
        "ph [pH] standing",
        "ph [pH] note",
        "free_so2 [mg/L as SO2]",
        "free_so2 [mg/L as SO2] standing",
        "free_so2 [mg/L as SO2] note",
    ]
    assert [(one["sample"], one["lot"], one["ph [pH]"], one["free_so2 [mg/L as SO2]"]) for one in found] == [
        ("A1", "L1", "3.41", "28.0"),
        ("B1", "L2", "", "31.5"),
    ]
    assert found[0]["measured_at_utc"] == "2025-10-03T13:00:00.000000Z"
    assert found[0]["ph [pH] standing"] == "good"
    assert found[1]["ph [pH] standing"] == ""


async def test_a_new_quantity_stands_at_the_end_and_the_columns_can_be_named(
    client: Client, cellar: Cellar
) -> None:
    cellar.result("A1", "SO2", 28.0)
    before = (await client.get("/sheets/wide.csv")).text.partition("\r\n")[0]
    cellar.result("A1", "PH", 3.41)
    after = (await client.get("/sheets/wide.csv")).text.partition("\r\n")[0]
    assert after.startswith(before + ",")
    (row,) = await rows(client, "/sheets/wide.csv?quantities=ph")
    assert list(row)[6:] == ["ph [pH]", "ph [pH] standing", "ph [pH] note"]
    (row,) = await rows(client, "/sheets/wide.csv?quantities=free_so2,ph,free_so2")
    assert [name for name in row if "[" in name and "standing" not in name and "note" not in name] == [
        "free_so2 [mg/L as SO2]",
        "ph [pH]",
    ]


async def test_the_newest_of_several_results_stands_in_the_wide_sheet(client: Client, cellar: Cellar) -> None:
    cellar.result("A1", "SO2", 30.0, NOON_US + HOUR_US)
    cellar.result("A1", "SO2", 28.0, NOON_US)
    (row,) = await rows(client, "/sheets/wide.csv")
    assert row["free_so2 [mg/L as SO2]"] == "30.0"


async def test_where_there_is_no_number_there_is_none_and_the_note_says_why(
    client: Client, cellar: Cellar
) -> None:
    cellar.result("A1", "SO2", None, outcome="above_range")
    (row,) = await rows(client, "/sheets/wide.csv?all=true")
    assert row["free_so2 [mg/L as SO2]"] == ""
    assert row["free_so2 [mg/L as SO2] note"].startswith("above_range")
    (row,) = await rows(client, "/sheets/results.csv?all=true")
    assert (row["value"], row["outcome"]) == ("", "above_range")
    (cell,) = await cells(client, "/sheets/wide.xlsx?all=true")
    assert cell["free_so2 [mg/L as SO2]"] is None


async def test_reasons_stand_in_a_cell_as_their_codes(client: Client, cellar: Cellar) -> None:
    cellar.result("A1", "SO2", None, outcome="above_range")
    cellar.result("A2", "SO2", 28.0)
    doubtful, good = await rows(client, "/sheets/results.csv?all=true")
    wide, _ = await rows(client, "/sheets/wide.csv?all=true")
    assert f"above_range; {doubtful['reasons']}" == wide["free_so2 [mg/L as SO2] note"]
    assert good["reasons"] == ""
    assert [cell["reasons"] for cell in await cells(client, "/sheets/results.xlsx?all=true")] == [
        doubtful["reasons"],
        None,
    ]


async def test_only_released_results_are_shown_unless_all_are_asked_for(
    client: Client, cellar: Cellar
) -> None:
    number = cellar.result("A1", "SO2", 28.0)
    cellar.result("A2", "SO2", 29.0)
    cellar.reject(number)
    for name in ("results", "wide"):
        assert [one["sample"] for one in await rows(client, f"/sheets/{name}.csv")] == ["A2"]
        assert [one["sample"] for one in await rows(client, f"/sheets/{name}.csv?all=1")] == ["A1", "A2"]


async def test_the_sheet_of_lots_holds_the_newest_of_each_with_its_age(
    client: Client, cellar: Cellar
) -> None:
    cellar.result("A1", "SO2", 28.0, NOON_US)
    cellar.result("A2", "SO2", 26.0, NOON_US + 12 * HOUR_US)
    cellar.result("B1", "SO2", 31.0, NOON_US + 6 * HOUR_US)
    cellar.result("A1", "PH", 3.41, NOON_US)
    found = await rows(client, f"/sheets/lots.csv?at={AT}")
    assert [(one["lot"], one["quantity"], one["sample"], one["value"], one["age_d"]) for one in found] == [
        ("L1", "free_so2", "A2", "26.0", "0.50"),
        ("L1", "ph", "A1", "3.41", "1.00"),
        ("L2", "free_so2", "B1", "31.0", "0.75"),
    ]
    earlier = await rows(client, "/sheets/lots.csv?lot=L1&quantity=free_so2&at=2025-10-03T13:00:00Z")
    assert [(one["value"], one["age_d"]) for one in earlier] == [("28.0", "0.04")]


async def test_lots_without_a_time_are_those_of_the_minute_that_has_begun(
    store: Store, cellar: Cellar
) -> None:
    cellar.result("A1", "SO2", 28.0)
    times = iter([NOON_US, NOON_US + 59_999_999, NOON_US + 60_000_000])
    now = [NOON_US]
    app = app_on(replace(still_services(store), clock_us=lambda: now[0]))
    async with Client(transport=httpx.ASGITransport(app), base_url=BASE) as client:
        etags = []
        for now[0] in times:
            etags.append((await client.get("/sheets/lots.csv")).headers["etag"])
    close_app(app)
    assert etags[0] == etags[1] != etags[2]


async def test_an_amendment_shows_in_every_sheet_and_its_undoing_too(client: Client, cellar: Cellar) -> None:
    number = cellar.result("A1", "SO2", 28.0)
    tag = (await client.get("/sheets/results.csv")).headers["etag"]
    (first,) = await rows(client, "/sheets/results.csv")
    amendment = cellar.amend(number, 56.0)
    changed = await client.get("/sheets/results.csv", headers={"If-None-Match": tag})
    assert changed.status_code == 200
    (row,) = await rows(client, "/sheets/results.csv")
    assert (row["value"], row["version"], row["amendment"]) == ("56.0", "2", str(amendment))
    assert int(row["revision"]) > int(first["revision"])
    assert (await rows(client, "/sheets/wide.csv"))[0]["free_so2 [mg/L as SO2]"] == "56.0"
    assert (await rows(client, f"/sheets/lots.csv?at={AT}"))[0]["value"] == "56.0"
    assert (await client.get("/sheets/value.txt?lot=L1&quantity=free_so2")).text == "56.0"
    (told,) = await rows(client, "/sheets/amendments.csv")
    assert (told["original"], told["value"], told["state"], told["amended_by"], told["why"]) == (
        "28.0",
        "56.0",
        "in_force",
        "MAL",
        "aliquot was 10 mL",
    )
    cellar.take_back(amendment)
    (row,) = await rows(client, "/sheets/results.csv")
    assert (row["value"], row["version"], row["amendment"]) == ("28.0", "1", "")
    assert (await rows(client, "/sheets/amendments.csv"))[0]["state"] == "undone"


@pytest.mark.parametrize("name", ["results", "wide", "lots", "amendments"])
async def test_since_shows_what_a_later_entry_touched(client: Client, cellar: Cellar, name: str) -> None:
    first = cellar.result("A1", "SO2", 28.0)
    cellar.result("B1", "SO2", 31.0)
    cellar.amend(first, 30.0)
    head = cellar.store.writer.head.number
    assert await rows(client, f"/sheets/{name}.csv?since={head}") == []
    cellar.amend(first, 56.0)
    assert len(await rows(client, f"/sheets/{name}.csv?since={head}")) == 1
    refused = await client.get(f"/sheets/{name}.csv?since={head + 1000}")
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["parameter"] == "since"


FILTERS: list[tuple[str, set[str]]] = [
    ("sample=A1", {"A1"}),
    ("lot=L2", {"B1"}),
    ("lot=nowhere", set()),
    ("instrument=burette-1", {"A1", "B1"}),
    ("instrument=other", set()),
    ("method=SO2", {"A1", "B1"}),
    ("method=PH", set()),
    ("standing=good", {"A1", "B1"}),
    ("standing=do_not_use", set()),
    ("from=2025-10-03T12:30:00Z", {"B1"}),
    ("to=2025-10-03T12:30:00Z", {"A1"}),
]


@pytest.mark.parametrize("name", ["results", "wide", "lots"])
@pytest.mark.parametrize(("query", "expected"), FILTERS)
async def test_filters_choose_rows(
    client: Client, cellar: Cellar, name: str, query: str, expected: set[str]
) -> None:
    cellar.result("A1", "SO2", 28.0)
    cellar.result("B1", "SO2", 31.0, NOON_US + HOUR_US)
    found = await rows(client, f"/sheets/{name}.csv?{query}" + (f"&at={AT}" if name == "lots" else ""))
    assert {one["sample"] for one in found} == expected


async def test_judged_records_stand_in_two_sheets(client: Client, cellar: Cellar) -> None:
    cellar.mass_check(100.0)
    cellar.mass_check(99.0, NOON_US + HOUR_US)
    cellar.check(26.1)
    found = await rows(client, "/sheets/calibrations.csv")
    assert [(one["kind"], one["instrument"], one["value"], one["verdict"]) for one in found] == [
        ("mass_check", "balance-1", "100.0", "pass"),
        ("mass_check", "balance-1", "99.0", "fail"),
    ]
    assert [one["value"] for one in await rows(client, "/sheets/calibrations.csv?verdict=fail")] == ["99.0"]
    since = found[0]["revision"]
    assert [one["value"] for one in await rows(client, f"/sheets/calibrations.csv?since={since}")] == ["99.0"]
    assert len(await rows(client, "/sheets/calibrations.csv?to=2025-10-03T12:30:00Z")) == 1
    (check,) = await rows(client, "/sheets/checks.csv?quantity=free_so2")
    assert (check["kind"], check["value"], check["unit"]) == ("check", "26.1", "mg/L")
    assert await rows(client, "/sheets/checks.csv?instrument=balance-1") == []


@pytest.mark.parametrize("name", SHEETS)
async def test_an_empty_sheet_is_a_header_row_in_both_forms(client: Client, name: str) -> None:
    text = await client.get(f"/sheets/{name}.csv")
    assert (text.status_code, text.text.count("\r\n")) == (200, 1)
    book = await client.get(f"/sheets/{name}.xlsx")
    (head,) = page(book).iter_rows(values_only=True)
    assert list(head) == text.text.strip().split(",")


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
async def test_the_same_request_twice_is_byte_equal_and_not_sent_twice(
    client: Client, cellar: Cellar, name: str, ending: str
) -> None:
    cellar.amend(cellar.result("A1", "SO2", 28.0), 56.0)
    cellar.mass_check(100.0)
    one, other = [await client.get(f"/sheets/{name}.{ending}?tz=Europe/Berlin") for _ in range(2)]
    assert one.content == other.content
    head = await client.head(f"/sheets/{name}.{ending}?tz=Europe/Berlin")
    assert head.content == b""
    for header in ("etag", "content-type", "cache-control"):
        assert head.headers[header] == one.headers[header] == other.headers[header]
    again = await client.get(
        f"/sheets/{name}.{ending}?tz=Europe/Berlin", headers={"If-None-Match": one.headers["etag"]}
    )
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize("name", SHEETS)
async def test_text_and_workbook_hold_the_same(
    client: Client, cellar: Cellar, filler: Filler, name: str
) -> None:
    filler.hear(filler.open("ph", "ph-1"), b"3.410\n", [Answer("ph", "3.410", "pH", sample="=1+1")])
    cellar.amend(cellar.result("A1", "SO2", 28.0), 56.0)
    cellar.result("B1", "PH", 3.4)
    cellar.mass_check(99.0)
    cellar.check(26.0)
    cellar.addition("L1", 100.25)
    texts = await rows(client, f"/sheets/{name}.csv?guard=false&tz=Europe/Berlin&dialect=sheet")
    typed = await cells(client, f"/sheets/{name}.xlsx?tz=Europe/Berlin")
    assert len(texts) == len(typed) > 0
    for text, cell in zip(texts, typed, strict=True):
        assert text.keys() == cell.keys()
        for column, shown in cell.items():
            assert _as_text(shown, text[column]) == text[column], column


def _as_text(shown: Any, like: str) -> str:
    """Return a cell of a workbook as the dialect for sheets writes it, with as many digits as that."""
    match shown:
        case None:
            return ""
        case datetime():
            return f"{shown:%Y-%m-%d %H:%M:%S}.{shown.microsecond // 1000:03d}"
        case bool() | int() | float():
            return f"{shown:.{len(like.partition('.')[2])}f}"
        case _:
            return str(shown)


async def test_times_are_told_in_a_zone_with_their_offset(client: Client, cellar: Cellar) -> None:
    summer = int(datetime(2025, 10, 26, 0, 30, tzinfo=UTC).timestamp() * 1e6)
    cellar.result("A1", "SO2", 28.0, summer)
    cellar.result("A2", "SO2", 28.0, summer + HOUR_US)
    both = await rows(client, "/sheets/results.csv?tz=Europe/Berlin")
    assert [(one["measured_at_local"], one["utc_offset_min"]) for one in both] == [
        ("2025-10-26T02:30:00.000000+02:00", "120"),
        ("2025-10-26T02:30:00.000000+01:00", "60"),
    ]
    sheet = await rows(client, "/sheets/results.csv?tz=Europe/Berlin&dialect=sheet-eu", ";")
    assert [(one["measured_at_local"], one["utc_offset_min"]) for one in sheet] == [
        ("2025-10-26 02:30:00,000", "120"),
        ("2025-10-26 02:30:00,000", "60"),
    ]
    wide = await rows(client, "/sheets/wide.csv?tz=Europe/Berlin")
    assert [one["measured_at_local"] for one in wide] == [one["measured_at_local"] for one in both]
    typed = await cells(client, "/sheets/results.xlsx?tz=Europe/Berlin")
    assert [(one["measured_at_local"], one["utc_offset_min"]) for one in typed] == [
        (datetime(2025, 10, 26, 2, 30), 120),  # noqa: DTZ001 - workbooks know no zones
        (datetime(2025, 10, 26, 2, 30), 60),  # noqa: DTZ001
    ]


@pytest.mark.parametrize("zone", ["Mars/Base", "../../etc/passwd", "Europe/", "x" * 61, ""])
async def test_a_zone_that_there_is_not_is_refused_by_name(client: Client, zone: str) -> None:
    answer = await client.get("/sheets/results.csv", params={"tz": zone})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == "tz"


async def test_the_guard_and_the_byte_order_mark_are_as_asked(client: Client, filler: Filler) -> None:
    filler.hear(filler.open("ph", "ph-1"), b"3.410\n", [Answer("ph", "3.410", "pH", sample="=1+1")])
    assert (await rows(client, "/sheets/readings.csv"))[0]["sample"] == "'=1+1"
    assert (await rows(client, "/sheets/readings.csv?guard=false"))[0]["sample"] == "=1+1"
    assert (await client.get("/sheets/readings.csv?bom=true")).content.startswith(b"\xef\xbb\xbfrevision,")
    (cell,) = await cells(client, "/sheets/readings.xlsx")
    assert cell["sample"] == "=1+1"


async def test_a_workbook_holds_no_formula_and_keeps_digits_zeros_and_long_text(
    client: Client, filler: Filler
) -> None:
    answers = [
        Answer("ph", "3.410", "pH", sample="00042"),
        Answer("ph", "-0.50", "pH", sample="1E5"),
        Answer("ph", "7", "pH", sample="https://x"),
        Answer("ph", "7", "pH", sample="=HYPERLINK(1)"),
    ]
    filler.hear(filler.open("ph", "ph-1"), b"3.410\n", answers)
    head, *lines = page(await client.get("/sheets/readings.xlsx")).iter_rows()
    place = {cell.value: number for number, cell in enumerate(head)}
    assert [line[place["sample"]].value for line in lines] == ["00042", "1E5", "https://x", "=HYPERLINK(1)"]
    assert {line[place["sample"]].data_type for line in lines} == {"s"}
    assert [line[place["value"]].number_format for line in lines] == ["0.000", "0.00", "0", "0"]
    assert {line[place["value"]].data_type for line in lines} == {"n"}


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("wide.csv?quantities=a;b", "quantities"),
        ("wide.csv?quantity=ph", "quantity"),
        ("results.csv?standing=fine", "standing"),
        ("lots.csv?at=yesterday", "at"),
        ("calibrations.csv?verdict=maybe", "verdict"),
        ("results.xlsx?dialect=sheet", "dialect"),
        ("results.csv?since=-1", "since"),
        ("results.csv?from=2025-10-04T00:00:00Z&to=2025-10-03T00:00:00Z", "to"),
        ("amendments.csv?lot=L1", "lot"),
    ],
)
async def test_a_parameter_that_cannot_be_used_is_named(client: Client, query: str, parameter: str) -> None:
    answer = await client.get(f"/sheets/{query}")
    assert answer.status_code in {400, 422}
    assert answer.json()["errors"][0]["parameter"] == parameter


async def test_one_cell_gets_the_newest_released_value_alone(client: Client, cellar: Cellar) -> None:
    assert (await client.get("/sheets/value.txt?lot=L1&quantity=free_so2")).text == ""
    cellar.result("A1", "SO2", 28.4, NOON_US)
    cellar.result("A2", "SO2", 27.1, NOON_US + HOUR_US)
    answer = await client.get("/sheets/value.txt?lot=L1&quantity=free_so2")
    assert (answer.text, answer.headers["content-type"]) == ("27.1", "text/plain; charset=utf-8")
    for query, text in (
        ("sample=A1", "28.4"),
        ("sample=A1&dialect=sheet-eu", "28,4"),
        ("lot=L1&at=2025-10-03T12:30:00Z", "28.4"),
        ("lot=L1&method=PH", ""),
        ("lot=L2", ""),
    ):
        assert (await client.get(f"/sheets/value.txt?quantity=free_so2&{query}")).text == text


@pytest.mark.parametrize(
    ("standing", "outcome", "numeral", "text"),
    [
        ("good", "value", "28.4", "28.4"),
        ("provisional", "value", "28.4", "28.4"),
        ("look_again", "value", "28.4", "look again"),
        ("do_not_use", "value", "28.4", "do not use"),
        (None, "value", "28.4", "not judged"),
        ("good", "above_range", None, "above range"),
    ],
)
def test_one_cell_gets_words_where_a_number_must_not_be_used(
    standing: str | None, outcome: str, numeral: str | None, text: str
) -> None:
    found = OneValue(7, 9, "A1", "free_so2", outcome, numeral, "mg/L", "SO2", standing, NOON_US)
    assert cell_text(found) == text


async def test_one_cell_wants_a_lot_or_a_sample_that_there_is(client: Client, cellar: Cellar) -> None:
    for query in ("", "&lot=L1&sample=A1"):
        answer = await client.get(f"/sheets/value.txt?quantity=ph{query}")
        assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (400, "lot")
    assert (await client.get("/sheets/value.txt?quantity=ph&lot=nowhere")).status_code == 404
    assert (await client.get("/sheets/value.xml?lot=L1")).status_code == 422


async def test_the_small_document_says_what_stands_beside_the_value(client: Client, cellar: Cellar) -> None:
    cellar.result("A1", "SO2", 28.4)
    answer = await client.get("/sheets/value.xml?lot=L1&quantity=free_so2")
    assert answer.headers["content-type"].startswith("application/xml")
    for element in (
        "<value>28.4</value>",
        "<unit>mg/L</unit>",
        "<basis>SO2</basis>",
        "<standing>good</standing>",
        "<sample>A1</sample>",
        "<measured_at>2025-10-03T12:00:00.000000Z</measured_at>",
        "<store>demo</store>",
    ):
        assert element in answer.text
    empty = await client.get("/sheets/value.xml?lot=L2&quantity=free_so2")
    assert "<value></value>" in empty.text


async def test_text_is_packed_for_the_network_alone(app: FastAPI, store: Store, cellar: Cellar) -> None:
    cellar.result("A1", "SO2", 28.4)
    key = hand_out(store, "sheet", KeyScope.READ)
    address = f"/sheets/results.csv?key={key}"
    plain = await _raw(app, address, "gzip")
    packed = await _raw(network_side(app), address, "deflate, gzip;q=0.5")
    refused = await _raw(network_side(app), address, "gzip;q=0")
    assert gzip.decompress(packed[1]) == plain[1] == refused[1]
    assert packed[0][b"content-encoding"] == b"gzip"
    assert b"content-encoding" not in plain[0]
    assert packed[0][b"vary"] == plain[0][b"vary"] == b"Accept-Encoding"


async def _raw(app: Any, address: str, accepts: str) -> tuple[dict[bytes, bytes], bytes]:
    """Return headers and body as they go over the wire."""
    path, _, query = address.partition("?")
    scope: Scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "query_string": query.encode(),
        "headers": [(b"host", b"127.0.0.1"), (b"accept-encoding", accepts.encode())],
        "client": ("127.0.0.1", 1),
    }
    sent: list[Message] = []
    asked = iter([{"type": "http.request", "body": b"", "more_body": False}])

    async def receive() -> Message:
        return next(asked, {"type": "http.disconnect"})

    async def send(message: Message) -> None:
        sent.append(message)

    await app(scope, receive, send)
    return dict(sent[0]["headers"]), b"".join(message.get("body", b"") for message in sent[1:])


async def test_so_many_sheets_are_sent_at_a_time_and_places_are_given_back(
    app: FastAPI, client: Client
) -> None:
    for name in SHEETS:
        for ending in ("csv", "xlsx"):
            await client.get(f"/sheets/{name}.{ending}")
            await client.get(f"/sheets/{name}.{ending}?since=9999999")
    exports = app.state.parts.exports
    for _ in range(OPEN_LIMIT):
        exports.enter()
    refused = await client.get("/sheets/results.csv")
    assert refused.status_code == 503
    assert refused.headers["retry-after"] == "3"
    assert (await client.get("/api/v1/health")).status_code == 200
    exports.leave()
    assert (await client.get("/sheets/results.xlsx")).status_code == 200


async def test_a_finished_workbook_leaves_nothing_behind(
    client: Client, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert (await client.get("/sheets/results.xlsx")).status_code == 200
    assert list(tmp_path.iterdir()) == []
