"""Which captures here hold what a far bench heard.

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import big_integer, text

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make one table."""
    op.create_table(
        "far_part",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("site", text(), nullable=False),
        sa.Column("store_id", text(), nullable=False),
        sa.Column("line", text(), nullable=False),
        sa.Column("capture", big_integer(), autoincrement=False, nullable=False),
        sa.Column("begin_heard", big_integer(), autoincrement=False, nullable=False),
        sa.Column("begin_sent", big_integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_far_part_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_far_part")),
        sqlite_strict=True,
    )
    op.create_index(
        op.f("ix_far_part_store_id_capture_number"),
        "far_part",
        ["store_id", "capture", "number"],
        unique=False,
    )


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
