"""Alembic's entry: runs the migrations on the connection that the store hands over."""

from alembic import context

connection = context.config.attributes.get("connection")
if connection is None:
    context.configure(dialect_name=context.config.get_main_option("dialect"), as_sql=True)
else:
    context.configure(connection=connection)
context.run_migrations()
