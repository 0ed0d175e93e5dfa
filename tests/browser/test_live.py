"""Pages that stand open follow the store by themselves, across a restart too."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.browser.visitor import Visitor, visiting
from tests.integration.bench_run import (
    Daemon,
    SimulatedBench,
    config_text,
    daemon,
    free_port,
    line_of,
    simulators,
    until,
)

pytestmark = pytest.mark.needs("pseudo-terminals", "chromium")

NEWEST = "#newest tbody tr:first-child td:last-child"


def newest(visitor: Visitor) -> int:
    """Return the number of the reading at the top of the bench page."""
    return int(visitor.text(NEWEST))


def mark(visitor: Visitor) -> None:
    """Leave a mark that a reload would wipe away."""
    visitor.ask("() => { window.stillHere = true; }")


def was_not_reloaded(visitor: Visitor) -> bool:
    return bool(visitor.ask("() => window.stillHere === true"))


def test_new_readings_appear_without_a_reload(visitor: Visitor) -> None:
    visitor.open("/")
    mark(visitor)
    first = newest(visitor)
    until("a newer reading on the page", lambda: newest(visitor) > first)
    assert visitor.text("[data-pulse]") == "live"
    assert was_not_reloaded(visitor)


def test_a_lost_line_and_its_return_are_told_in_words(visitor: Visitor, bench: SimulatedBench) -> None:
    visitor.open("/lines")
    mark(visitor)
    entry = "#line-list article:has(h3:text-is('ph-1'))"
    until("the line to be open", lambda: "listening" in visitor.text(entry))
    bench.tell("fault ph-1 cut_cable 3")
    lost = until("the loss on the page", lambda: _with(visitor.text(entry), "lost, trying again"))
    assert "Look at the cable and the power of the instrument" in lost
    until("the return on the page", lambda: _with(visitor.text(entry), "listening"))
    assert was_not_reloaded(visitor)


def _with(text: str, words: str) -> str | None:
    return text if words in text else None


def test_what_a_person_is_inside_of_keeps_still(visitor: Visitor) -> None:
    visitor.open("/")
    link = visitor.page.locator(NEWEST + " a")
    link.focus()
    held = link.inner_text()
    now = visitor.text("#now")
    until("the rest of the page to move on", lambda: visitor.text("#now") != now)
    assert visitor.focus()["words"] == f"thread of reading {held}"
    visitor.page.locator(".masthead .name").focus()
    until("the table to move on once it is left", lambda: newest(visitor) > int(held))


def test_a_stream_that_was_refused_is_asked_for_again(visitor: Visitor) -> None:
    visitor.page.route("**/api/v1/events", lambda route: route.fulfill(status=503))
    visitor.open("/")
    until("the refusal to be told", lambda: visitor.text("[data-pulse]") == "not connected, trying again")
    visitor.page.unroute("**/api/v1/events")
    until("the stream", lambda: visitor.text("[data-pulse]") == "live")
    assert all("503" in text for text in visitor.complaints)
    visitor.complaints.clear()


HIDE = """(hidden) => {
  Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def test_many_tabs_in_the_background_do_not_keep_the_front_one_waiting(visitor: Visitor) -> None:
    background = [visitor.page.context.new_page() for _ in range(7)]  # a browser opens six connections
    for tab in background:
        tab.goto(visitor.origin)
        tab.evaluate(HIDE, True)
    visitor.open("/")
    until("the stream", lambda: visitor.text("[data-pulse]") == "live")
    seen_again = background[0]
    seen_again.evaluate(HIDE, False)
    pulse = seen_again.locator("[data-pulse]")
    until("the stream of a tab that is seen again", lambda: pulse.inner_text() == "live")


@contextlib.contextmanager
def restartable(folder: Path) -> Iterator[tuple[Path, int]]:
    """Give a configuration that listens to numbered frames, and its port."""
    with simulators(folder / "ports", "lines", "--rate", "5") as ports:
        port = free_port()
        config = folder / "tundish.toml"
        config.write_text(config_text(port, [line_of(one) for one in ports], kind="demo"), encoding="utf-8")
        yield config, port


def test_the_page_goes_on_when_the_daemon_comes_back(browser: Browser, tmp_path: Path) -> None:
    with restartable(tmp_path) as (config, port), visiting(browser, f"http://127.0.0.1:{port}") as visitor:
        with daemon(config, port) as running:
            until("a reading", lambda: readings(running))
            visitor.open("/")
            mark(visitor)
            until("the stream", lambda: visitor.text("[data-pulse]") == "live")
            assert running.stop() == 0
        until("the loss to be told", lambda: visitor.text("[data-pulse]") == "not connected, trying again")
        before = newest(visitor)
        with daemon(config, port):
            until("the stream again", lambda: visitor.text("[data-pulse]") == "live")
            until("newer readings", lambda: newest(visitor) > before)
        assert was_not_reloaded(visitor)


LISTEN = """() => {
  window.heard = [];
  window.source = new EventSource("/api/v1/events?since=0");
  window.source.addEventListener("reading", (event) => window.heard.push(Number(event.lastEventId)));
}"""


def test_the_stream_misses_nothing_and_repeats_nothing_across_a_restart(
    browser: Browser, tmp_path: Path
) -> None:
    with restartable(tmp_path) as (config, port), visiting(browser, f"http://127.0.0.1:{port}") as visitor:
        with daemon(config, port) as running:
            visitor.open("/lines")
            visitor.ask(LISTEN)
            until("events before", lambda: len(visitor.ask("() => window.heard")) > 5)
            running.kill()  # without a word to anybody
        with daemon(config, port) as running:
            stored = until("readings after", lambda: _more_than(20, readings(running)))
            wanted = [one["revision"] for one in stored]
            until("all events", lambda: visitor.ask("() => window.heard.at(-1)") >= wanted[-1])
            assert visitor.ask("() => window.heard")[: len(wanted)] == wanted


def readings(running: Daemon) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = running.get("/api/v1/readings", limit=1000)["items"]
    return items


def _more_than(count: int, items: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    return items if len(items) > count else None
