"""A database opened with the schema of this program: engine, pragmas, and migration of the schema.

The catalog has its schema, and the desk, which uses the same engine, has another.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import URL, column, create_engine, event, inspect, make_url, select, table, text
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from handover.archive.catalog.search import SEARCHES
from handover.base.text import quoted_text
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection, Engine

HEAD_REVISION = "0001"
"""The newest step of the catalog's schema; a test holds it against the folder of migrations."""

MIGRATIONS = Path(__file__).parent / "migrations"


@dataclass(frozen=True)
class DatabaseSchema:
    """The tables of a database, and the steps to them.

    Attributes:
        name: What the database is, in words.
        migrations: The folder of Alembic's steps.
        head: The newest step.
        version_table: Where a database notes its step; two schemas in one database have two such tables.
        remedy: What to do about a database of a later version.
    """

    name: str
    migrations: Path
    head: str
    version_table: str
    remedy: str


CATALOG_SCHEMA = DatabaseSchema(
    "the catalog",
    MIGRATIONS,
    HEAD_REVISION,
    "alembic_version",
    "the version that made it, or a new catalog by `handover reindex`",
)

LOCK_TIMEOUT_MS = 60_000
_MIGRATING = 0x68616E64  # a number of our own, for PostgreSQL's lock


def open_engine(where: Path | str, schema: DatabaseSchema = CATALOG_SCHEMA) -> Engine:
    """Return an engine whose database has today's schema.

    Args:
        where: A file for SQLite, or the URL of a database.
        schema: Its tables.

    Raises:
        UnusableInput: It is not a database for a catalog, or it is one of a later version of this program.
    """
    engine = _engine(where)
    with _closed_on_failure(engine):
        if _version(engine, schema) != schema.head:
            migrate(engine, schema=schema)
    return engine


def open_to_read(file: Path) -> Engine:
    """Return an engine that only reads a SQLite file, and makes no other beside it.

    Who may not write to the folder cannot make the files by which writers and readers agree. Where none is
    there, nobody is writing, and the file is read as one that does not change.

    Raises:
        UnusableInput: It is of another version of this program.
    """
    nobody_writes = not file.with_name(f"{file.name}-wal").exists()
    query = {"uri": "true", "mode": "ro", **({"immutable": "1"} if nobody_writes else {})}
    engine = create_engine(URL.create("sqlite", database=file.resolve().as_uri(), query=query))
    event.listen(engine, "connect", _leave_transactions_to_us)
    event.listen(engine, "begin", _begin_sqlite)
    with _closed_on_failure(engine):
        if _version(engine) != HEAD_REVISION:
            finding = Finding(
                "the catalog is of another version of this program, and you may not write to it",
                file=str(file),
                expected="the version that made it; or have it brought up to date by someone who may",
            )
            raise UnusableInput([finding])
    return engine


@contextmanager
def _closed_on_failure(engine: Engine) -> Iterator[None]:
    """Close the connections of an engine that nobody will get."""
    try:
        yield
    except BaseException:
        engine.dispose()
        raise


def migrate(engine: Engine, to: str = "head", schema: DatabaseSchema = CATALOG_SCHEMA) -> None:
    """Migrate the schema to a step. All other users wait meanwhile.

    Raises:
        UnusableInput: The database is of a later version of this program.
    """
    from alembic import command  # noqa: PLC0415 - seldom needed, and slow to import
    from alembic.config import Config  # noqa: PLC0415
    from alembic.util import CommandError  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(schema.migrations).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    with engine.connect().execution_options(begin="IMMEDIATE") as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATING})
        config.attributes["connection"] = connection
        config.attributes["version_table"] = schema.version_table
        try:
            move = command.downgrade if to == "base" else command.upgrade
            move(config, to)
        except CommandError as fault:
            finding = Finding(
                f"{schema.name} was made by a later version of this program ({fault})",
                expected=schema.remedy,
            )
            raise UnusableInput([finding]) from None


def _engine(where: Path | str) -> Engine:
    url = URL.create("sqlite", database=str(where)) if isinstance(where, Path) else _url(where)
    try:
        engine = create_engine(url)
    except NoSuchModuleError:
        raise _not_a_catalog(where) from None
    except ModuleNotFoundError as fault:
        problem = f"the driver of the catalog's database is not installed ({fault.name})"
        raise UnusableInput([Finding(problem, expected="pip install 'handover[postgresql]'")]) from None
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _url(where: str) -> URL:
    try:
        url = make_url(where)
    except (ArgumentError, ValueError):  # a port that is no number
        raise _not_a_catalog(where) from None
    if url.get_backend_name() not in SEARCHES:
        raise _not_a_catalog(where)
    return url.set(drivername="postgresql+psycopg") if url.drivername == "postgresql" else url


def _not_a_catalog(where: Path | str) -> UnusableInput:
    kind = str(where).partition(":")[0]  # what comes after may hold a password
    finding = Finding(
        f"{quoted_text(kind)} is not a database for the catalog",
        expected="the URL of a PostgreSQL database, or none for a file beside the bags",
        example="postgresql://office@archive.example.org/handover",
    )
    return UnusableInput([finding])


def _version(engine: Engine, schema: DatabaseSchema = CATALOG_SCHEMA) -> str | None:
    """Return the step of the schema of a database; None if there is none yet."""
    with engine.connect() as connection:
        if not inspect(connection).has_table(schema.version_table):
            return None
        version = table(schema.version_table, column("version_num"))
        return connection.execute(select(version.c.version_num)).scalar()


def _leave_transactions_to_us(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # they begin where `_begin_sqlite` says


def _set_up_sqlite(connection: Any, record: Any) -> None:
    _leave_transactions_to_us(connection, record)
    connection.execute(f"PRAGMA busy_timeout = {LOCK_TIMEOUT_MS}")
    connection.execute("PRAGMA journal_mode = WAL")  # who reads does not wait for who writes
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute("PRAGMA foreign_keys = ON")


def _begin_sqlite(connection: Connection) -> None:
    """Begin a transaction; one that will write takes the lock at once, or might not get it later."""
    how = connection.get_execution_options().get("begin", "DEFERRED")
    if how is not None:
        connection.exec_driver_sql(f"BEGIN {how}")
