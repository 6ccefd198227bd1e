"""Job cards.

A step never changes: it does not use today's tables, which later steps change.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

TABLES = (
    "desk_card_file",
    "desk_card_change",
    "desk_card",
)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "desk_card",
        sa.Column("card", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, unique=True),
        sa.Column("begun", sa.BigInteger, nullable=False),
        sa.Column("request", sa.Text),
    )
    op.create_table(
        "desk_card_change",
        sa.Column("card", sa.Text, sa.ForeignKey("desk_card.card"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("phone", sa.Text, nullable=False),
        sa.Column("base", sa.Integer, nullable=False),
        sa.Column("entries", sa.Text, nullable=False),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("card", "key"),
    )
    op.create_table(
        "desk_card_file",
        sa.Column("card", sa.Text, sa.ForeignKey("desk_card.card"), primary_key=True),
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("card", "name"),
    )


def downgrade() -> None:
    """Drop the tables."""
    for name in TABLES:
        op.drop_table(name)
