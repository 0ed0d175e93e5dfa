"""What readers ask: short, read-only, by keyset on the ledger number; rows come out as frozen values.

Times are microseconds since 1970 UTC. [µs]
"""

from storage.queries.captures import (
    CaptureCounts,
    CaptureRecord,
    capture_by_number,
    capture_counts,
    captures_before,
    last_end_of_line,
)
from storage.queries.instruments import (
    DriverRecord,
    InstrumentRecord,
    driver_by_number,
    driver_number,
    drivers,
    instrument_quantities,
    instruments,
)
from storage.queries.ledger import (
    LedgerRecord,
    StoreInfo,
    head,
    info,
    ledger_after,
)
from storage.queries.readings import (
    ReadingFilter,
    ReadingRecord,
    UntakenReading,
    count_readings,
    current_only,
    filter_conditions,
    newest_readings,
    position,
    reading_versions,
    readings_after,
    readings_revision,
    untaken_readings,
)
from storage.queries.service import (
    BackupRecord,
    ClockEventRecord,
    backups_before,
    clock_events_before,
    last_backup,
)
from storage.queries.streams import (
    HEARD,
    ChunkRecord,
    FrameRecord,
    chunks_after,
    frame_at,
    frame_bytes,
    frames_from,
)
from storage.queries.troubles import (
    FaultRecord,
    GapRecord,
    faults_before,
    gaps_before,
)

__all__ = [
    "HEARD",
    "BackupRecord",
    "CaptureCounts",
    "CaptureRecord",
    "ChunkRecord",
    "ClockEventRecord",
    "DriverRecord",
    "FaultRecord",
    "FrameRecord",
    "GapRecord",
    "InstrumentRecord",
    "LedgerRecord",
    "ReadingFilter",
    "ReadingRecord",
    "StoreInfo",
    "UntakenReading",
    "backups_before",
    "capture_by_number",
    "capture_counts",
    "captures_before",
    "chunks_after",
    "clock_events_before",
    "count_readings",
    "current_only",
    "driver_by_number",
    "driver_number",
    "drivers",
    "faults_before",
    "filter_conditions",
    "frame_at",
    "frame_bytes",
    "frames_from",
    "gaps_before",
    "head",
    "info",
    "instrument_quantities",
    "instruments",
    "last_backup",
    "last_end_of_line",
    "ledger_after",
    "newest_readings",
    "position",
    "reading_versions",
    "readings_after",
    "readings_revision",
    "untaken_readings",
]
