"""An index by which a message without a number is found by the time that its instrument told.

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

UNNUMBERED = sa.text("sequence IS NULL AND instrument_time IS NOT NULL")


def upgrade() -> None:
    """Make one index."""
    op.create_index(
        "ix_reading_instrument_time",
        "reading",
        ["instrument", "instrument_time"],
        unique=False,
        sqlite_where=UNNUMBERED,
        postgresql_where=UNNUMBERED,
    )


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
