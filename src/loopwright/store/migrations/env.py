"""Runs migrations on the connection that `store.migrate` has opened, inside its transaction."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
