"""Logging: an event name in the past tense and keys, never a sentence.

Levels: error = a person must act; warning = data was refused or lost; info = a line came or went;
debug = every frame. Keys in a URL never reach the log.
"""

import logging
import re
import sys
from typing import Any, Literal

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

_KEY_IN_URL = re.compile(r"([?&]key=)[^&\s\"']+")


def hide_keys(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    """Blank the value of every ``key=`` parameter in any text of the entry."""
    return {name: _KEY_IN_URL.sub(r"\1…", v) if isinstance(v, str) else v for name, v in event.items()}


def _processors(form: Literal["text", "json"], *, colours: bool) -> list[Processor]:
    render: Processor = (
        structlog.processors.JSONRenderer(ensure_ascii=False)
        if form == "json"
        else structlog.dev.ConsoleRenderer(colors=colours, sort_keys=False, pad_event_to=24)
    )
    return [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        hide_keys,
        structlog.processors.format_exc_info,
        render,
    ]


def set_up(level: str = "info", form: Literal["text", "json"] = "text", stream: Any = None) -> None:
    """Send our own and the libraries' log entries to one stream (standard error unless told otherwise)."""
    target = stream or sys.stderr
    threshold = logging.getLevelNamesMapping()[level.upper()]
    colours = bool(getattr(target, "isatty", lambda: False)())
    structlog.configure(
        processors=_processors(form, colours=colours),
        wrapper_class=structlog.make_filtering_bound_logger(threshold),
        logger_factory=structlog.PrintLoggerFactory(target),
        cache_logger_on_first_use=True,
    )
    logging.basicConfig(level=logging.WARNING, stream=target, format="%(name)s: %(message)s", force=True)
