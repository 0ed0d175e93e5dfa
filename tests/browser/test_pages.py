"""What holds of every page: where it asks, what it says, whether it fits, whether it can be read."""

import re
from collections.abc import Iterator
from urllib.parse import urlsplit

import httpx
import pytest
from playwright.sync_api import Browser

from tests.browser.visitor import NARROW_PX, ZOOMED_PX, Visitor, visiting
from tests.integration.bench_run import Daemon

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")

STATE_WORDS = {"listening", "opening", "lost, trying again", "stopped", "failed"}
LEAST_CONTRAST = 4.5
"""Of text against its ground (WCAG 2.2, 1.4.3)."""
LARGE_CONTRAST = 3.0
"""Of text of 24 px and more, or bold of 18.66 px and more (the same)."""


@pytest.fixture(scope="package")
def every_page(demo: Daemon) -> list[str]:
    """Return every page that the menu leads to, and the thread of a reading."""
    text = httpx.get(demo.url).text
    menu = re.search(r"<nav.*?</nav>", text, re.DOTALL)
    assert menu is not None
    thread = re.search(r'href="(/readings/\d+)"', text)
    assert thread is not None
    return [*re.findall(r'href="(/[^"]*)"', menu[0]), thread[1]]


def visits(visitor: Visitor, pages: list[str]) -> Iterator[str]:
    """Open one page after the other."""
    assert len(pages) >= 4
    for page in pages:
        visitor.open(page)
        yield page


def test_every_page_says_that_its_numbers_are_invented(visitor: Visitor, every_page: list[str]) -> None:
    for page in visits(visitor, every_page):
        banner = visitor.page.locator(".banner")
        assert banner.is_visible(), page
        assert "DEMO DATA" in banner.inner_text(), page


def test_no_page_asks_anybody_but_the_daemon(visitor: Visitor, every_page: list[str]) -> None:
    for _ in visits(visitor, every_page):
        visitor.page.wait_for_load_state("load")
    asked = {urlsplit(url).path for url in visitor.requests}
    assert {"/static/tundish.css", "/static/live.js", "/api/v1/events"} <= asked
    assert visitor.left_the_origin() == []


def test_a_state_is_a_word_and_a_shape_beside_its_colour(visitor: Visitor) -> None:
    for page in ("/", "/lines"):
        visitor.open(page)
        states = visitor.page.locator(".state")
        assert states.count() >= 2, page
        for state in states.all():
            assert state.inner_text().strip() in STATE_WORDS
            assert state.locator("svg > *").count() == 1


@pytest.mark.parametrize("width_px", [NARROW_PX, ZOOMED_PX])
def test_nothing_sticks_out_of_a_narrow_window(
    browser: Browser, demo: Daemon, every_page: list[str], width_px: int
) -> None:
    with visiting(browser, demo.url, viewport={"width": width_px, "height": 800}) as visitor:
        for page in visits(visitor, every_page):
            assert visitor.ask(STICKS_OUT) == [], page


def test_a_faint_text_would_be_found(visitor: Visitor) -> None:
    visitor.open("/lines")
    visitor.ask("() => { document.querySelector('h1').style.color = 'rgb(200, 200, 200)'; }")
    (found,) = visitor.ask(FAINT, [LEAST_CONTRAST, LARGE_CONTRAST])
    assert found.startswith("H1. 1.")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out_from_its_ground(
    browser: Browser, demo: Daemon, every_page: list[str], scheme: str
) -> None:
    with visiting(browser, demo.url, color_scheme=scheme) as visitor:
        for page in visits(visitor, every_page):
            assert visitor.ask(FAINT, [LEAST_CONTRAST, LARGE_CONTRAST]) == [], page


def test_every_page_is_whole_without_the_script(
    browser: Browser, demo: Daemon, every_page: list[str]
) -> None:
    with visiting(browser, demo.url, java_script_enabled=False) as visitor:
        for page in visits(visitor, every_page):
            assert visitor.page.locator("main").inner_text().strip(), page
            assert visitor.page.title().endswith("tundish"), page


