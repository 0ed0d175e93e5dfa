"""The walk from a reading back to its bytes, for the route and for the page."""

from dataclasses import dataclass

from sqlalchemy import Connection

from api.problems import not_found
from storage import queries
from storage.queries import CaptureRecord, DriverRecord, FrameRecord, ReadingRecord


@dataclass(frozen=True, slots=True)
class Thread:
    """A reading with everything that it came from."""

    versions: tuple[ReadingRecord, ...]
    """Oldest first; at least one."""
    frame: FrameRecord
    data: bytes
    """Of the frame."""
    capture: CaptureRecord
    driver: DriverRecord


def read_thread(connection: Connection, reading_id: int) -> Thread:
    """Return the thread of a reading; raise the problem 404 if there is no such reading."""
    versions = queries.reading_versions(connection, reading_id)
    if not versions:
        raise not_found(f"there is no reading {reading_id}; take ids from reading_id in /api/v1/readings")
    newest = versions[-1]
    frame = queries.frame_at(connection, newest.frame_number, newest.frame_ordinal)
    capture = queries.capture_by_number(connection, newest.capture_number)
    driver = queries.driver_by_number(connection, newest.driver_number)
    if frame is None or capture is None or driver is None:
        raise LookupError(f"reading {reading_id} has lost its frame, capture or driver: run tundish verify")
    return Thread(tuple(versions), frame, queries.frame_bytes(connection, frame), capture, driver)
