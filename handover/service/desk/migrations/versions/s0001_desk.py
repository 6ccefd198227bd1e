"""People, links, what owners said, work under way, who did what.

A step never changes: it does not use today's tables, which later steps change.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

TABLES = (
    "desk_session",
    "desk_request_file",
    "desk_publication",
    "desk_token",
    "desk_to_send",
    "desk_tick",
    "desk_seen",
    "desk_request",
    "desk_person",
    "desk_link",
    "desk_invitation",
    "desk_firm",
    "desk_audit",
    "desk_attempt",
    "desk_acknowledgement",
)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "desk_acknowledgement",
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("archived", sa.Boolean, nullable=False),
    )
    op.create_table(
        "desk_attempt",
        sa.Column("number", NUMBER, primary_key=True),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
    )
    op.create_index("desk_attempt_what", "desk_attempt", ["what", "at"])
    op.create_table(
        "desk_audit",
        sa.Column("number", NUMBER, primary_key=True),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
    )
    op.create_table(
        "desk_firm",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("created", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "desk_invitation",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("ends", sa.BigInteger, nullable=False),
        sa.Column("used", sa.BigInteger),
    )
    op.create_table(
        "desk_link",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("withdrawn", sa.BigInteger),
        sa.UniqueConstraint("job", "number"),
    )
    op.create_table(
        "desk_person",
        sa.Column("number", NUMBER, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("login", sa.Text, nullable=False, unique=True),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("language", sa.Text, nullable=False),
        sa.Column("password", sa.Text),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("closed", sa.BigInteger),
    )
    op.create_table(
        "desk_request",
        sa.Column("number", NUMBER, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("job", sa.Text),
        sa.Column("record_name", sa.Text, nullable=False),
        sa.Column("record", sa.LargeBinary),
        sa.Column("weather_name", sa.Text),
        sa.Column("weather", sa.LargeBinary),
        sa.Column("weather_received", sa.BigInteger),
        sa.Column("weather_service", sa.Text),
        sa.Column("as_of", sa.BigInteger, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("revision", sa.Integer),
        sa.Column("findings", sa.Text),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.Column("ended", sa.BigInteger),
    )
    op.create_index("desk_request_job", "desk_request", ["job", "number"])
    op.create_table(
        "desk_seen",
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "desk_tick",
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("task", sa.Text, primary_key=True),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
    )
    op.create_table(
        "desk_to_send",
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("sent", sa.BigInteger),
        sa.Column("by", sa.Text),
    )
    op.create_table(
        "desk_token",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("withdrawn", sa.BigInteger),
    )
    op.create_table(
        "desk_publication",
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("request", NUMBER, sa.ForeignKey("desk_request.number"), unique=True),
    )
    op.create_table(
        "desk_request_file",
        sa.Column(
            "request", NUMBER, sa.ForeignKey("desk_request.number", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "desk_session",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("person", NUMBER, sa.ForeignKey("desk_person.number", ondelete="CASCADE"), nullable=False),
        sa.Column("created", sa.BigInteger, nullable=False),
        sa.Column("ends", sa.BigInteger, nullable=False),
    )


def downgrade() -> None:
    """Drop the tables."""
    for name in TABLES:
        op.drop_table(name)
