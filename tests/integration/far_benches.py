"""A far bench and whoever collects it: their configurations, their daemons, and what their stores hold."""

import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from storage.backup import verify_file
from storage.connect import sqlite_module
from storage.queries import ReadingFilter, chunks_after, readings_after
from storage.schema import capture, far_part
from storage.store import Store, open_store
from tests.integration.bench_run import Daemon, config_text, daemon, free_port, line_of, until
from tests.services.mosquitto import Mosquitto

EVERYTHING = 2**62
LINE = "line-000"


@dataclass
class Benches:
    """Configurations of a far bench and of whoever collects it."""

    far: Path
    far_port: int
    near: Path
    near_port: int

    @contextmanager
    def far_daemon(self) -> Iterator[Daemon]:
        with daemon(self.far, self.far_port) as running:
            yield running

    @contextmanager
    def near_daemon(self) -> Iterator[Daemon]:
        with daemon(self.near, self.near_port) as running:
            yield running


def is_closed(near: Daemon) -> bool:
    """Tell whether the newest capture has ended as the far bench ended it when it stopped."""
    newest: dict[str, Any] = near.get("/api/v1/captures", limit=1)["items"][0]
    return bool(newest["ending"] == "stopped")


def catch_up(folder: Path) -> None:
    """Wait until the collector has taken what the far bench has published by now; both may go on."""
    published = _position(folder / "far.db", "published.captures")
    until("the collector to catch up", lambda: _position(folder / "near.db", "far.%") >= published)


def _position(store: Path, name: str) -> int:
    with closing(sqlite_module().connect(f"file:{store}?mode=ro", uri=True)) as database:
        (found,) = database.execute("SELECT max(number) FROM position WHERE name LIKE ?", (name,)).fetchone()
    return int(found or 0)


def table(name: str, keys: dict[str, Any]) -> str:
    return f"\n[{name}]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())


def benches(folder: Path, broker: Mosquitto, ports: list[dict[str, Any]], **more: str) -> Benches:
    """Write both configurations; `more` are further keys of the collecting line."""
    found = Benches(folder / "far.toml", free_port(), folder / "near.toml", free_port())
    at = {"host": broker.host, "port": broker.port, "site": "north"}
    far = config_text(found.far_port, [line_of(one) for one in ports], "far.db")
    found.far.write_text(far + table("publish", {**at, "captures": True}), encoding="utf-8")
    lines = [
        {
            "name": f"north-{one['instrument']}",
            "kind": "far",
            **at,
            "far_line": one["instrument"],
            "far_instrument": one["instrument"],
            "instrument": f"north-{one['instrument']}",
            "driver": one["driver"],
            "url": f"http://127.0.0.1:{found.far_port}",
            **({"options": one["options"]} if one.get("options") else {}),
            **more,
        }
        for one in ports
    ]
    found.near.write_text(config_text(found.near_port, lines, "near.db"), encoding="utf-8")
    return found


def heard(running: Daemon, count: int) -> None:
    """Wait until a daemon has so many readings more than when it was asked."""
    first = head_of(running)
    until("more readings", lambda: head_of(running) >= first + count)


def head_of(running: Daemon) -> int:
    head: int = running.get("/api/v1/health")["store"]["head"]
    return head


@contextmanager
def opened(path: Path) -> Iterator[Store]:
    store = open_store(path, kind="real", clock_us=lambda: 0)
    try:
        yield store
    finally:
        store.close()


def streams(store: Store, number: int) -> dict[str, bytes]:
    """Return both directions of a capture."""
    with store.reader() as connection:
        chunks = chunks_after(connection, number, after=0, limit=10**6, direction=None)
    return {way: b"".join(one.data for one in chunks if one.direction == way) for way in ("heard", "sent")}


def far_captures(store: Store, line: str) -> dict[int, dict[str, bytes]]:
    with store.reader() as connection:
        numbers = connection.execute(
            select(capture.c.number).where(capture.c.line == line).order_by(capture.c.number)
        ).scalars()
        found = list(numbers)
    return {number: streams(store, number) for number in found}


def near_captures(store: Store, line: str) -> dict[int, dict[str, bytes]]:
    """Return the far captures of a line, put together from the parts that are held here."""
    with store.reader() as connection:
        query = select(far_part).where(far_part.c.line == line).order_by(far_part.c.number)
        parts = connection.execute(query).all()
    whole: dict[int, dict[str, bytes]] = {}
    for part in parts:
        into, own = whole.setdefault(part.capture, {"heard": b"", "sent": b""}), streams(store, part.number)
        for way, begin in (("heard", part.begin_heard), ("sent", part.begin_sent)):
            assert begin <= len(into[way]), "a hole between two parts"
            assert into[way][begin : begin + len(own[way])] == own[way][: len(into[way]) - begin]
            into[way] = into[way][:begin] + own[way] if begin + len(own[way]) > len(into[way]) else into[way]
    return whole


def values(store: Store, line: str) -> list[tuple[int, str, str]]:
    with store.reader() as connection:
        found = readings_after(connection, ReadingFilter(line=line), after=0, up_to=EVERYTHING, limit=10**6)
    return [(one.at_us, one.quantity, one.value_text) for one in found]


def assert_same(folder: Path, line: str) -> None:
    """Hold every byte and every reading of the two closed stores against each other."""
    with opened(folder / "far.db") as far, opened(folder / "near.db") as near:
        there, here = far_captures(far, line), near_captures(near, line)
        assert here == {number: there[number] for number in here}
        assert list(there)[-len(here) :] == list(here), "captures of the far bench are missing"
        ours, theirs = values(near, f"north-{line}"), values(far, line)
    assert [one[1:] for one in ours] == [one[1:] for one in theirs]
    assert all(begin <= end for (begin, *_), (end, *_) in zip(ours, theirs, strict=True))
    assert verify_file(folder / "near.db").in_order
