"""Logging: an event name in the past tense and keys, never a sentence.

Levels: error = a person must act; warning = data was refused or lost; info = a line came or went;
debug = every frame. Keys for programs never reach the log, in a URL or anywhere else.
"""

import logging
import re
import sys
from typing import Any, Literal

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

_KEY_IN_URL = re.compile(r"([?&]key=)[^&\s\"']+", re.IGNORECASE)
_KEY_BY_ITSELF = re.compile(r"tundish_[a-z2-7]{52}", re.IGNORECASE)
"""As `api.keys` makes them, which is not imported here: every command logs, and few have keys."""
_CREDENTIALS = re.compile(r"\b((?:bearer|basic)\s+)[A-Za-z0-9._~+/=-]{40,}", re.IGNORECASE)


def hide_keys(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    """Blank every key in the entry, however deep it lies: in a URL, in a header, or by itself."""
    return {name: _hidden(value) for name, value in event.items()}


def _hidden(value: Any) -> Any:
    match value:
        case str():
            return _KEY_BY_ITSELF.sub("…", _CREDENTIALS.sub(r"\1…", _KEY_IN_URL.sub(r"\1…", value)))
        case bytes():
            shown = value.decode("latin-1")
            return value if _hidden(shown) == shown else repr(_hidden(shown))
        case dict():
            return {_hidden(name): _hidden(one) for name, one in value.items()}
        case list() | tuple():
            return [_hidden(one) for one in value]
        case Exception():
            return _hidden(repr(value))
        case _:
            return value


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
        structlog.processors.format_exc_info,
        hide_keys,
        render,
    ]


def _of_library(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    """Bring a library's sentence into the form of our entries."""
    return {
        **event,
        "event": "library.said",
        "library": event["_record"].name,
        "words": event["event"].strip(),
    }


def _library_handler(processors: list[Processor], target: Any) -> logging.Handler:
    """Return a handler that writes what libraries log as we write our own entries."""
    handler = logging.StreamHandler(target)
    keep = structlog.stdlib.ProcessorFormatter.remove_processors_meta
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(foreign_pre_chain=[_of_library], processors=[keep, *processors])
    )
    return handler


def set_up(level: str = "info", form: Literal["text", "json"] = "text", stream: Any = None) -> None:
    """Send our own and the libraries' log entries to one stream (standard error unless told otherwise)."""
    target = stream or sys.stderr
    threshold = logging.getLevelNamesMapping()[level.upper()]
    colours = bool(getattr(target, "isatty", lambda: False)())
    processors = _processors(form, colours=colours)
    structlog.configure(
        processors=processors,
        wrapper_class=structlog.make_filtering_bound_logger(threshold),
        logger_factory=structlog.PrintLoggerFactory(target),
        cache_logger_on_first_use=True,
    )
    logging.basicConfig(level=logging.WARNING, handlers=[_library_handler(processors, target)], force=True)
