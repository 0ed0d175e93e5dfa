"""What numbers stand on, from calibrations to checks, and the holds that a failed one opens."""

from typing import Final

from sqlalchemy import Column, Index, Table

from storage.columns import real
from storage.schema.makers import brought_by, count, metadata, moment, numeral, one_of, refers, words

control_record: Final = Table(
    "control_record",
    metadata,
    brought_by(),
    words("kind"),
    words("instrument", nullable=True),
    count("subject_id", nullable=True),
    count("method_id", nullable=True),
    count("method_version", nullable=True),
    moment("at_us"),
    words("quantity"),
    numeral("value_numeral"),
    Column("value", real(), nullable=True),
    words("unit"),
    Column("uncertainty", real(), nullable=True),
    words("verdict"),
    words("reasons"),
    words("details"),
    count("hand"),
    moment("valid_until_us", nullable=True),
    count("limit_set_id", nullable=True),
    count("limit_set_version", nullable=True),
    words("software_version"),
    one_of(
        "kind",
        "calibration",
        "verification",
        "standardisation",
        "blank",
        "pump_factor",
        "check",
        "mass_check",
    ),
    one_of("verdict", "pass", "warn", "review", "fail", "not_evaluated"),
    Index(None, "kind", "instrument", "at_us"),
    Index(None, "kind", "subject_id", "at_us"),
    sqlite_strict=True,
)
"""A record made from readings or typed by hand, judged once when it came. `subject_id` names the record of
the titrant, standard or control material; `reasons` and `details` are canonical JSON."""

control_input: Final = Table(
    "control_input",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    words("role"),
    words("source"),
    count("source_id"),
    count("source_version", nullable=True),
    one_of("source", "reading", "record", "control_record", "result", "run"),
    Index(None, "source", "source_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What a control record was made from."""

hold: Final = Table(
    "hold",
    metadata,
    brought_by(),
    words("code"),
    refers("control_number", "control_record.number", nullable=True),
    words("instrument", nullable=True),
    count("method_id", nullable=True),
    count("subject_id", nullable=True),
    moment("from_us"),
    words("evidence"),
    Index(None, "instrument", "number"),
    sqlite_strict=True,
)
"""A bracket was opened: results of this method, instrument or titrant since the last pass are in doubt."""

hold_change: Final = Table(
    "hold_change",
    metadata,
    brought_by(),
    refers("hold_id", "hold.number"),
    words("change"),
    moment("from_us", nullable=True),
    moment("until_us", nullable=True),
    refers("control_number", "control_record.number", nullable=True),
    one_of("change", "closed", "narrowed", "accepted", "rejected", "repeated"),
    Index(None, "hold_id", "number"),
    sqlite_strict=True,
)
"""A bracket was closed to the front, narrowed, or settled; the person and the reason are in the ledger."""

APPEND_ONLY: Final[tuple[Table, ...]] = (control_record, control_input, hold, hold_change)
