"""Acts on lines, copies of the store, the host's clock; indexes that find an instrument's own at once.

Revision ID: 0003
Revises: 0002
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import UtcMicroseconds, big_integer, binary, text

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make three tables and two indexes."""
    op.create_table(
        "line_act",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("ordinal", big_integer(), autoincrement=False, nullable=False),
        sa.Column("line", text(), nullable=False),
        sa.Column("act", text(), nullable=False),
        sa.Column("settings", text(), nullable=False),
        sa.CheckConstraint(
            "act IN ('added', 'changed', 'started', 'stopped', 'removed')",
            name=op.f("ck_line_act_known_act"),
        ),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_line_act_number")),
        sa.PrimaryKeyConstraint("number", "ordinal", name=op.f("pk_line_act")),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "backup",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("file", text(), nullable=False),
        sa.Column("made_at_us", UtcMicroseconds(), nullable=False),
        sa.Column("head_number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("head_link", binary(), nullable=False),
        sa.Column("size_bytes", big_integer(), autoincrement=False, nullable=False),
        sa.CheckConstraint(
            "head_number >= 1 AND head_number < number", name=op.f("ck_backup_head_before_it")
        ),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_backup_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_backup")),
        sqlite_strict=True,
    )
    op.create_table(
        "clock_event",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("session_number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("event", text(), nullable=False),
        sa.Column("quality", text(), nullable=False),
        sa.Column("why", text(), nullable=False),
        sa.Column("max_error_us", big_integer(), autoincrement=False, nullable=True),
        sa.Column("step_us", big_integer(), autoincrement=False, nullable=True),
        sa.CheckConstraint(
            "(step_us IS NULL) = (event = 'judged')", name=op.f("ck_clock_event_only_a_step_has_a_size")
        ),
        sa.CheckConstraint("event IN ('judged', 'stepped')", name=op.f("ck_clock_event_known_event")),
        sa.CheckConstraint(
            "quality IN ('in_step', 'not_in_step', 'unknown')", name=op.f("ck_clock_event_known_quality")
        ),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_clock_event_number")),
        sa.ForeignKeyConstraint(
            ["session_number"], ["session.number"], name=op.f("fk_clock_event_session_number")
        ),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_clock_event")),
        sqlite_strict=True,
    )
    op.create_index(
        op.f("ix_capture_instrument_line_driver_number_number"),
        "capture",
        ["instrument", "line", "driver_number", "number"],
        unique=False,
    )
    op.create_index(
        op.f("ix_reading_instrument_quantity_number"),
        "reading",
        ["instrument", "quantity", "number"],
        unique=False,
    )


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
