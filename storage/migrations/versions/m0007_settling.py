"""Readings of record of streaming instruments: which came to rest, by which rule, from which stretch.

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import UtcMicroseconds, big_integer, real, text

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make one table."""
    op.create_table(
        "settled",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("reading_id", big_integer(), autoincrement=False, nullable=False),
        sa.Column("first_reading_id", big_integer(), autoincrement=False, nullable=False),
        sa.Column("readings", big_integer(), autoincrement=False, nullable=False),
        sa.Column("instrument", text(), nullable=False),
        sa.Column("quantity", text(), nullable=False),
        sa.Column("at_us", UtcMicroseconds(), nullable=False),
        sa.Column("how", text(), nullable=False),
        sa.Column("verdict", text(), nullable=False),
        sa.Column("rule", text(), nullable=True),
        sa.Column("span", real(), nullable=True),
        sa.Column("drift_per_s", real(), nullable=True),
        sa.Column("waited_s", real(), nullable=True),
        sa.CheckConstraint("how IN ('rule', 'person')", name=op.f("ck_settled_known_how")),
        sa.CheckConstraint(
            "verdict IN ('stable', 'waiting', 'timed_out', 'no_rule')", name=op.f("ck_settled_known_verdict")
        ),
        sa.ForeignKeyConstraint(
            ["first_reading_id"], ["reading.number"], name=op.f("fk_settled_first_reading_id")
        ),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_settled_number")),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.number"], name=op.f("fk_settled_reading_id")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_settled")),
        sqlite_strict=True,
    )
    op.create_index(
        op.f("ix_settled_instrument_quantity_number"),
        "settled",
        ["instrument", "quantity", "number"],
        unique=False,
    )
    op.create_index(op.f("ix_settled_reading_id"), "settled", ["reading_id"], unique=False)


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
