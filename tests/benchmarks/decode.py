"""How fast drivers turn bytes into events, on one core: each that is shipped, and one of each family."""

import time
from itertools import cycle, islice
from pathlib import Path
from typing import Final

from acquire.drivers.data_only import DataOnlyFactory, factory_from_path
from acquire.events import FrameRead, Instant
from acquire.instants import moved
from acquire.registry import SHIPPED_FOLDER

FAMILIES: Final = Path(__file__).parents[1] / "data" / "drivers"
FRAMES: Final = 20_000
CHUNK_BYTES: Final = 4096  # as much as a busy port gives at a time [bytes]
ROUNDS: Final = 5  # the fastest counts: the machine may be busy with other things
AT: Final = Instant(utc_us=0, monotonic_ns=0)


def measure() -> dict[str, float]:
    """Return frames a second of CPU time over the messages of each driver's own examples, by its name."""
    paths = [*sorted(SHIPPED_FOLDER.glob("*.toml")), *sorted(FAMILIES.glob("*.toml"))]
    return {path.stem: _frames_per_second(factory_from_path(path)) for path in paths}


def _frames_per_second(factory: DataOnlyFactory) -> float:
    rehearsal = factory.rehearsal
    messages = islice(cycle(rehearsal.messages), FRAMES)
    if rehearsal.pause_ns:
        chunks = [rehearsal.lead, *messages]
    else:
        heard = rehearsal.lead + b"".join(messages)
        chunks = [heard[at : at + CHUNK_BYTES] for at in range(0, len(heard), CHUNK_BYTES)]
    return FRAMES / min(_seconds(factory, chunks, rehearsal.pause_ns) for _ in range(ROUNDS))


def _seconds(factory: DataOnlyFactory, chunks: list[bytes], pause_ns: int) -> float:
    driver = factory()
    read = 0
    at = AT
    began = time.process_time()
    for chunk in chunks:
        read += sum(isinstance(event, FrameRead) for event in driver.receive(chunk, at))
        if pause_ns:
            at = moved(at, pause_ns)
            read += sum(isinstance(event, FrameRead) for event in driver.tick(at))
    took = time.process_time() - began
    if read < FRAMES:
        raise RuntimeError(f"{factory.identity.name} read {read} of {FRAMES} frames")
    return took


if __name__ == "__main__":
    for name, rate in measure().items():
        print(f"{name}: {rate:,.0f} frames a second")