def test_every_page_names_its_parts(visitor: Visitor, every_page: list[str]) -> None:
    for page in visits(visitor, every_page):
        assert visitor.ask(UNNAMED) == [], page
        assert visitor.page.locator("main").count() == 1, page
        assert visitor.page.locator("html").get_attribute("lang") == "en", page


def test_the_thread_of_a_reading_is_reached_by_keyboard_alone(visitor: Visitor) -> None:
    visitor.open("/")
    link = visitor.page.locator("#newest tbody tr:first-child a").get_attribute("aria-label")
    assert link is not None
    reading = link.rpartition(" ")[2]
    assert visitor.tab_to(link)["outline"]
    visitor.page.keyboard.press("Enter")
    visitor.page.wait_for_url(f"**/readings/{reading}")
    assert visitor.text("h1") == f"Reading {reading}"
    visitor.tab_to("The definition that was used")
    visitor.page.keyboard.press("Enter")
    assert visitor.page.locator("details pre").is_visible()


def test_the_first_stop_of_the_keyboard_leads_to_the_content(visitor: Visitor) -> None:
    visitor.open("/lines")
    visitor.page.keyboard.press("Tab")
    assert visitor.focus()["words"] == "Go to the content"
    assert visitor.page.locator(".skip").is_visible()
    visitor.page.keyboard.press("Enter")
    assert visitor.page.url.endswith("#content")


def test_a_newest_number_can_be_read_from_two_metres(visitor: Visitor) -> None:
    visitor.open("/")
    assert visitor.ask(NUMBER_HEIGHT) >= 60  # px: 16 mm on a 96 dpi screen; common practice, no source


def test_an_address_that_is_not_there_is_said_so(visitor: Visitor) -> None:
    answer = visitor.page.goto(visitor.origin + "/readings/999999999")
    assert answer is not None
    assert answer.status == 404
    assert "999999999" in visitor.page.content()
    visitor.complaints.clear()  # the browser itself reports the 404


STICKS_OUT = """() => {
  const root = document.documentElement;
  if (root.scrollWidth <= root.clientWidth) return [];
  const wide = [...document.querySelectorAll("body *")].filter((one) => {
    if (one.closest(".scroll, pre") && !one.matches(".scroll, pre")) return false;
    return one.getBoundingClientRect().right > root.clientWidth + 0.5;
  });
  return wide.map((one) => `${one.tagName}.${one.className}: ${one.textContent.trim().slice(0, 40)}`);
}"""

UNNAMED = """() => [...document.querySelectorAll("a, button, input, select, summary, [role=region]")]
  .filter((one) => one.type !== "hidden")
  .filter((one) => !(one.getAttribute("aria-label") || one.getAttribute("aria-labelledby")
    || one.textContent.trim() || one.labels?.length))
  .map((one) => one.outerHTML.slice(0, 80))"""

NUMBER_HEIGHT = """() => parseFloat(getComputedStyle(document.querySelector(".number")).fontSize)"""

FAINT = """([least, leastLarge]) => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const linear = (part) => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  const light = (colour) => {  // relative luminance as WCAG 2.2 defines it
    const [red, green, blue] = colour.map((part) => linear(part / 255));
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  };
  const ground = (one) => {
    for (let up = one; up; up = up.parentElement) {
      const style = getComputedStyle(up);
      const striped = style.backgroundImage.match(/rgb\\([^)]*\\)/);
      if (striped) return parse(striped[0]);
      const colour = parse(style.backgroundColor);
      if (colour.length === 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const faint = [];
  for (const one of document.querySelectorAll("body *")) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || one.closest("svg, script, .skip")) continue;
    const style = getComputedStyle(one);
    const [a, b] = [light(parse(style.color)), light(ground(one))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio < (large ? leastLarge : least)) {
      const words = one.textContent.trim().slice(0, 30);
      faint.push(`${one.tagName}.${one.className} ${ratio.toFixed(2)}: ${words}`);
    }
  }
  return faint;
}"""
