"""The log: events with keys, and no secret in it."""

import io
import json
import logging
from collections.abc import Iterator

import pytest
import structlog

from tundish.log import hide_keys, set_up


@pytest.fixture(autouse=True)
def _leave_no_set_up_behind() -> Iterator[None]:
    yield
    structlog.reset_defaults()


def test_a_key_in_a_url_is_blanked_wherever_it_stands() -> None:
    event = hide_keys(None, "info", {"event": "api.asked", "url": "/sheets/readings.csv?key=abc&since=3"})
    assert event["url"] == "/sheets/readings.csv?key=…&since=3"


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
