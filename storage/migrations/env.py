"""What Alembic runs: on a connection that is handed to it, one transaction a step."""

from alembic import context

from storage.guards import make_guards
from storage.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    transaction_per_migration=True,
    on_version_apply=lambda **_: make_guards(connection),
)
with context.begin_transaction():
    context.run_migrations()
