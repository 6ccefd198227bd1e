"""The tables of the desk: people, links, what owners said, work under way, who did what.

Times are seconds since 1970 in UTC. Of a secret (session, invitation, token, link) only the hash is kept. The
names begin with "desk_": the tables may be in one database with the catalog.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

DESK_TABLES = MetaData()

_Number = BigInteger().with_variant(Integer(), "sqlite")  # SQLite's row id

FIRM = Table(
    "desk_firm",
    DESK_TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),  # 1: a folder serves one firm
    Column("name", Text, nullable=False),
    Column("created", BigInteger, nullable=False),
)

PERSON = Table(
    "desk_person",
    DESK_TABLES,
    Column("number", _Number, primary_key=True),
    Column("name", Text, nullable=False),
    Column("login", Text, nullable=False, unique=True),  # in lower case
    Column("role", Text, nullable=False),
    Column("language", Text, nullable=False),
    Column("password", Text),  # argon2id; null: passkeys alone
    Column("created", BigInteger, nullable=False),
    Column("closed", BigInteger),  # since when the person may no longer sign in
)

SESSION = Table(
    "desk_session",
    DESK_TABLES,
    Column("digest", Text, primary_key=True),
    Column("person", _Number, ForeignKey("desk_person.number", ondelete="CASCADE"), nullable=False),
    Column("created", BigInteger, nullable=False),
    Column("ends", BigInteger, nullable=False),
)

INVITATION = Table(
    "desk_invitation",
    DESK_TABLES,
    Column("digest", Text, primary_key=True),
    Column("role", Text, nullable=False),
    Column("created", BigInteger, nullable=False),
    Column("ends", BigInteger, nullable=False),
    Column("used", BigInteger),
)

TOKEN = Table(
    "desk_token",
    DESK_TABLES,
    Column("digest", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("created", BigInteger, nullable=False),
    Column("withdrawn", BigInteger),
)

ATTEMPT = Table(
    "desk_attempt",
    DESK_TABLES,
    Column("number", _Number, primary_key=True),
    Column("what", Text, nullable=False),  # "sign-in alice", "api 3f9a..."
    Column("at", BigInteger, nullable=False),
)
Index("desk_attempt_what", ATTEMPT.c.what, ATTEMPT.c.at)

LINK = Table(
    "desk_link",
    DESK_TABLES,
    Column("digest", Text, primary_key=True),
    Column("job", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("created", BigInteger, nullable=False),
    Column("withdrawn", BigInteger),
    UniqueConstraint("job", "number"),
)

REQUEST = Table(
    "desk_request",
    DESK_TABLES,
    Column("number", _Number, primary_key=True),
    Column("key", Text, nullable=False, unique=True),  # one with the id of its workflow
    Column("job", Text),  # null until the record was read, or where it cannot be
    Column("record_name", Text, nullable=False),
    Column("record", LargeBinary),  # null once it is in the archive
    Column("weather_name", Text),
    Column("weather", LargeBinary),
    Column("weather_received", BigInteger),  # when it was downloaded
    Column("weather_service", Text),
    Column("as_of", BigInteger, nullable=False),
    Column("by", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("revision", Integer),
    Column("findings", Text),  # JSON; of a refused or failed request
    Column("received", BigInteger, nullable=False),
    Column("ended", BigInteger),
)
Index("desk_request_job", REQUEST.c.job, REQUEST.c.number)

REQUEST_FILE = Table(
    "desk_request_file",
    DESK_TABLES,
    Column("request", _Number, ForeignKey("desk_request.number", ondelete="CASCADE"), primary_key=True),
    Column("name", Text, primary_key=True),  # by which the record names it
    Column("data", LargeBinary, nullable=False),
)

PUBLICATION = Table(
    "desk_publication",
    DESK_TABLES,
    Column("job", Text, primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("at", BigInteger, nullable=False),
    Column("request", _Number, ForeignKey("desk_request.number"), unique=True),
)

TICK = Table(
    "desk_tick",
    DESK_TABLES,
    Column("job", Text, primary_key=True),
    Column("task", Text, primary_key=True),  # "watering 2026-07-15 1"
    Column("state", Text, nullable=False),  # "done", "could-not"
    Column("at", BigInteger, nullable=False),
    Column("by", Text, nullable=False),  # "owner", or who of the firm
)

SEEN = Table(
    "desk_seen",
    DESK_TABLES,
    Column("job", Text, primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("at", BigInteger, nullable=False),
)

ACKNOWLEDGEMENT = Table(
    "desk_acknowledgement",
    DESK_TABLES,
    Column("job", Text, primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
    Column("archived", Boolean, nullable=False),
)

TO_SEND = Table(
    "desk_to_send",
    DESK_TABLES,
    Column("job", Text, primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("created", BigInteger, nullable=False),
    Column("sent", BigInteger),
    Column("by", Text),
)

AUDIT = Table(
    "desk_audit",
    DESK_TABLES,
    Column("number", _Number, primary_key=True),
    Column("at", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("about", Text, nullable=False),
)
