"""A weaker titrant is supposed on the page, applied for a reason, and taken back."""

import re

import pytest
from playwright.sync_api import Browser

from tests.browser.test_pages import FAINT, LARGE_CONTRAST, LEAST_CONTRAST, STICKS_OUT, UNNAMED
from tests.browser.visitor import NARROW_PX, Visitor, visiting
from tests.integration.bench_run import Daemon, until

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")

AMENDMENT = re.compile(r"/what-if/\d+$")
SINCE = "2020-01-01T00:00:00Z"


@pytest.fixture(scope="module")
def titrated(cellar: Daemon) -> int:
    """Enter a titre of free SO2 by an iodine of its own, and return the number of its result."""
    bottle = {"name": "iodine", "reagent_kind": "titrant", "nominal_mol_per_l": 0.01}
    cellar.post("/api/v1/reagents", {"code": "I-77", "fields": bottle, "valid_from": SINCE}, who="MAL")
    strengths = {"strengths_mol_per_l": [0.01] * 3, "again_mol_per_l": [0.01] * 3}
    cellar.post("/api/v1/standardisations", {"titrant": "I-77", **strengths}, who="MAL")
    method = {
        "name": "free SO2 by a titre",
        "quantity": "free_so2",
        "formula": "free_so2_iodine",
        "reading_quantity": "dispensed_volume",
        "instruments": ["bur-7"],
        "titrant": "I-77",
        "aliquot_ml": 50,
    }
    cellar.post("/api/v1/methods", {"code": "free-77", "fields": method, "valid_from": SINCE}, who="MAL")
    titre = {"method": "free-77", "sample": "W-1003", "value": 3.2, "again": 3.2, "instrument": "bur-7"}
    made: int = cellar.post("/api/v1/results", titre, who="MAL")["id"]
    return made


def suppose(visitor: Visitor, factor: str) -> None:
    """Fill in the sheet for this century and send it by keyboard."""
    visitor.open("/what-if")
    visitor.page.fill("input[name='begin']", "2020-01-01T00:00:00")
    visitor.page.fill("input[name='end']", "2099-01-01T00:00:00")
    visitor.page.fill("input[name='titrant']", "I-77")
    visitor.page.fill("input[name='factor_1']", factor)
    visitor.page.keyboard.press("Enter")
    visitor.page.wait_for_selector("#preview-title")


def test_a_weaker_titrant_is_supposed_applied_and_taken_back(
    worker: Visitor, cellar: Daemon, titrated: int
) -> None:
    before = cellar.get(f"/api/v1/results/{titrated}")
    suppose(worker, "0.5")
    assert worker.shows("41.00")  # 3.2 mL x 0.01 mol/L x 64.06 g/mol / 50 mL
    assert worker.shows("20.50")
    assert worker.shows("band of 25-PN-01: inside → below: look what a dose would do")
    assert cellar.get(f"/api/v1/results/{titrated}")["version"] == 1
    worker.page.fill("[data-who]", "YAR")
    worker.page.fill("input[name='reason']", "the bottle was diluted twice")
    worker.page.keyboard.press("Enter")
    worker.page.wait_for_url(AMENDMENT)
    assert worker.shows("In force")
    assert cellar.get(f"/api/v1/results/{titrated}")["value"] == pytest.approx(before["value"] / 2)
    worker.page.fill("input[name='reason']", "it was another bottle")
    worker.page.click("button:text-is('Take it back')")
    until("it to be taken back", lambda: worker.shows("Undone") or None)
    assert cellar.get(f"/api/v1/results/{titrated}")["value"] == before["value"]


def test_what_cannot_be_supposed_is_told_and_nothing_can_be_applied(worker: Visitor, titrated: int) -> None:
    worker.open(f"/what-if?kind=sample&reading={titrated}&sample=W-1001")
    assert worker.shows("It cannot be supposed: no result stands on reading")
    assert worker.page.locator("form[aria-label='Apply it']").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_sheet_fits_a_narrow_window_and_can_be_read(
    browser: Browser, cellar: Daemon, titrated: int, scheme: str
) -> None:
    size = {"width": NARROW_PX, "height": 800}
    with visiting(browser, cellar.url, viewport=size, color_scheme=scheme) as narrow:
        suppose(narrow, "0.9")
        sheet = narrow.page.url.removeprefix(cellar.url)
        for page in (sheet, "/what-if?kind=aliquot", "/what-if?kind=sample", "/what-if/driver"):
            narrow.open(page)
            assert narrow.ask(STICKS_OUT) == [], page
            assert narrow.ask(FAINT, [LEAST_CONTRAST, LARGE_CONTRAST]) == [], page
            assert narrow.ask(UNNAMED) == [], page
    assert titrated
