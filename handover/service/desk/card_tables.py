"""The tables of the job cards. Changes and files are only added; times are seconds since 1970 in UTC."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

CARD_TABLES = MetaData()

CARD = Table(
    "desk_card",
    CARD_TABLES,
    Column("card", Text, primary_key=True),  # drawn by the phone
    Column("job", Text, unique=True),  # the id of its record, once its link or its papers were asked for
    Column("begun", BigInteger, nullable=False),
    Column("request", Text),  # what its papers were asked for with, last
)

CARD_CHANGE = Table(
    "desk_card_change",
    CARD_TABLES,
    Column("card", Text, ForeignKey("desk_card.card"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("key", Text, nullable=False),
    Column("phone", Text, nullable=False),
    Column("base", Integer, nullable=False),
    Column("entries", Text, nullable=False),  # JSON: field -> [text, seconds]
    Column("person", Text, nullable=False),
    Column("received", BigInteger, nullable=False),
    UniqueConstraint("card", "key"),
)

CARD_FILE = Table(
    "desk_card_file",
    CARD_TABLES,
    Column("card", Text, ForeignKey("desk_card.card"), primary_key=True),
    Column("key", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("about", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("person", Text, nullable=False),
    Column("received", BigInteger, nullable=False),
    UniqueConstraint("card", "name"),
)
