"""Somebody who looks at the pages: one tab of a real browser, and what went wrong in it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, ConsoleMessage, Page, Request

NARROW_PX = 320
"""Width to which a page must fit without scrolling sideways: 1280 at 400 % (WCAG 2.2, 1.4.10). [px]"""
ZOOMED_PX = 640
"""What is left of a window of 1280 at 200 %. [px]"""


@dataclass
class Visitor:
    """A tab, the addresses it asked for, and the errors on its console."""

    page: Page
    origin: str
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def open(self, path: str) -> None:
        """Go to a page of the daemon."""
        answer = self.page.goto(self.origin + path, wait_until="load")
        assert answer is not None
        assert answer.ok, f"{path} answered {answer.status}"

    def text(self, selector: str) -> str:
        """Return what a person reads there, in one line."""
        return " ".join(self.page.locator(selector).inner_text().split())

    def shows(self, words: str) -> bool:
        """Tell whether the content of the page has these words, in one line."""
        return words in " ".join(self.page.locator("main").inner_text().split())

    def ask(self, script: str, given: Any = None) -> Any:
        """Return what a function of the page's own language answers."""
        return self.page.evaluate(script, given)

    def focus(self) -> dict[str, str]:
        """Tell what has the focus: its address, its words and whether its outline can be seen."""
        found: dict[str, str] = self.ask(FOCUS)
        return found

    def tab_to(self, words: str, most: int = 200) -> dict[str, str]:
        """Press Tab until what is named by these words (or by its address) has the focus."""
        met: list[str] = []
        for _ in range(most):
            self.page.keyboard.press("Tab")
            found = self.focus()
            if words in (found["words"], found["address"]):
                return found
            met.append(found["words"])
        raise AssertionError(f"no way to {words!r} by Tab; met {met}")

    def left_the_origin(self) -> list[str]:
        """Return the addresses that were asked of anybody but the daemon."""
        return [url for url in self.requests if not url.startswith((self.origin + "/", "data:", "blob:"))]

    def _note_console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"{message.type}: {message.text}")

    def _note_request(self, request: Request) -> None:
        self.requests.append(request.url)


@contextmanager
def visiting(browser: Browser, origin: str, **settings: Any) -> Iterator[Visitor]:
    """Open a tab in a fresh browser profile, with settings such as ``viewport`` or ``color_scheme``."""
    context = browser.new_context(**settings)
    try:
        visitor = Visitor(context.new_page(), origin)
        visitor.page.on("console", visitor._note_console)
        visitor.page.on("pageerror", lambda error: visitor.complaints.append(f"uncaught: {error}"))
        context.on("request", visitor._note_request)
        yield visitor
    finally:
        context.close()


FOCUS = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  return {
    address: one.getAttribute("href") ?? "",
    words: one.getAttribute("aria-label") ?? one.textContent.trim(),
    outline: style.outlineStyle === "none" ? "" : `${style.outlineWidth} ${style.outlineStyle}`,
  };
}"""
