"""How fast the shipped drivers turn bytes into events, on one core."""

import time
from typing import Final

from acquire.driver import DriverFactory
from acquire.drivers.data_only import DataOnlyFactory, factory_from_path
from acquire.drivers.escapes import bytes_of
from acquire.events import Event, FrameRead, Instant
from acquire.registry import SHIPPED_FOLDER

LINES: Final = 50_000
CHUNK_BYTES: Final = 4096  # as much as a busy port gives at a time [bytes]
ROUNDS: Final = 5  # the fastest counts: the machine may be busy with other things
AT: Final = Instant(utc_us=0, monotonic_ns=0)


def measure() -> dict[str, float]:
    """Return lines a second of CPU time for the first example of every shipped driver, by its name."""
    factories = [factory_from_path(path) for path in sorted(SHIPPED_FOLDER.glob("*.toml"))]
    return {factory.identity.name: _lines_per_second(factory) for factory in factories}


def _lines_per_second(factory: DataOnlyFactory) -> float:
    definition = factory.definition
    data = bytes_of(definition.examples[0].raw, definition.framing.encoding) * LINES
    chunks = [data[at : at + CHUNK_BYTES] for at in range(0, len(data), CHUNK_BYTES)]
    return LINES / min(_seconds(factory, chunks) for _ in range(ROUNDS))


def _seconds(factory: DriverFactory, chunks: list[bytes]) -> float:
    driver = factory()
    read = 0
    events: list[Event] = []
    began = time.process_time()
    for chunk in chunks:
        events = driver.receive(chunk, AT)
        read += len(events)
    took = time.process_time() - began
    if read != LINES or not isinstance(events[-1], FrameRead):
        raise RuntimeError(f"{factory.identity.name} read {read} of {LINES} lines")
    return took


if __name__ == "__main__":
    for name, rate in measure().items():
        print(f"{name}: {rate:,.0f} lines a second")
