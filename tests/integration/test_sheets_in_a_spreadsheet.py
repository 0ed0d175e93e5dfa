"""A real spreadsheet program loads every sheet by its recipe and sees what a program sees, in every locale.

Its exit code says nothing, so its cells are asked for one by one.
"""

import csv
import io
import subprocess
import zipfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import httpx
import pytest

from api.recipes import IMPORT_OPTIONS, SHEETS, Reader, address, headings_of, recipes
from storage.csv_text import Kind
from storage.store import open_store
from tests.fakes.cellar import HOUR_US, Cellar
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.integration.bench_run import LIMIT_S, PLAIN, Daemon, daemon, free_port
from tests.integration.calc import PYTHON, Calc, calc
from tests.unit.bench.acts import take_in

pytestmark = pytest.mark.needs("libreoffice")

WORKBOOK: Final = Path(__file__).parents[2] / "docs" / "example_workbook.py"
LOCALES: Final = ("de-DE", "en-US", "fr-FR")
DAY_0: Final = datetime(1899, 12, 30)  # noqa: DTZ001 - the day that spreadsheets count from knows no zone
HALF_A_MILLISECOND_D: Final = 0.0005 / 86_400  # [d]
FORMULAS: Final = (
    "=1+1",
    "+SUM(1)",
    "-1+1",
    "@SUM(1)",
    "\t=1+1",
    " =1+1",
    '=HYPERLINK("http://x")',
    "\uff1d1+1",
)
TRICKY: Final = ("00042", "1E5", "3/4", "12:30", "1,234", "TRUE", "1-2", "MAR1", "é;ü", 'a"b', "=", "'x")


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """A daemon on a store with something in every sheet, and ids that spreadsheets are known to spoil."""
    folder = tmp_path_factory.mktemp("sheets")
    store = open_store(folder / "store.db", kind="demo", clock_us=lambda: NOON_US)
    filler = Filler(store)
    answers = [Answer("ph", "3.410", "pH", sample=sample) for sample in (*FORMULAS, *TRICKY)]
    answers += [Answer("redox", "-0.50", "mV"), Answer("free_so2", ">50", "mg/L", outcome="above_range")]
    filler.hear(filler.open("stand", "stand-1"), b"F;\r\n", answers)
    cellar = Cellar(store)
    for sample, lot in (("A1", "L1"), ("B1", "L2")):
        cellar.sample(sample, lot)
    cellar.amend(cellar.result("A1", "SO2", 28.4), 56.8)
    cellar.result("A1", "PH", 3.41, NOON_US + HOUR_US + 123_000)
    cellar.result("B1", "SO2", 31.25)
    cellar.mass_check(99.0)
    cellar.check(26.1)
    cellar.addition("L1", 100.25)
    take_in(store)  # so that the daemon has nothing left to change between two looks at a sheet
    store.close()
    port = free_port()
    config = folder / "tundish.toml"
    config.write_text(f'[store]\npath = "store.db"\nkind = "demo"\n[api]\nport = {port}\n', encoding="utf-8")
    with daemon(config, port) as found:
        yield found


@pytest.fixture(scope="module", params=LOCALES)
def program(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Calc]:
    """The program in a locale; one after the other."""
    with calc(tmp_path_factory.mktemp("calc"), request.param) as found:
        yield found


def told(running: Daemon, sheet: str, **query: str) -> list[list[str]]:
    """Return the rows as a program gets them."""
    url = address(sheet, Reader(running.url), **query)
    text = httpx.get(url, verify=PLAIN).raise_for_status().text
    return list(csv.reader(io.StringIO(text, newline="")))


