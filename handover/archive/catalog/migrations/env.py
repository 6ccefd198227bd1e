"""How Alembic takes the steps: on the connection that it is given, in the transaction that this is in."""

from __future__ import annotations

from alembic import context

from handover.archive.catalog.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=True,
    version_table=context.config.attributes["version_table"],
)
context.run_migrations()
