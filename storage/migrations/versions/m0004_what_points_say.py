"""What a point of a curve says beside its numbers: the instrument's time, and its signal as it was sent.

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import text

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add three columns; points that were kept before have nothing in them."""
    for name in ("instrument_time", "signal_text", "signal_outcome"):
        op.add_column("curve_point", sa.Column(name, text(), nullable=True))


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
