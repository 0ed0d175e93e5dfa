"""What every driver must stand, ours or a stranger's: laws of bytes in, events out.

Each function takes the factory of a driver, and valid frames where it needs them, and raises AssertionError
if the driver breaks the law. Events are those of an `Account`, so that a gap shows as an unaccounted frame.
"""

import random
import tracemalloc
from collections.abc import Iterable, Sequence

from acquire.accounting import Account, merge_fillers
from acquire.driver import DriverFactory
from acquire.events import Event, FrameRead, FrameRefused, Reading
from acquire.reasons import UNACCOUNTED
from tests.fakes.driver import AT

PIECE_BYTES = 4096
"""As much as a busy port gives at a time. [bytes]"""


def events_of(factory: DriverFactory, pieces: Iterable[bytes]) -> list[Event]:
    """Return the events of a capture, neighbouring fillers joined; no driver may raise."""
    account = Account(factory)
    events = [event for piece in pieces for event in account.receive(piece, AT)]
    events = merge_fillers([*events, *account.closed(AT)])
    fault = account.take_fault()
    assert fault is None, fault
    return events


def readings_of(events: Iterable[Event]) -> list[Reading]:
    """Return the readings of all frames in their order."""
    return [reading for event in events if isinstance(event, FrameRead) for reading in event.readings]


def cut(data: bytes, at: Iterable[int]) -> list[bytes]:
    """Return the pieces of some bytes, cut at those offsets."""
    places = sorted({place for place in at if 0 < place < len(data)})
    return [data[begin:end] for begin, end in zip([0, *places], [*places, len(data)], strict=True)]


def assert_tiles(events: Sequence[Event], length: int) -> None:
    """Every byte is in exactly one event, and the driver itself left none out."""
    ends = [0, *(event.span.end for event in events)]
    assert [event.span.offset for event in events] == ends[:-1]
    assert ends[-1] == length
    refused = [event for event in events if isinstance(event, FrameRefused)]
    assert all(event.reason != UNACCOUNTED for event in refused)


def assert_pieces_make_no_difference(factory: DriverFactory, data: bytes, at: Iterable[int]) -> list[Event]:
    """Whole, byte by byte and cut anywhere are the same; the spans tile the bytes."""
    whole = events_of(factory, [data])
    assert whole == events_of(factory, [data[place : place + 1] for place in range(len(data))])
    assert whole == events_of(factory, cut(data, at))
    assert_tiles(whole, len(data))
    return whole


def assert_no_reading_from_part_of_a_frame(factory: DriverFactory, lead: bytes, frame: bytes) -> None:
    """A frame that stops anywhere gives no reading, and one that begins anywhere gives no other one."""
    wanted = readings_of(events_of(factory, [lead, frame]))
    for place in range(len(frame)):
        assert readings_of(events_of(factory, [lead, frame[:place]])) == []
        late = readings_of(events_of(factory, [frame[place:]]))
        assert late in ([], wanted), f"the frame without its first {place} bytes gave {late}"


def assert_no_changed_byte_changes_a_value(factory: DriverFactory, lead: bytes, frame: bytes) -> None:
    """Whatever single byte of a checked frame is damaged, what is read is what was sent, or nothing."""
    wanted = readings_of(events_of(factory, [lead, frame]))
    for place in range(len(frame)):
        for byte in range(256):
            damaged = frame[:place] + bytes([byte]) + frame[place + 1 :]
            got = readings_of(events_of(factory, [lead, damaged, frame]))
            extra = [reading for reading in got if reading not in wanted]
            assert not extra, f"byte {place} changed to 0x{byte:02X} gave {extra}"


def assert_noise_before_costs_one_frame_at_most(
    factory: DriverFactory, lead: bytes, noise: bytes, frames: Sequence[bytes]
) -> None:
    """Noise spoils at most the frame that it runs into; those behind it are read."""
    wanted = readings_of(events_of(factory, [lead, *frames[1:]]))
    got = readings_of(events_of(factory, [lead, noise, *frames]))
    assert got[len(got) - len(wanted) :] == wanted


def assert_bytes_without_an_end_stay_bounded(
    factory: DriverFactory, total_bytes: int, limit_bytes: int
) -> None:
    """A line that never ends cannot fill the memory."""
    account = Account(factory)
    tracemalloc.start()
    try:
        refused = 0
        for _ in range(total_bytes // PIECE_BYTES):
            events = account.receive(b"A" * PIECE_BYTES, AT)
            refused += sum(event.span.length for event in events if isinstance(event, FrameRefused))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < limit_bytes
    assert refused > 0.9 * total_bytes


def assert_random_bytes_raise_nothing(factory: DriverFactory, count: int, seed: int) -> None:
    """Any bytes at all give events and nothing else."""
    data = random.Random(seed).randbytes(count)
    events = events_of(factory, [data[at : at + PIECE_BYTES] for at in range(0, count, PIECE_BYTES)])
    assert_tiles(events, count)
