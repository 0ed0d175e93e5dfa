"""What a far bench publishes is read strictly; whatever else comes under its topic is told apart."""

import base64
import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.far.message import FarMessageError, read_message

AT = "2025-10-03T12:00:00.000001Z"
AT_US = 1_759_492_800_000_001  # the same [µs since 1970 UTC]


def event(**keys: Any) -> dict[str, Any]:
    data = base64.b64encode(b"pH 3.41\r\n").decode()
    return {"revision": 7, "what": "heard", "at": AT, "capture": 5, "offset": 0, "data": data, **keys}


def message(*events: dict[str, Any], **keys: Any) -> dict[str, Any]:
    said = {"schema": "tundish.captures/1", "site": "north", "store": "a-1", "store_kind": "real"}
    return {**said, "line": "ph", "sent_at": AT, "previous": 5, "events": list(events or [event()]), **keys}


def text(said: object) -> bytes:
    return json.dumps(said).encode()


def test_bytes_and_moments_come_exactly() -> None:
    (heard,) = read_message(text(message())).events
    assert (heard.data, heard.at_us, heard.capture, heard.offset) == (b"pH 3.41\r\n", AT_US, 5, 0)


def test_a_field_that_a_later_program_adds_is_no_fault() -> None:
    assert read_message(text(message(event(mood="calm"), weather="fine"))).line == "ph"


def test_a_newer_schema_is_told_from_what_is_not_ours() -> None:
    with pytest.raises(FarMessageError, match="bring both to one version") as caught:
        read_message(text(message(schema="tundish.captures/2")))
    assert caught.value.is_newer
    with pytest.raises(FarMessageError, match="no message of a far bench") as caught:
        read_message(text(message(schema="tundish.reading/1")))
    assert not caught.value.is_newer


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        (message(event(data="§§")), "events.0.data"),
        (message(event(data=None)), "heard without data"),
        (message(event(offset=-1)), "events.0.offset"),
        (message(event(capture=None)), "heard without capture"),
        (message(event(at="2025-10-03T12:00:00")), "events.0.at"),
        (message(event(what="dreamt")), "events.0.what"),
        (message(event(what="opened")), "opened without instrument"),
        (message(event(what="closed", ending=None)), "closed without ending"),
        (message(event(revision=2**63)), "events.0.revision"),
        (message(event(), event()), "not in order"),
        (message(previous=7), "not in order"),
        (message(store="a/../b"), "store"),
        (message(previous=None), "previous"),
    ],
)
def test_a_broken_message_is_told_with_its_place(said: dict[str, Any], fault: str) -> None:
    with pytest.raises(FarMessageError, match=fault):
        read_message(text(said))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(
    st.binary()
    | JSON.map(text)
    | st.sampled_from(list(message())).map(lambda key: text({**message(), key: 7}))
)
def test_garbage_is_refused_and_nothing_else_happens(payload: bytes) -> None:
    with pytest.raises(FarMessageError):
        read_message(payload)


@given(st.sampled_from(list(event())), JSON)
def test_an_event_is_read_or_refused_whatever_stands_in_it(key: str, value: object) -> None:
    with suppress(FarMessageError):
        assert len(read_message(text(message(event(**{key: value})))).events) == 1
