"""People say on the page of the day what they have seen and looked at."""

import pytest
from playwright.sync_api import Browser

from tests.browser.test_pages import FAINT, LARGE_CONTRAST, LEAST_CONTRAST, STICKS_OUT, UNNAMED
from tests.browser.visitor import NARROW_PX, Visitor, visiting
from tests.integration.bench_run import Daemon, until

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")

OPENING = "form[aria-label='opening card']"


@pytest.fixture(scope="module")
def trouble(cellar: Daemon) -> Daemon:
    """Let a check fail at the burette."""
    limits = {"material": "HC-1", "quantity": "free_so2", "centre": 26.0, "sd": 0.5}
    origins = {"centre_origin": "assigned", "sd_origin": "given"}
    made = {"code": "HC-1-free", "fields": limits | origins, "valid_from": "2020-01-01T00:00:00Z"}
    cellar.post("/api/v1/limit-sets", made, who="MAL")
    run = {"instrument": "bur-1", "material": "HC-1", "method": "SO2-free"}
    for given in (26.0, 40.0):
        cellar.post("/api/v1/checks", {**run, "given": given}, who="MAL")
    return cellar


def test_an_alert_says_cause_and_action_and_is_seen_once(worker: Visitor, trouble: Daemon) -> None:
    worker.open("/today")
    worker.page.fill("[data-who]", "YAR")
    alert = worker.page.locator(".alert").first
    assert "Repeat, narrow, accept or reject." in alert.inner_text()
    before = len(trouble.get("/api/v1/alerts")["items"])
    alert.get_by_role("button").press("Enter")
    until("it to be seen", lambda: len(trouble.get("/api/v1/alerts")["items"]) < before or None)
    until("it on the page", lambda: worker.shows("Seen by YAR") or None)
    assert worker.page.locator(".alert").count() == before - 1


def test_a_card_is_signed_once_each_point_is_looked_at_or_has_a_reason(
    worker: Visitor, trouble: Daemon
) -> None:
    worker.open("/today")
    worker.page.fill("[data-who]", "FEN")
    worker.page.click(f"{OPENING} button")
    worker.page.wait_for_selector(f"{OPENING} [data-fault]")
    assert worker.shows("look at it (Probes are rinsed, filled and free of bubbles and crusts.)")
    card = trouble.get("/api/v1/cards/opening")
    for point in card["points"]:
        if point["by"] == "person":
            worker.page.check(f"{OPENING} input[value='{point['code']}']")
        elif not point["is_true"]:
            entry = worker.page.locator(f"{OPENING} li:has(#point-opening-{point['code']}) details")
            if entry.get_attribute("open") is None:
                entry.locator("summary").click()
            entry.locator("input").fill("known, and looked at tomorrow")
    worker.page.click(f"{OPENING} button:text-is('Sign the opening card')")
    until("the signature on the page", lambda: worker.shows("Signed by FEN") or None)
    signed = trouble.get("/api/v1/cards/opening")["signed"]
    assert signed["actor"] == "FEN"
    assert worker.shows("left open: known, and looked at tomorrow")
    assert worker.page.locator(OPENING).count() == 0
    worker.complaints.clear()  # the refusal that was asked for


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_day_fits_a_narrow_window_and_can_be_read(browser: Browser, trouble: Daemon, scheme: str) -> None:
    size = {"width": NARROW_PX, "height": 800}
    with visiting(browser, trouble.url, viewport=size, color_scheme=scheme) as narrow:
        narrow.open("/today")
        assert narrow.ask(STICKS_OUT) == []
        assert narrow.ask(FAINT, [LEAST_CONTRAST, LARGE_CONTRAST]) == []
        assert narrow.ask(UNNAMED) == []
