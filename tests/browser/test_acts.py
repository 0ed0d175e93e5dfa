"""People act on the pages: they put samples on, and release or reject, with their initials."""

import pytest

from tests.browser.visitor import Visitor
from tests.integration.bench_run import Daemon, until

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")

TRAY = "section.tray:has(h2:text-is('bur-1'))"


@pytest.fixture(scope="module")
def laboratory(demo: Daemon) -> Daemon:
    """Let the daemon know a lot, two samples and a method of typed numbers."""
    for plural, code, fields in (
        ("lots", "25-RI-01", {"name": "Riesling"}),
        ("samples", "CK4H7M", {"lot": "25-RI-01"}),
        ("samples", "DM6R3X", {"lot": "25-RI-01"}),
        ("methods", "ph-typed", {"name": "pH", "quantity": "ph", "release": "second_person"}),
    ):
        demo.post(f"/api/v1/{plural}", {"code": code, "fields": fields}, who="MAL")
    return demo


def told(visitor: Visitor, place: str) -> str:
    """Wait for what a form answers."""
    return until("an answer", lambda: _answer(visitor, place))


def _answer(visitor: Visitor, place: str) -> str | None:
    words = _text(visitor, f"{place} [data-answer]")
    return None if words == "One moment." else words


def _text(visitor: Visitor, place: str) -> str | None:
    found = visitor.page.locator(place)
    return found.first.inner_text() if found.count() else None


def test_nobody_acts_without_saying_who(visitor: Visitor, laboratory: Daemon) -> None:
    visitor.open("/trays")
    visitor.page.fill(f"{TRAY} input[name='sample']", "CK4H7M")
    visitor.page.keyboard.press("Enter")
    assert "Say who you are first" in told(visitor, TRAY)
    assert laboratory.get("/api/v1/trays/bur-1")["on"] is None


def test_a_scanned_sample_stands_on_the_instrument(visitor: Visitor, laboratory: Daemon) -> None:
    visitor.open("/trays")
    visitor.page.fill("[data-who]", "FEN")
    visitor.page.fill(f"{TRAY} input[name='sample']", "CK4H7M")
    visitor.page.keyboard.press("Enter")
    until("the tray to show it", lambda: _text(visitor, f"{TRAY} .big") == "CK4H7M" or None)
    on = laboratory.get("/api/v1/trays/bur-1")["on"]
    assert (on["sample"], on["set_by"]) == ("CK4H7M", "scan")
    visitor.open("/trays")
    assert visitor.page.input_value("[data-who]") == "FEN"
    visitor.page.click(f"{TRAY} button:text-is('Take it off')")
    until("it to be off", lambda: laboratory.get("/api/v1/trays/bur-1")["on"]["sample"] is None or None)


def test_a_code_that_nobody_knows_is_refused_in_words(visitor: Visitor, laboratory: Daemon) -> None:
    visitor.open("/trays")
    visitor.page.fill("[data-who]", "FEN")
    visitor.page.fill(f"{TRAY} input[name='sample']", "NOBODY")
    visitor.page.keyboard.press("Enter")
    assert "there is no sample 'NOBODY'" in told(visitor, TRAY)
    visitor.complaints.clear()  # a browser notes the refused request on its console


def until_on_the_tray(visitor: Visitor, code: str) -> None:
    until(f"{code} on the tray", lambda: _text(visitor, f"{TRAY} tr:has-text('{code}')"))


def test_samples_are_put_on_the_tray_with_what_is_asked(visitor: Visitor, laboratory: Daemon) -> None:
    visitor.open("/trays")
    visitor.page.fill("[data-who]", "FEN")
    visitor.page.check(f"{TRAY} input[value='ph-typed']")
    for code in ("CK4H7M", "DM6R3X"):
        visitor.page.fill(f"{TRAY} input[name='items.0.sample']", code)
        visitor.page.keyboard.press("Enter")
        until_on_the_tray(visitor, code)
    items = laboratory.get("/api/v1/trays/bur-1")["items"]
    assert [(one["sample"], one["tests"]) for one in items] == [
        ("CK4H7M", ["ph-typed"]),
        ("DM6R3X", ["ph-typed"]),
    ]
    visitor.page.click(f"{TRAY} button[aria-label='Take CK4H7M out of the tray']")
    until("it to be out", lambda: len(laboratory.get("/api/v1/trays/bur-1")["items"]) == 1 or None)


def test_a_new_sample_gets_a_code_that_is_shown(visitor: Visitor, laboratory: Daemon) -> None:
    visitor.open("/trays")
    visitor.page.fill("[data-who]", "FEN")
    visitor.page.fill("input[name='fields.lot']", "25-RI-01")
    visitor.page.click("button:text-is('Enter it')")
    words = told(visitor, "form[data-tell]")
    code = words.removeprefix("Done: ")
    assert laboratory.get(f"/api/v1/samples/{code}")["fields"]["lot"] == "25-RI-01"


def test_results_are_released_by_a_second_person_and_rejected_for_a_reason(
    visitor: Visitor, laboratory: Daemon
) -> None:
    body = {"method": "ph-typed", "sample": "CK4H7M", "value": 3.41, "again": 3.41}
    first, second = (laboratory.post("/api/v1/results", body, who="MAL")["id"] for _ in range(2))
    visitor.open("/results")
    visitor.page.fill("[data-who]", "YAR")
    visitor.page.check(f"input[value='{first}']")
    visitor.page.click("button:text-is('Release those ticked')")
    until("the release", lambda: laboratory.get(f"/api/v1/results/{first}")["released"] or None)
    visitor.page.check(f"input[value='{second}']")
    visitor.page.click("button:text-is('Reject those ticked')")
    assert "say why it is rejected" in told(visitor, "form.wide")
    reason = visitor.page.locator("input[name='reason']")
    assert reason.get_attribute("aria-invalid") == "true"
    assert visitor.text(f"#{reason.get_attribute('aria-describedby')}") == "is empty"
    visitor.page.fill("input[name='reason']", "the beaker was not rinsed")
    visitor.page.check(f"input[value='{second}']")
    visitor.page.click("button:text-is('Reject those ticked')")
    until(
        "the rejection",
        lambda: laboratory.get(f"/api/v1/results/{second}")["mark"] == "rejected" or None,
    )
    visitor.complaints.clear()  # the refusal that was asked for