def compare(cells: list[list[Any]], rows: list[list[str]], names: list[str], kinds: dict[str, Kind]) -> None:
    """Check each cell: numbers are equal, times are times, text is text, nothing is a formula."""
    assert len(cells) == len(rows)
    for line, row in zip(cells[1:], rows[1:], strict=True):
        for name, cell, text in zip(names, line, row, strict=False):
            kind = kinds.get(name, Kind.NUMERAL if name.endswith("]") else Kind.TEXT)
            assert cell["kind"] != "formula", (name, cell)
            if text == "":
                assert cell["shown"] == "", (name, cell)
            elif kind in {Kind.NUMERAL, Kind.INTEGER}:
                assert (cell["kind"], cell["value"]) == ("value", float(text)), name
            elif kind is Kind.MOMENT:
                moment = datetime.fromisoformat(text.removesuffix("Z"))
                days = (moment - DAY_0) / timedelta(days=1)
                assert cell["kind"] == "value", (name, cell)
                assert cell["value"] == pytest.approx(days, abs=2 * HALF_A_MILLISECOND_D), name
            else:
                assert (cell["kind"], cell["shown"]) == ("text", text), name


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_linked_text_reads_the_same_in_every_locale_by_its_recipe(
    program: Calc, running: Daemon, sheet: str
) -> None:
    texts = {recipe.title: recipe.text for recipe in recipes(sheet, Reader(running.url))}
    cells = program.load(texts["LibreOffice Calc, linked text"], IMPORT_OPTIONS)
    rows = told(running, sheet)
    assert len(rows) > 1
    assert [cell["shown"] for cell in cells[0]] == rows[0]
    compare(cells, rows, rows[0], {one.name: one.kind for one in headings_of(sheet)})


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_linked_workbook_reads_the_same_in_every_locale(
    program: Calc, running: Daemon, sheet: str, tmp_path: Path
) -> None:
    texts = {recipe.title: recipe.text for recipe in recipes(sheet, Reader(running.url))}
    cells = program.load(texts["LibreOffice Calc, linked workbook"])
    rows = told(running, sheet, guard="false")
    compare(cells, rows, rows[0], {one.name: one.kind for one in headings_of(sheet)})


@pytest.mark.parametrize(("program", "language"), [("de-DE", 1031), ("fr-FR", 1036)], indirect=["program"])
@pytest.mark.parametrize("sheet", ["readings", "results", "wide"])
def test_the_dialect_with_a_comma_reads_the_same_where_the_comma_is_at_home(
    program: Calc, running: Daemon, sheet: str, language: int
) -> None:
    options = IMPORT_OPTIONS.replace("44,", "59,", 1).replace("1033", str(language))
    cells = program.load(address(sheet, Reader(running.url), dialect="sheet-eu"), options)
    rows = told(running, sheet)
    compare(cells, rows, rows[0], {one.name: one.kind for one in headings_of(sheet)})


def test_one_cell_gets_a_number_or_an_error_and_never_a_wrong_number(program: Calc, running: Daemon) -> None:
    texts = {recipe.title: recipe.text for recipe in recipes("results", Reader(running.url))}
    number = texts["One number in one cell"]
    fact = texts["Its unit, standing or time in another cell"]
    value, standing, unit, missing, wrong = program.formulas(
        number.replace("LOT", "L1"),
        fact.replace("LOT", "L1"),
        fact.replace("LOT", "L1").replace("//standing", "//unit"),
        number.replace("LOT", "L1").replace("free_so2", "total_so2"),
        number.replace("LOT", "nowhere"),
    )
    assert value["value"] == 56.8
    assert (standing["shown"], unit["shown"]) == ("good", "mg/L")
    for cell in (missing, wrong):
        assert cell["shown"] in {"#VALUE!", "Err:519", "#WERT!", "#VALEUR !", "#VALEUR!"}, cell


@pytest.mark.parametrize("program", ["de-DE"], indirect=True)
def test_a_refresh_after_an_act_shows_the_new_revision(program: Calc, running: Daemon) -> None:
    url = address("results", Reader(running.url), dialect="sheet")
    before = program.link(url, IMPORT_OPTIONS)
    number = next(line[0]["value"] for line in before[1:] if line[3]["shown"] == "B1")
    answer = httpx.post(
        f"{running.url}/api/v1/rejections",
        json={"results": [int(number)], "reason": "wrong flask"},
        headers={"Tundish-Actor": "AB"},
        verify=PLAIN,
    )
    assert answer.status_code == 200, answer.text
    after = program.refresh()
    assert [line[3]["shown"] for line in before[1:]] == ["A1", "A1", "B1"]
    assert [line[3]["shown"] for line in after[1:] if line[3]["shown"]] == ["A1", "A1"]


def test_the_example_workbook_holds_linked_sheets_and_one_cell_functions(
    running: Daemon, tmp_path: Path
) -> None:
    target = tmp_path / "example.ods"
    call = [PYTHON, str(WORKBOOK), running.url, str(target)]
    done = subprocess.run(call, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(target) as book:
        content = book.read("content.xml").decode()
    for sheet in ("lots", "wide", "results", "calibrations", "checks"):
        assert f"{running.url}/sheets/{sheet}.csv?dialect=sheet" in content
    assert content.count("WEBSERVICE") == 3
    assert "mass_check" in content  # what the sheets held when it was written
    with calc(tmp_path, "de-DE") as program:
        first = program.load(target.as_uri())
    assert first[0][1]["shown"] == "Free SO2"
