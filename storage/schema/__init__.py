"""The tables: what is kept, in which order, under which names.

Every row of every append-only table names the ledger entry that brought it (``number``). Columns are only
ever appended at the end of a table, and only nullable ones: the digest of an old row must stay what it was.
Times are whole microseconds since 1970 UTC (``*_us``). [µs]

A module of tables ends with its own ``APPEND_ONLY`` (and ``MUTABLE``, if it needs one). A new module is
added at the end of the tuples below, because the order of the tables is the order of a digest.
"""

from typing import Final

from sqlalchemy import Table

from storage.schema import (
    cellar,
    curves,
    far,
    housekeeping,
    office,
    pours,
    publishing,
    quality,
    records,
    results,
    runs,
    service,
    settling,
    streams,
    tray,
)
from storage.schema.cellar import addition, addition_step, movement, movement_part, outside_result
from storage.schema.curves import curve_point, report
from storage.schema.far import far_part
from storage.schema.housekeeping import heartbeat, ledger, position, session, session_end, store_info
from storage.schema.makers import metadata
from storage.schema.office import (
    access_key,
    access_key_end,
    alert,
    alert_end,
    card,
    pin,
    pin_failure,
    request_answer,
)
from storage.schema.pours import pour, pour_capture
from storage.schema.publishing import refused_publish
from storage.schema.quality import control_input, control_record, hold, hold_change
from storage.schema.records import record, record_link
from storage.schema.results import (
    amendment,
    amendment_item,
    amendment_state,
    release,
    result,
    result_input,
    standing,
)
from storage.schema.runs import run, run_end, run_note, run_warning
from storage.schema.service import backup, clock_event, line_act
from storage.schema.settling import settled
from storage.schema.streams import capture, capture_end, chunk, driver, fault, frame, gap, reading, taken
from storage.schema.tray import on_instrument, tie, tray_item

__all__ = [
    "APPEND_ONLY",
    "MUTABLE_TABLES",
    "access_key",
    "access_key_end",
    "addition",
    "addition_step",
    "alert",
    "alert_end",
    "amendment",
    "amendment_item",
    "amendment_state",
    "backup",
    "capture",
    "capture_end",
    "card",
    "chunk",
    "clock_event",
    "control_input",
    "control_record",
    "curve_point",
    "driver",
    "far_part",
    "fault",
    "frame",
    "gap",
    "heartbeat",
    "hold",
    "hold_change",
    "ledger",
    "line_act",
    "metadata",
    "movement",
    "movement_part",
    "on_instrument",
    "outside_result",
    "pin",
    "pin_failure",
    "position",
    "pour",
    "pour_capture",
    "reading",
    "record",
    "record_link",
    "refused_publish",
    "release",
    "report",
    "request_answer",
    "result",
    "result_input",
    "run",
    "run_end",
    "run_note",
    "run_warning",
    "session",
    "session_end",
    "settled",
    "standing",
    "store_info",
    "taken",
    "tie",
    "tray_item",
]

APPEND_ONLY: Final[tuple[Table, ...]] = (
    *housekeeping.APPEND_ONLY,
    *streams.APPEND_ONLY,
    *records.APPEND_ONLY,
    *curves.APPEND_ONLY,
    *tray.APPEND_ONLY,
    *runs.APPEND_ONLY,
    *quality.APPEND_ONLY,
    *results.APPEND_ONLY,
    *cellar.APPEND_ONLY,
    *office.APPEND_ONLY,
    *service.APPEND_ONLY,
    *pours.APPEND_ONLY,
    *publishing.APPEND_ONLY,
    *settling.APPEND_ONLY,
    *far.APPEND_ONLY,
)
"""The tables whose rows an entry's digest covers, in the order of the digest. New ones go at the end."""

MUTABLE_TABLES: Final[dict[str, str]] = {
    **housekeeping.MUTABLE,
    **office.MUTABLE,
    **publishing.MUTABLE,
}
"""The tables that may be updated, and why. Every other table is append-only."""
