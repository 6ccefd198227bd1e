"""Jobs, their tasks, and the search by words.

A step never changes: it does not use today's tables, which later steps change.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import TSVECTOR

revision = "0001"
down_revision = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

# FTS5 keeps no text of its own here; it needs the old words of a row that is deleted.
FTS5 = """
CREATE VIRTUAL TABLE job_words USING fts5(
  words, content='job', content_rowid='number', tokenize='ascii', detail='none'
)
"""
INSERTED = """
CREATE TRIGGER job_words_insert AFTER INSERT ON job BEGIN
  INSERT INTO job_words(rowid, words) VALUES (new.number, new.words);
END
"""
DELETED = """
CREATE TRIGGER job_words_delete AFTER DELETE ON job BEGIN
  INSERT INTO job_words(job_words, rowid, words) VALUES ('delete', old.number, old.words);
END
"""


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "job",
        sa.Column("number", NUMBER, primary_key=True, autoincrement=False),
        sa.Column("job", sa.Text, nullable=False, unique=True),
        sa.Column("bag", sa.Text, nullable=False, unique=True),
        sa.Column("seal", sa.Text, nullable=False),
        sa.Column("placed", sa.BigInteger, nullable=False),
        sa.Column("issued", sa.BigInteger, nullable=False),
        sa.Column("curing_ends", sa.BigInteger, nullable=False),
        sa.Column("frost_until", sa.BigInteger, nullable=False),
        sa.Column("acknowledged", sa.BigInteger, nullable=False),
        sa.Column("walkthrough_open", sa.Boolean, nullable=False),
        sa.Column("cylinder_low", sa.Boolean, nullable=False),
        sa.Column("entry", sa.Text, nullable=False),
        sa.Column("words", sa.Text().with_variant(TSVECTOR(), "postgresql"), nullable=False),
    )
    states = [
        "placed",
        "issued",
        "curing_ends",
        "frost_until",
        "acknowledged",
        "walkthrough_open",
        "cylinder_low",
    ]
    op.create_index("job_states", "job", ["number", *states])
    op.create_table(
        "task",
        sa.Column("number", NUMBER, sa.ForeignKey("job.number", ondelete="CASCADE"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("first_day", sa.Integer, nullable=False),
        sa.Column("last_day", sa.Integer, nullable=False),
    )
    op.create_index("task_days", "task", ["last_day", "first_day"])
    if op.get_bind().dialect.name == "sqlite":
        for statement in (FTS5, INSERTED, DELETED):
            op.execute(statement)
    else:
        op.create_index("job_words", "job", ["words"], postgresql_using="gin")


def downgrade() -> None:
    """Drop the tables."""
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TABLE job_words")
    op.drop_table("task")
    op.drop_table("job")
