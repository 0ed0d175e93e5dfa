"""Recipes: what is to be pasted is right for the reader's own address, key and zone, and in the handbook."""

import ast
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from markupsafe import escape

from api.app import close_app
from api.keys import Scope
from api.recipes import CANNOT, IMPORT_OPTIONS, SHEETS, Reader, Recipe, address, headings_of, recipes
from api.services import ApiSettings
from storage.csv_text import Kind
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.keys import hand_out

Client = httpx.AsyncClient
HERE = Reader("http://127.0.0.1:8710")
KEYED = Reader("https://bench.example:8711", "KEY", "Europe/Berlin")
HANDBOOK = (Path(__file__).parents[3] / "docs" / "spreadsheets.md").read_text(encoding="utf-8")
EVERY_SHEET = pytest.mark.parametrize("sheet", SHEETS)
READERS = pytest.mark.parametrize("reader", [HERE, KEYED], ids=["here", "keyed"])


@EVERY_SHEET
@READERS
async def test_every_address_in_a_recipe_is_served(client: Client, sheet: str, reader: Reader) -> None:
    found = [
        one for recipe in recipes(sheet, reader) for one in re.findall(r"https?://[^\s\"']+", recipe.text)
    ]
    assert len(found) >= 7
    for one in found:
        assert one.startswith(reader.base)
        asked = urlsplit(one)
        query = {name: values[0] for name, values in parse_qs(asked.query).items()}
        query.pop("key", None)
        answer = await client.get(asked.path or "/", params=query)
        # A lot of that name is for the reader to fill in; a base without a path is completed by the query.
        assert answer.status_code == (404 if "lot" in query else 200), one


@EVERY_SHEET
@READERS
async def test_the_columns_that_recipes_type_are_those_of_the_sheet(
    client: Client, sheet: str, reader: Reader
) -> None:
    zone = {"tz": reader.zone} if reader.zone else {}
    head = (await client.get(f"/sheets/{sheet}.csv", params=zone)).text.strip().split(",")
    kinds = {one.name: one.kind for one in headings_of(sheet)}
    texts = {recipe.title: recipe.text for recipe in recipes(sheet, reader)}
    typed = re.findall(r'\{"(\w+)", type (\w+)\}', texts["Excel, web query"])
    assert {name for name, _ in typed} == set(head)
    for name, kind in typed:
        known = kinds.get(name.replace("_local", "_utc"), Kind.INTEGER)
        wanted = {Kind.TEXT: "text", Kind.MOMENT: "datetimezone"}.get(known, "number")
        assert kind == wanted, name
    assert set(re.findall(r'rows\["(\w+)"\] =', texts["pandas"])) == {
        name for name, kind in typed if kind == "datetimezone"
    }
    ast.parse(texts["pandas"])


def test_a_key_stands_in_a_header_where_a_program_can_send_one() -> None:
    texts = {recipe.title: recipe.text for recipe in recipes("results", KEYED)}
    for title in ("R", "pandas", "A shell"):
        assert "Bearer KEY" in texts[title]
        assert "key=KEY" not in texts[title]
    assert 'ApiKeyName = "key"' in texts["Excel, web query"]
    assert "KEY" not in texts["Excel, web query"]
    for title in ("LibreOffice Calc, linked text", "One number in one cell"):
        assert "key=KEY" in texts[title]
    for recipe in recipes("results", HERE):
        assert not re.search("bearer|key=|ApiKeyName|KEY", recipe.text)


@EVERY_SHEET
async def test_the_page_shows_what_to_paste_for_the_address_it_was_asked_at(
    client: Client, sheet: str
) -> None:
    text = (await client.get("/sheets", params={"sheet": sheet, "tz": "Europe/Berlin"})).text
    for recipe in recipes(sheet, Reader("http://127.0.0.1:8710", None, "Europe/Berlin")):
        assert str(escape(recipe.text)) in text
    assert f'<option value="{sheet}" selected>' in text


async def test_the_page_shows_the_readers_own_key_where_it_stands_in_the_address(store: Store) -> None:
    key = hand_out(store, "sheet", Scope.READ)
    app = app_on(still_services(store, ApiSettings("demo", loopback_open=False, failure_pause_s=0)))
    async with Client(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1:8710") as client:
        shown = (await client.get("/sheets", params={"key": key})).text
        hidden = (await client.get("/sheets", headers={"Authorization": f"Bearer {key}"})).text
        assert (await client.get("/sheets")).status_code == 401
    close_app(app)
    assert str(escape(address("results", Reader("http://127.0.0.1:8710", key), "xlsx"))) in shown
    assert key not in hidden
    assert "key=KEY" in hidden


@pytest.mark.parametrize("query", ["sheet=nothing", "tz=Mars/Base", "shet=wide"])
async def test_a_recipe_for_what_there_is_not_is_refused(client: Client, query: str) -> None:
    answer = await client.get(f"/sheets?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"].startswith(query.partition("=")[0])


@pytest.mark.parametrize(
    "recipe", recipes("results", Reader(HERE.base, "KEY")), ids=lambda recipe: recipe.title
)
def test_the_handbook_gives_the_same_text(recipe: Recipe) -> None:
    assert recipe.text in HANDBOOK
    assert recipe.title in HANDBOOK


def test_the_handbook_says_what_cannot_work() -> None:
    words = " ".join(HANDBOOK.split())
    for one in CANNOT:
        assert one in words


def test_the_import_settings_are_those_that_the_words_name() -> None:
    separator, quote, charset, first, columns, language, quoted_as_text, special, *_rest, formulas = (
        IMPORT_OPTIONS.split(",")
    )
    assert (chr(int(separator)), chr(int(quote)), charset, first, columns) == (",", '"', "76", "1", "")
    assert (language, quoted_as_text, special, formulas) == ("1033", "true", "true", "false")
