"""Devices that may open the shop, and what is kept of the passphrase."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "device",
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended", sa.DateTime(timezone=True), nullable=True),
        sa.Column("why", sa.String(80), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_device"),
    )
    op.create_index("ix_device_digest", "device", ["digest"], unique=True)
    op.create_table(
        "secret",
        sa.Column("name", sa.String(16), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_secret"),
    )


def downgrade() -> None:
    op.drop_table("secret")
    op.drop_table("device")
