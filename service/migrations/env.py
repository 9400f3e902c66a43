"""What alembic runs: the migrations, on the connection that service.store.schema passes."""

from alembic import context

from service.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,  # SQLite alters by copying
)
context.run_migrations()
