"""The log: events with keys, and no secret in it."""

import base64
import io
import json
import logging
from collections.abc import Iterator
from typing import Literal

import pytest
import structlog

from api.keys import new_key
from tundish.log import hide_keys, set_up


@pytest.fixture(autouse=True)
def _leave_no_set_up_behind() -> Iterator[None]:
    yield
    structlog.reset_defaults()


def test_a_key_in_a_url_is_blanked_wherever_it_stands() -> None:
    event = hide_keys(None, "info", {"event": "api.asked", "url": "/sheets/readings.csv?key=abc&since=3"})
    assert event["url"] == "/sheets/readings.csv?key=…&since=3"


KEY = new_key()
ENCODED = base64.b64encode(f"anybody:{KEY}".encode()).decode()


@pytest.mark.parametrize("form", ["json", "text"])
@pytest.mark.parametrize(
    "said",
    [
        f"GET /sheets/readings.csv?KEY={KEY} HTTP/1.1",
        f"a key lay about: {KEY}",
        f"Authorization: Bearer {KEY}",
        {"headers": [(b"authorization", f"Basic {ENCODED}".encode())]},
        {"deep": [{"er": (KEY, 1)}]},
        ValueError(KEY),
    ],
    ids=["address", "anywhere", "bearer", "basic", "deep", "error"],  # the key differs in each process
)
def test_a_key_is_blanked_in_any_form(said: object, form: Literal["json", "text"]) -> None:
    stream = io.StringIO()
    set_up("info", form, stream)
    structlog.get_logger().info("api.asked", said=said)
    assert "api.asked" in stream.getvalue()
    assert KEY not in stream.getvalue()
    assert ENCODED not in stream.getvalue()


def test_a_key_is_blanked_in_a_traceback() -> None:
    stream = io.StringIO()
    set_up("info", "json", stream)
    structlog.get_logger().error("request.failed", exc_info=RuntimeError(f"cannot look up {KEY}"))
    assert "RuntimeError: cannot look up …" in json.loads(stream.getvalue())["exception"]


def test_ordinary_words_are_left_alone() -> None:
    said = "basic facts and bearer bonds of tundish_wiring, with monkey=1"
    assert hide_keys(None, "info", {"event": said}) == {"event": said}


def test_json_entries_carry_event_level_and_time() -> None:
    stream = io.StringIO()
    set_up("info", "json", stream)
    structlog.get_logger().info("line.opened", line="so2")
    entry = json.loads(stream.getvalue())
    assert (entry["event"], entry["level"], entry["line"]) == ("line.opened", "info", "so2")
    assert entry["timestamp"].endswith("Z")


def test_entries_below_the_level_are_left_out() -> None:
    stream = io.StringIO()
    set_up("warning", "json", stream)
    structlog.get_logger().info("line.opened")
    assert stream.getvalue() == ""


def test_what_a_library_says_has_the_same_form_and_no_key_in_it() -> None:
    stream = io.StringIO()
    set_up("info", "json", stream)
    logging.getLogger("web.server").warning("refused %s", "/sheets/readings.csv?key=abc")
    entry = json.loads(stream.getvalue())
    assert (entry["event"], entry["library"], entry["level"]) == ("library.said", "web.server", "warning")
    assert entry["words"] == "refused /sheets/readings.csv?key=…"
