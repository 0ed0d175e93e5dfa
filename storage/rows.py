"""One row of each append-only table as the writer takes it: the columns of the table without ``number``.

Field order is column order. Times are microseconds since 1970 UTC. [µs]
"""

from typing import NamedTuple

SqlValue = int | float | str | bytes | None
Row = tuple[SqlValue, ...]


class StoreInfoRow(NamedTuple):
    """What the store is."""

    store_id: str
    kind: str
    created_at_us: int
    note: str


class SessionRow(NamedTuple):
    """A run of the daemon begins."""

    software_version: str
    python_version: str
    engine_version: str
    host_clock: str
    started_at_us: int


class SessionEndRow(NamedTuple):
    """A run of the daemon ended, cleanly or found dead at the next start."""

    session_number: int
    ended_at_us: int
    how: str


class DriverRow(NamedTuple):
    """A driver, exactly enough to run the same one again."""

    name: str
    version: str
    definition_sha256: str
    definition: str


class CaptureRow(NamedTuple):
    """A line was opened."""

    line: str
    instrument: str
    driver_number: int
    device: str
    settings: str
    opened_at_us: int
    session_number: int


class CaptureEndRow(NamedTuple):
    """A line was closed or lost."""

    capture_number: int
    ended_at_us: int
    ending: str
    why: str
    heard_bytes: int
    sent_bytes: int


class ChunkRow(NamedTuple):
    """Bytes that crossed a line together; `offset` counts in the stream of its direction. [bytes]"""

    capture_number: int
    at_us: int
    direction: str
    offset: int
    data: bytes


class FrameRow(NamedTuple):
    """A span of heard bytes and what became of it; `ordinal` counts inside its ledger entry."""

    ordinal: int
    capture_number: int
    pour_number: int | None
    offset: int
    length: int
    outcome: str
    reason: str | None = None
    detail: str | None = None


class FarPartRow(NamedTuple):
    """The capture of this entry holds what a far bench heard, from these offsets on. [bytes]"""

    site: str
    store_id: str
    line: str
    capture: int
    begin_heard: int
    begin_sent: int


class FaultRow(NamedTuple):
    """Something of ours failed."""

    capture_number: int | None
    line: str | None
    source: str
    text: str


class GapRow(NamedTuple):
    """Time in which a line was not heard, or bytes that were lost."""

    line: str
    instrument: str
    begin_us: int
    end_us: int
    why: str
    lost_bytes: int | None = None


class ReadingRow(NamedTuple):
    """One version of a reading; the first one has the number of its own entry as `reading_id`.

    `value_text` is what the instrument sent; `value_numeral` the same as a plain decimal numeral with a point
    and all its digits; `value` the double for search. The last two are both there or both None.
    """

    reading_id: int
    version: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    position: int
    instrument: str
    driver_number: int
    at_us: int
    quantity: str
    outcome: str
    value_text: str
    value_numeral: str | None
    value: float | None
    unit: str
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    mode: str | None = None
    stable: int | None = None
    pour_number: int | None = None


class TakenRow(NamedTuple):
    """A reading version was taken in."""

    reading_number: int
    normal_text: str | None = None
    normal_value: float | None = None
    normal_unit: str | None = None
    note: str | None = None
    repeat_of: int | None = None


class LineActRow(NamedTuple):
    """Something was done to a line while the daemon ran; `ordinal` counts inside its ledger entry."""

    ordinal: int
    line: str
    act: str
    settings: str


class PourRow(NamedTuple):
    """Stored captures are poured through a driver; `scope` is canonical JSON of which."""

    driver_number: int
    scope: str
    software_version: str


class PourCaptureRow(NamedTuple):
    """A capture was poured to its end; `reshaped` says that the frames of the pour are now its frames.

    Where it is, they hold up to `end_offset` of the heard bytes. [bytes]
    """

    pour_number: int
    capture_number: int
    reshaped: int
    end_offset: int
    changed: int
    added: int
    withdrawn: int


class BackupRow(NamedTuple):
    """A checked copy was made, which ends with the entry `head_number`. [bytes]"""

    file: str
    made_at_us: int
    head_number: int
    head_link: bytes
    size_bytes: int


class ClockEventRow(NamedTuple):
    """The host's clock was judged anew, or was seen to step; forward is positive. [µs]"""

    session_number: int
    event: str
    quality: str
    why: str
    max_error_us: int | None = None
    step_us: int | None = None
