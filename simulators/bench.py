"""The whole stand-in bench: which instruments stand on it, and the paper that says how to reach them."""

import json
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from simulators import ph_meter, so2_burette
from simulators.channel import Channel, check_ailment
from simulators.clock import Clock
from simulators.faults import Fault, FaultBox
from simulators.instrument import Instrument, LineSettings
from simulators.noise import stream
from simulators.numbered_lines import LINE as NUMBERED_LINE
from simulators.numbered_lines import NumberedLines
from simulators.ports import open_port
from simulators.samples import otterquill
from simulators.wirelog import WireLog

SEED: Final = 20251006
DEMO_SPEED: Final = 10.0  # [1], at which the first result comes about 7 s after the start
CURVE_LINES_PER_S: Final = 10.0  # [1/s] of the wall; 270 of the 960 bytes a second that 9600 8N1 carries
CLOCK_FAST_S: Final = 41.0  # [s], that the burette's clock is ahead of local time


@dataclass(frozen=True, slots=True)
class Place:
    """One instrument on the bench and how it is reached."""

    instrument: Instrument
    settings: LineSettings
    driver: str
    """Name of the driver that reads it."""
    address: str
    """Path of its port, ``tcp``, ``tcp://host:port``, or ``file:PATH`` of a table that it writes."""
    options: Mapping[str, object] = field(default_factory=dict)
    """What the driver wants to know; empty for one made of a file."""


def burette(address: str, clock: Clock, seed: int, name: str = "bur-1") -> Place:
    """Return an SO2 burette that works through the cellar's samples."""
    offset = datetime.now().astimezone().utcoffset()
    instrument = so2_burette.So2Burette(
        name,
        otterquill(seed),
        clock.utc_us,
        seed,
        clock_offset_s=(offset.total_seconds() if offset else 0.0) + CLOCK_FAST_S,
        curve_period_s=max(0.5, clock.speed / CURVE_LINES_PER_S),
    )
    return Place(instrument, so2_burette.LINE, "so2-burette", address)


def meter(address: str, clock: Clock, seed: int, name: str = "ph-1") -> Place:
    """Return a pH meter that goes round the cellar's wines; the speed shortens its work, not its line."""
    beakers = ph_meter.beakers_of_the_cellar(stream(seed, f"{name}/beakers"))
    believed = ph_meter.Electrode(slope_percent=97.6, zero_ph=6.965)
    instrument = ph_meter.PhMeter(name, beakers, seed, believed=believed, frame_period_s=clock.speed)
    return Place(instrument, ph_meter.LINE, "ph-stream", address)


def numbered(
    addresses: Sequence[str], names: Sequence[str], rate_hz: float, frames: int, seed: int
) -> list[Place]:
    """Return lines that count their frames, spread evenly over one period."""
    return [
        Place(
            NumberedLines(name, rate_hz, frames, seed=seed, phase=index / len(names)),
            NUMBERED_LINE,
            "load-lines",
            address,
        )
        for index, (name, address) in enumerate(zip(names, addresses, strict=True))
    ]


def demo_bench(address_of: Callable[[str], str], clock: Clock, seed: int) -> list[Place]:
    """Return every instrument of the demonstration; `address_of` gives the address for a name."""
    return [
        burette(address_of("bur-1"), clock, seed, "bur-1"),
        meter(address_of("ph-1"), clock, seed, "ph-1"),
    ]


def connect(
    places: Iterable[Place], clock: Clock, log: WireLog, seed: int, faults: Sequence[Fault]
) -> list[tuple[Place, Channel]]:
    """Open a port for each instrument; raise `ValueError` if a fault names one that is not there."""
    places = list(places)
    names = {place.instrument.name for place in places}
    for fault in faults:
        if fault.instrument is not None and fault.instrument not in names:
            raise ValueError(
                f"fault {fault.name}: no instrument {fault.instrument!r}; there are: {', '.join(names)}"
            )
        for place in places:
            if place.instrument.name == fault.instrument:
                check_ailment(place.instrument, fault.name)
    connected: list[tuple[Place, Channel]] = []
    try:
        for place in places:
            connected.append((place, _channel(place, clock, log, seed, faults)))  # noqa: PERF401 - what is open must be known when the next fails
    except OSError:
        for _, channel in connected:
            channel.close()
        raise
    return connected


def _channel(place: Place, clock: Clock, log: WireLog, seed: int, faults: Sequence[Fault]) -> Channel:
    name = place.instrument.name
    mine = [fault for fault in faults if fault.instrument in (None, name)]
    box = FaultBox(mine, stream(seed, f"{name}/faults"))
    return Channel(place.instrument, open_port(place.address), clock, log, box)


def reach(place: Place, channel: Channel) -> dict[str, object]:
    """Return how a program reaches an instrument."""
    return {
        "instrument": place.instrument.name,
        "url_or_device": channel.port.address,
        "settings": asdict(place.settings),
        "driver": place.driver,
        "options": dict(place.options),
    }


def write_paper(path: Path, connected: Iterable[tuple[Place, Channel]]) -> None:
    """Write the list of instruments so that a reader sees all of it or nothing."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    fresh.write_text(json.dumps([reach(*one) for one in connected], indent=2) + "\n", encoding="utf-8")
    fresh.replace(path)
