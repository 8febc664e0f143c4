"""The order of things by the numbers of their changes, and indices for what a large shop asks."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

FIRST = "(SELECT min(number) FROM change WHERE change.thing = thing.id)"
LAST = "(SELECT max(number) FROM change WHERE change.thing = thing.id AND what <> 'aside')"


def upgrade() -> None:
    for name in ("made", "latest"):
        op.add_column("thing", sa.Column(name, sa.Integer(), nullable=False, server_default="0"))
    op.execute(f"UPDATE thing SET made = coalesce({FIRST}, 0), latest = coalesce({LAST}, 0)")
    for column in ("kind", "job", "changed"):
        op.drop_index(f"ix_thing_{column}", "thing")
    op.create_index("ix_thing_of_kind", "thing", ["kind", "deleted", "latest", "title"])
    op.create_index("ix_thing_of_job", "thing", ["job", "kind", "deleted", "latest"])


def downgrade() -> None:
    for name in ("job", "kind"):
        op.drop_index(f"ix_thing_of_{name}", "thing")
    for column in ("kind", "job", "changed"):
        op.create_index(f"ix_thing_{column}", "thing", [column])
    for name in ("latest", "made"):
        op.drop_column("thing", name)
