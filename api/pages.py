"""Drawing pages: one template environment an app, with the filters that turn facts into plain words."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from api import times, words
from api.services import Services


class Pages:
    """Draws templates with what every page needs: the clock and the kind of the store."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._environment = Environment(
            loader=PackageLoader("api"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._environment.filters.update(_filters(services.quantity_names))

    def draw(
        self, request: Request, template: str, status: HTTPStatus = HTTPStatus.OK, **facts: Any
    ) -> HTMLResponse:
        """Return a page; it is never kept by a cache, because it shows a moment."""
        text = self._environment.get_template(template).render(
            here=request.url.path,
            base=str(request.base_url).rstrip("/"),
            now=self._services.clock_us(),
            store_kind=self._services.settings.store_kind,
            store_why=self._services.health.report().store_why,
            **facts,
        )
        return HTMLResponse(text, status.value, {"Cache-Control": "no-store"})


def _filters(quantity_names: Mapping[str, str]) -> dict[str, Any]:
    return {
        "addition_words": words.ADDITIONS.__getitem__,
        "age": times.age_in_words,
        "band_words": words.band_words,
        "clock": times.clock,
        "clock_words": words.clock_words,
        "code": code_words,
        "count": _count,
        "day_clock": times.day_and_clock,
        "duration": times.duration_in_words,
        "hours": lambda age_h: times.age_in_words(round(age_h * 3_600_000_000)),
        "outcome_reason": words.outcome_reason,
        "outcome_words": words.outcome_words,
        "plain_unit": words.plain_unit,
        "quantity_name": lambda code: quantity_names.get(code, code.replace("_", " ")),
        "retest_words": words.RETESTS.__getitem__,
        "rfc3339": times.rfc3339,
        "size": _size,
        "standing_words": words.standing_words,
        "state_words": words.state_words,
    }


def code_words(text: str) -> Markup:
    """Return text with what stands between backticks as code."""
    parts = text.split("`")
    marked = (
        Markup("<code>{}</code>").format(part) if place % 2 else part for place, part in enumerate(parts)
    )
    return Markup("").join(marked)


def _count(number: int) -> str:
    """Return a whole number in groups of three, parted by narrow blanks."""
    return f"{number:,}".replace(",", "\u202f")


def _size(size_bytes: int) -> str:
    """Return a size as people say it. [bytes]"""
    size = float(size_bytes)
    for unit in ("bytes", "KiB", "MiB", "GiB"):
        if size < 1024:
            return f"{size:.0f} {unit}" if unit == "bytes" else f"{size:.1f} {unit}"
        size /= 1024
    return f"{size:.1f} TiB"
