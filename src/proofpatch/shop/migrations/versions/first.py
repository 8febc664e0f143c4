"""The first tables: things, their changes, pictures."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "thing",
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("job", sa.String(32), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
        sa.Column("deleted", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["job"], ["thing.id"], name="fk_thing_job_thing"),
        sa.PrimaryKeyConstraint("id", name="pk_thing"),
    )
    for column in ("kind", "job", "changed"):
        op.create_index(f"ix_thing_{column}", "thing", [column])
    op.create_table(
        "change",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("thing", sa.String(32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(16), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
        sa.ForeignKeyConstraint(["thing"], ["thing.id"], name="fk_change_thing_thing"),
        sa.PrimaryKeyConstraint("number", name="pk_change"),
    )
    op.create_index("ix_change_of", "change", ["thing", "version"])
    op.create_table(
        "picture",
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("thumbnail", sa.LargeBinary(), nullable=True),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_picture"),
    )


def downgrade() -> None:
    for table in ("picture", "change", "thing"):
        op.drop_table(table)
