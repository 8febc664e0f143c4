"""What phones sent and what was made of it, once."""

import sqlalchemy as sa
from alembic import op

from proofpatch.shop.migrations.versions import devices

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # For an hour two ways of working had a 0002 of their own: one with the devices, one with this table.
    if sa.inspect(op.get_bind()).has_table("once"):
        devices.upgrade()
        return
    op.create_table(
        "once",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_once"),
    )


def downgrade() -> None:
    op.drop_table("once")
