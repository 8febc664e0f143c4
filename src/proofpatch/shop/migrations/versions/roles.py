"""What each device may do. Those signed in before may work; the laptop makes one an owner's."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("device", sa.Column("role", sa.String(16), nullable=False, server_default="operator"))


def downgrade() -> None:
    op.drop_column("device", "role")
