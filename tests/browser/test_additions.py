"""An addition is planned, weighed and done on the pages, by keyboard and on a narrow window."""

import re

import pytest
from playwright.sync_api import Browser

from tests.browser.test_pages import FAINT, LARGE_CONTRAST, LEAST_CONTRAST, STICKS_OUT, UNNAMED
from tests.browser.visitor import NARROW_PX, Visitor, visiting
from tests.integration.bench_run import Daemon, SimulatedBench, until

NUMBERED = re.compile(r"/additions/\d+$")

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")


def planned(worker: Visitor, lot: str) -> int:
    """Plan a dose of 20 mg/L by keyboard alone, and return its number."""
    worker.open("/additions/plan")
    worker.page.fill("input[name='lot']", lot)
    worker.page.fill("input[name='dose_mg_l']", "20")
    worker.page.keyboard.press("Enter")
    worker.page.wait_for_selector("#plan-title")
    worker.page.fill("[data-who]", "FEN")
    worker.page.fill("input[name='reason']", "below its band")
    worker.page.keyboard.press("Enter")
    worker.page.wait_for_url(NUMBERED)
    return int(worker.page.url.rpartition("/")[2])


def test_a_dose_is_worked_out_before_it_is_planned_and_the_balance_s_mass_is_tied(
    worker: Visitor, cellar: Daemon, balance: SimulatedBench
) -> None:
    number = planned(worker, "25-PN-01")
    made = cellar.get(f"/api/v1/additions/{number}")
    assert (made["lot"], made["actor"], made["reason"]) == ("25-PN-01", "FEN", "below its band")
    assert worker.shows(f"Weigh {made['plan']['salt_g']:g} g")
    balance.tell("press bal-2 put 61.1")
    balance.tell("press bal-2 print")
    tie = worker.page.locator("button[aria-label^='Tie 61.1'], button[aria-label^='Tie 61.0']").first
    tie.click()
    until("the mass", lambda: cellar.get(f"/api/v1/additions/{number}")["state"] == "weighed" or None)
    until("it on the page", lambda: worker.shows("weighed, not yet in") or None)
    step = cellar.get(f"/api/v1/additions/{number}")["steps"][0]
    assert step["mass_g"] == pytest.approx(61.1, abs=0.01)
    assert step["details"]["hand"] is False
    worker.page.click("button:text-is('It is in and mixed')")
    until("it on the page", lambda: worker.shows("measure free SO2 not before") or None)
    assert cellar.get(f"/api/v1/additions/{number}")["state"] == "done"


def test_a_mass_that_is_typed_is_typed_twice_and_what_differs_is_told_beside_it(
    worker: Visitor, cellar: Daemon
) -> None:
    number = planned(worker, "25-RS-01")
    worker.page.fill("input[name='mass_g']", "49.3")
    worker.page.fill("input[name='again_g']", "43.9")
    worker.page.keyboard.press("Enter")
    worker.page.wait_for_selector("[data-fault]")
    field = worker.page.locator("input[name='mass_g']")
    assert field.get_attribute("aria-invalid") == "true"
    assert worker.shows("a typed mass is entered twice, and both agree")
    assert cellar.get(f"/api/v1/additions/{number}")["state"] == "planned"
    worker.page.fill("input[name='again_g']", "49.3")
    worker.page.keyboard.press("Enter")
    until("it on the page", lambda: worker.shows("Weighed 49.3 g, typed twice, by FEN") or None)
    worker.complaints.clear()  # the refusal that was asked for


def test_the_same_dose_again_wants_a_tick_and_a_reason(worker: Visitor, cellar: Daemon) -> None:
    planned(worker, "24-ME-02")
    before = len(cellar.get("/api/v1/additions")["items"])
    worker.open("/additions/plan?lot=24-ME-02&substance=KMBS&dose_mg_l=20")
    assert worker.shows("Is a second one meant?")
    worker.page.click("button:text-is('Plan it')")
    worker.page.wait_for_selector("[data-fault]")
    assert len(cellar.get("/api/v1/additions")["items"]) == before
    worker.page.check("input[name='confirmed']")
    worker.page.fill("input[name='reason']", "half of it leaked away")
    worker.page.click("button:text-is('Plan it')")
    worker.page.wait_for_url(NUMBERED)
    assert len(cellar.get("/api/v1/additions")["items"]) == before + 1
    worker.complaints.clear()  # the refusal that was asked for


def test_the_card_prints_alone(worker: Visitor) -> None:
    number = planned(worker, "25-TP-01")
    worker.open(f"/additions/{number}/card")
    worker.page.emulate_media(media="print")
    seen = worker.page.locator("nav, .pulse, footer, button").all()
    assert not any(one.is_visible() for one in seen)
    assert worker.page.locator(".weigh strong").is_visible()
    assert worker.page.locator(".banner").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_of_additions_fit_a_narrow_window_and_can_be_read(
    browser: Browser, worker: Visitor, cellar: Daemon, scheme: str
) -> None:
    number = cellar.get("/api/v1/additions")["items"][0]["number"]
    pages = ["/additions", "/additions/plan?lot=25-CH-01&substance=KMBS&dose_mg_l=10", f"/additions/{number}"]
    size = {"width": NARROW_PX, "height": 800}
    with visiting(browser, cellar.url, viewport=size, color_scheme=scheme) as narrow:
        for page in [*pages, f"/additions/{number}/card"]:
            narrow.open(page)
            assert narrow.ask(STICKS_OUT) == [], page
            assert narrow.ask(FAINT, [LEAST_CONTRAST, LARGE_CONTRAST]) == [], page
            assert narrow.ask(UNNAMED) == [], page
