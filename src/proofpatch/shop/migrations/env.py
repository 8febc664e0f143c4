"""How migrations meet the database: over the connection that the store already holds."""

from alembic import context

from proofpatch.shop.tables import Base

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=Base.metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
