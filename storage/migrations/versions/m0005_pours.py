"""Pours of stored captures: what they were, how far they came, and which readings they made.

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

from storage.columns import big_integer, text

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make two tables; let readings name the pour that made them."""
    op.add_column("reading", sa.Column("pour_number", big_integer(), nullable=True))
    op.create_index(
        "ix_reading_poured",
        "reading",
        ["frame_number", "frame_ordinal"],
        unique=False,
        sqlite_where=sa.text("pour_number IS NOT NULL"),
        postgresql_where=sa.text("pour_number IS NOT NULL"),
    )
    op.create_table(
        "pour",
        sa.Column("number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("driver_number", big_integer(), autoincrement=False, nullable=False),
        sa.Column("scope", text(), nullable=False),
        sa.Column("software_version", text(), nullable=False),
        sa.ForeignKeyConstraint(["driver_number"], ["driver.number"], name=op.f("fk_pour_driver_number")),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_pour_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_pour")),
        sqlite_strict=True,
    )
    op.create_table(
        "pour_capture",
        *(
            sa.Column(name, big_integer(), autoincrement=False, nullable=False)
            for name in (
                "number",
                "pour_number",
                "capture_number",
                "reshaped",
                "end_offset",
                "changed",
                "added",
                "withdrawn",
            )
        ),
        sa.ForeignKeyConstraint(
            ["capture_number"], ["capture.number"], name=op.f("fk_pour_capture_capture_number")
        ),
        sa.ForeignKeyConstraint(["number"], ["ledger.number"], name=op.f("fk_pour_capture_number")),
        sa.ForeignKeyConstraint(["pour_number"], ["pour.number"], name=op.f("fk_pour_capture_pour_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_pour_capture")),
        sqlite_strict=True,
    )
    for column in ("capture_number", "pour_number"):
        op.create_index(
            op.f(f"ix_pour_capture_{column}_number"), "pour_capture", [column, "number"], unique=False
        )


def downgrade() -> None:
    """Refuse: what was written is never dropped."""
    raise RuntimeError("a store is never taken back to an older schema; restore a backup instead")
