"""What a broker refused, until it takes it.

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import UtcMicroseconds, big_integer, text

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make one table."""
    op.create_table(
        "refused_publish",
        sa.Column("sequence", big_integer(), autoincrement=False, nullable=False),
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("kind", text(), nullable=False),
        sa.Column("subject", big_integer(), autoincrement=False, nullable=False),
        sa.Column("topic", text(), nullable=False),
        sa.Column("why", text(), nullable=False),
        sa.Column("refused_at_us", UtcMicroseconds(), nullable=False),
        sa.Column("attempts", big_integer(), autoincrement=False, nullable=False),
        sa.CheckConstraint("kind IN ('reading', 'result')", name=op.f("ck_refused_publish_known_kind")),
        sa.CheckConstraint("attempts >= 1", name=op.f("ck_refused_publish_was_tried")),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_refused_publish")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
