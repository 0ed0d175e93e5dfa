"""Captures in a store, heard as the daemon hears them, and poured as it pours them."""

from collections.abc import Iterable, Sequence
from typing import Any

from acquire.accounting import Account
from acquire.capture import OpenCapture
from acquire.driver import DriverFactory
from acquire.drivers.data_only import DataOnlyFactory, factory_from_text
from acquire.events import Instant
from acquire.gate import Gate
from acquire.lines.transport import End
from acquire.sink import Chunk, Ending, Opening
from bench.actor import Actor
from bench.poured import Change
from bench.pouring import Pour
from bench.repour import Poured, captures, suppose
from storage.ledger import ActorKind
from storage.queries import PourScope, ReadingFilter, readings_after
from storage.store import Store
from tundish.store_sink import StoreSink, driver_row
from tundish.stored_decoder import StoredDecoder
from tundish.wiring import known_drivers

AT_US = 1_760_000_000_000_000  # [µs since 1970 UTC]
STEP_US = 100_000  # between chunks [µs]
MALLOW = Actor("MAL", ActorKind.PERSON, AT_US, "the unit was wrong", "tundish 0")
EVERYTHING = PourScope()


def so2_rows(
    *, so2: str = "free_so2", unit: str = "mg/L", end: str = r"\n", columns: int = 3, name: str = "bench-rows"
) -> DataOnlyFactory:
    """Return a driver of rows such as ``W-1;28.50;20.1``: a sample, sulfur dioxide, a temperature."""
    described = [
        '{ kind = "sample" }',
        f'{{ kind = "value", quantity = "{so2}", unit = "{unit}" }}',
        '{ kind = "value", quantity = "temperature", unit = "°C" }',
    ][:columns]
    raw = ";".join(["W-1", "28.50", "20.1"][:columns])
    wanted = [f'{{ quantity = "{so2}", value = "28.50" }}', '{ quantity = "temperature", value = "20.1" }']
    text = f"""
name = "{name}"
version = "1"
[framing]
ends = ['{end}']
distrust_first = false
[delimited]
separator = ";"
[[delimited.records]]
columns = [{", ".join(described)}]
[[examples]]
raw = '{raw}{end}'
expect = [{", ".join(wanted[: columns - 1])}]
"""
    return factory_from_text(text, name)


async def hear(
    store: Store,
    factory: DriverFactory,
    pieces: Iterable[bytes],
    *,
    line: str = "so2",
    ending: Ending | None = Ending.STOPPED,
    may_send: bool = False,
    gated: bool = False,
) -> None:
    """Hear pieces as one capture, an empty one being a moment of silence; without an ending it stays open."""
    sink = StoreSink(store.writer, store.begin_session("0", "", AT_US), known_drivers(store))
    at = Instant(AT_US, AT_US * 1000)
    opening = Opening(line, "bur-1", factory.identity, "/dev/ttyX", "9600 8N1", at)
    capture = OpenCapture(await sink.opened(opening), Account(factory, Gate() if gated else None))
    for count, piece in enumerate(pieces, 1):
        at = Instant(AT_US + count * STEP_US, (AT_US + count * STEP_US) * 1000)
        await capture.hear((Chunk(at, piece),) if piece else (), at, may_send=may_send)
    if ending is not None:
        await capture.finish(End(ending, "", at))


def pour(store: Store, factory: DriverFactory, scope: PourScope = EVERYTHING) -> list[Poured]:
    """Apply a driver to every capture of a scope."""
    by = Pour(store.reader, store.writer, driver_row(factory.identity), MALLOW, scope, pause=lambda: None)
    return [by.apply(one, lambda: StoredDecoder(factory)) for one in captures(store.reader, scope)]


def supposed(
    store: Store, factory: DriverFactory, scope: PourScope = EVERYTHING
) -> tuple[list[Poured], list[Change]]:
    """Return what a driver would change, and each change."""
    changes: list[Change] = []
    found = [
        suppose(store.reader, one, lambda: StoredDecoder(factory), shown=changes.append)
        for one in captures(store.reader, scope)
    ]
    return found, changes


HISTORY = ("number", "version", "driver_number", "frame_number", "frame_ordinal", "is_taken")
"""What a view of a reading says of its history, not of what was measured."""


def view(store: Store, line: str | None = None) -> Sequence[dict[str, Any]]:
    """Return the current readings without their history, in the order in which they were first read."""
    with store.reader() as connection:
        found = readings_after(connection, ReadingFilter(line=line), after=0, up_to=2**62, limit=100_000)
    rows = [one._asdict() for one in found]
    told = [{key: value for key, value in row.items() if key not in HISTORY} for row in rows]
    return sorted(told, key=lambda row: int(row["reading_id"]))
