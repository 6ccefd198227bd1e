"""How Alembic takes the steps: on the connection that it is given, in the transaction that this is in."""

from __future__ import annotations

from alembic import context

from handover.service.desk.card_tables import CARD_TABLES
from handover.service.desk.tables import DESK_TABLES

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=[CARD_TABLES, DESK_TABLES],
    transactional_ddl=True,
    version_table=context.config.attributes["version_table"],
)
context.run_migrations()
