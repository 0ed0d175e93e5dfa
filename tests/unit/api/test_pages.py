import re
from dataclasses import replace

import httpx
import pytest
from fastapi import FastAPI

from api import pages
from api.app import close_app, create_app
from api.services import ApiSettings
from storage.store import Store
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import Answer, Filler

Client = httpx.AsyncClient
PAGES = ["/", "/today", "/lines", "/readings/128", "/api/v1/docs"]


async def test_the_bench_is_whole_before_anything_was_heard(client: Client) -> None:
    text = (await client.get("/")).text
    assert "No reading yet" in text
    assert "listening" in text


async def test_the_bench_shows_the_newest_number_large_with_its_unit(
    bench: Client, ids: dict[str, int]
) -> None:
    text = (await bench.get("/")).text
    assert '<span class="number">3.417</span>' in text
    assert "20.4" in text


async def test_the_bench_shows_the_answer_larger_than_what_led_to_it(client: Client, filler: Filler) -> None:
    answers = [Answer("dispensed_volume", "1.67", "mL"), Answer("free_so2", "21.4", "mg/L")]
    filler.hear(filler.open("burette", "burette-1"), b"1.67;21.4\r\n", answers)
    assert '<span class="number">21.4</span>' in (await client.get("/")).text


async def test_the_bench_shows_words_where_there_is_no_number(bench: Client, ids: dict[str, int]) -> None:
    text = (await bench.get("/")).text
    assert re.search(r'<span class="number words"[^>]*>above range</span>', text)
    assert "it sent <code>&gt;OVR</code>" in text


async def test_the_bench_draws_a_trend_of_a_stream_alone(bench: Client, ids: dict[str, int]) -> None:
    text = (await bench.get("/")).text
    assert text.count('<figure class="trend">') == 1
    assert "last 40 readings" in text


async def test_the_bench_gives_the_exact_address_for_a_spreadsheet(bench: Client) -> None:
    text = (await bench.get("/")).text
    assert "<code>http://127.0.0.1:8710/sheets/readings.csv?dialect=sheet-eu</code>" in text


async def test_a_state_is_told_by_word_and_shape(bench: Client) -> None:
    states = re.findall(
        r'<span class="state state-\w+"><svg.*?</svg>([^<]+)</span>', (await bench.get("/")).text, re.DOTALL
    )
    assert states == ["listening", "lost, trying again"]


async def test_lines_say_why_and_what_to_do(bench: Client) -> None:
    text = (await bench.get("/lines")).text
    assert "is the cable plugged in?" in text
    assert "comes back by itself" in text
    assert "three parts came, five were wanted" in text


@pytest.mark.parametrize("page", ["/", "/lines", "/api/v1/docs"])
async def test_every_page_warns_when_the_store_cannot_be_written(
    client: Client, app: FastAPI, page: str
) -> None:
    health = app.state.parts.services.health
    health.told = replace(health.told, store_ok=False, store_why="database or disk is full")
    assert "The store cannot be written: database or disk is full" in (await client.get(page)).text


async def test_the_thread_shows_the_bytes_and_the_driver(bench: Client, ids: dict[str, int]) -> None:
    text = (await bench.get(f"/readings/{ids['W-1007']}")).text
    assert "46 3b 57 2d 31 30 30 37" in text
    assert "F;W-1007;28.40;m" in text
    assert "burette-text, version 1" in text


async def test_what_an_instrument_sends_cannot_become_markup(client: Client, filler_of_markup: int) -> None:
    for address in ("/", f"/readings/{filler_of_markup}"):
        text = (await client.get(address)).text
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text


@pytest.mark.parametrize(("kind", "banners"), [("demo", 1), ("practice", 1), ("real", 0)])
async def test_demo_and_practice_data_carry_a_banner_on_every_page(
    filled: tuple[Store, dict[str, int]], kind: str, banners: int
) -> None:
    app = create_app(still_services(filled[0], ApiSettings(kind)))
    async with Client(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1") as client:
        texts = [(await client.get(address)).text for address in PAGES]
    close_app(app)
    assert [text.count(f"{kind.upper()} DATA") for text in texts] == [banners] * len(PAGES)
    assert [text.count('class="banner"') for text in texts] == [banners] * len(PAGES)


@pytest.mark.parametrize("address", PAGES)
async def test_pages_need_nothing_from_elsewhere(bench: Client, ids: dict[str, int], address: str) -> None:
    text = (await bench.get(address)).text
    fetched = re.findall(r'(?:src|<link[^>]*href)="([^"]+)"', text)
    assert fetched
    assert all(address.startswith("/static/") for address in fetched)
    assert " style=" not in text
    assert "onclick" not in text


@pytest.mark.parametrize("address", PAGES)
async def test_pages_are_never_kept_by_a_cache(bench: Client, ids: dict[str, int], address: str) -> None:
    assert (await bench.get(address)).headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("name", "media_type"),
    [
        ("tundish.css", "text/css"),
        ("live.js", "text/javascript"),
        ("acts.js", "text/javascript"),
        ("mark.svg", "image/svg+xml"),
    ],
)
async def test_static_files_have_their_type(bench: Client, name: str, media_type: str) -> None:
    answer = await bench.get(f"/static/{name}")
    assert answer.headers["content-type"].partition(";")[0] == media_type
    assert answer.content


async def test_the_description_shows_code_as_code(bench: Client) -> None:
    text = (await bench.get("/api/v1/docs")).text
    assert "<code>outcome</code> says why" in text
    assert "`" not in text


def test_markup_between_backticks_stays_text() -> None:
    assert pages.code_words("a `<b>` <i>") == "a <code>&lt;b&gt;</code> &lt;i&gt;"
