import csv
import io

import httpx
import pytest

from api.app import close_app
from api.services import ApiSettings
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import Answer, Filler
from tests.unit.api.conftest import BASE

Client = httpx.AsyncClient
SHEET = "/sheets/readings.csv"


def _rows(answer: httpx.Response, delimiter: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.text, newline=""), delimiter=delimiter))


async def test_an_empty_store_gives_the_header_row(client: Client) -> None:
    answer = await client.get(SHEET)
    assert answer.status_code == 200
    assert answer.text.startswith("revision,reading_id,version,measured_at_utc,")
    assert answer.text.count("\r\n") == 1


async def test_the_media_type_says_that_there_is_a_header_row(bench: Client) -> None:
    assert (await bench.get(SHEET)).headers["content-type"] == "text/csv; charset=utf-8; header=present"


async def test_a_sheet_holds_what_the_readings_hold(bench: Client, ids: dict[str, int]) -> None:
    rows = _rows(await bench.get(SHEET))
    items = (await bench.get("/api/v1/readings?limit=1000")).json()["items"]
    assert [(int(row["revision"]), row["value_text"].lstrip("'")) for row in rows] == [
        (item["revision"], item["value_text"]) for item in items
    ]


async def test_numbers_keep_their_digits_in_each_dialect(bench: Client, ids: dict[str, int]) -> None:
    expected = {"standard": ["28.40", "31.20", "-0.50"], "sheet-eu": ["28,40", "31,20", "-0,50"]}
    for dialect, numbers in expected.items():
        params = {"dialect": dialect, "quantity": "free_so2", "outcome": "value"}
        answer = await bench.get(SHEET, params=params)
        assert [row["value"] for row in _rows(answer, ";" if dialect == "sheet-eu" else ",")] == numbers


async def test_there_is_no_number_where_the_instrument_gave_none(bench: Client, ids: dict[str, int]) -> None:
    (row,) = _rows(await bench.get(SHEET, params={"outcome": "above_range"}))
    assert (row["value"], row["outcome"], row["value_text"]) == ("", "above_range", ">OVR")


async def test_a_sample_id_cannot_become_a_formula(bench: Client, ids: dict[str, int]) -> None:
    rows = _rows(await bench.get(SHEET, params={"dialect": "sheet", "sample": "=SUM(A1)"}))
    assert {row["sample"] for row in rows} == {"'=SUM(A1)"}


async def test_every_row_says_what_kind_of_store_it_is_from(bench: Client, ids: dict[str, int]) -> None:
    assert {row["store"] for row in _rows(await bench.get(SHEET))} == {"demo"}


async def test_the_same_address_gives_the_same_bytes(bench: Client, ids: dict[str, int]) -> None:
    one, other = [await bench.get(SHEET, params={"dialect": "sheet"}) for _ in range(2)]
    assert one.content == other.content
    assert one.headers["etag"] == other.headers["etag"]


async def test_nothing_new_is_answered_with_304_until_a_reading_comes(client: Client, filler: Filler) -> None:
    etag = (await client.get(SHEET)).headers["etag"]
    unchanged = await client.get(SHEET, headers={"If-None-Match": etag})
    filler.hear(filler.open("balance", "balance-1"), b"1.0\n", [Answer("mass", "1.0", "g")])
    changed = await client.get(SHEET, headers={"If-None-Match": etag})
    assert (unchanged.status_code, unchanged.content, changed.status_code) == (304, b"", 200)


async def test_what_is_no_reading_leaves_the_etag_as_it_was(client: Client, filler: Filler) -> None:
    capture = filler.open("balance", "balance-1")
    (reading, *_) = filler.hear(capture, b"1.0\n", [Answer("mass", "1.0", "g")])
    etag = (await client.get(SHEET)).headers["etag"]
    filler.hear(capture, b"?\n")
    filler.gap("balance", "balance-1", 7)
    assert (await client.get(SHEET, headers={"If-None-Match": etag})).status_code == 304
    filler.take(reading, "1.0", "g")
    assert (await client.get(SHEET, headers={"If-None-Match": etag})).status_code == 200


async def test_another_choice_has_another_etag(bench: Client) -> None:
    answers = [await bench.get(SHEET, params={"dialect": dialect}) for dialect in ("standard", "sheet")]
    assert answers[0].headers["etag"] != answers[1].headers["etag"]


async def test_a_download_names_the_file(bench: Client) -> None:
    assert "content-disposition" not in (await bench.get(SHEET)).headers
    answer = await bench.get(SHEET, params={"download": "1"})
    assert answer.headers["content-disposition"] == 'attachment; filename="readings.csv"'


async def test_head_says_the_same_as_get_without_a_body(bench: Client, ids: dict[str, int]) -> None:
    got, headed = await bench.get(SHEET), await bench.head(SHEET)
    for name in ("content-type", "etag", "cache-control"):
        assert headed.headers[name] == got.headers[name]
    assert headed.content == b""


async def test_more_rows_than_a_sheet_holds_are_refused_with_the_way_out(
    filled: tuple[Store, dict[str, int]],
) -> None:
    small = ApiSettings("demo", sheet_rows=86, workbook_rows=86)
    app = app_on(still_services(filled[0], small))
    async with Client(transport=httpx.ASGITransport(app), base_url=BASE) as client:
        for address in (f"{SHEET}?dialect=sheet", f"{SHEET}?dialect=sheet-eu", "/sheets/readings.xlsx"):
            refused = await client.get(address)
            assert refused.status_code == 400
            assert "narrow the rows with from and to" in refused.json()["errors"][0]["detail"]
        assert (await client.get(SHEET)).status_code == 200
        assert (await client.get(SHEET, params={"dialect": "sheet", "line": "ph"})).status_code == 200
    close_app(app)


@pytest.mark.parametrize("query", ["dialect=excel", "from=now", "limit=5", "download=perhaps"])
async def test_a_wrong_parameter_is_named(bench: Client, query: str) -> None:
    answer = await bench.get(f"{SHEET}?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == query.partition("=")[0]
