"""The desk of a firm, open: archive, database, key, and the clock and randomness of the caller."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from handover.archive.access import make_archive_folder
from handover.archive.catalog.engine import DatabaseSchema, open_engine
from handover.archive.store import Archive
from handover.base.atomic import create_file
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy import Connection, Engine

DESK_FILE = "desk.sqlite"
"""The file of the desk in the folder of the archive."""

KEY_FILE = "desk.key"
"""The file with the key of the links: without it, nobody who reads the database can open a page."""

KEY_BYTES = 32

DESK_SCHEMA = DatabaseSchema(
    "the database of the desk",
    Path(__file__).parent / "migrations",
    "0002",
    "desk_alembic_version",
    "the version that made it",
)

ARCHIVE_TIMEOUT_S = 600.0
"""How long work in the background waits for another process that holds a bag. [s]"""


@dataclass(frozen=True)
class Desk:
    """The desk of a firm.

    Attributes:
        archive: The archive of the firm.
        engine: The database of the desk.
        key: The key of the links to owners' pages.
        now: Returns the time, aware.
        random_bytes: Returns so many random bytes.
    """

    archive: Archive
    engine: Engine
    key: bytes
    now: Callable[[], datetime]
    random_bytes: Callable[[int], bytes]

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection to read."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection to write: all that it writes is kept, or nothing."""
        with self.engine.connect().execution_options(begin="IMMEDIATE") as connection, connection.begin():
            yield connection

    def close(self) -> None:
        """Close the databases."""
        self.engine.dispose()
        self.archive.close()


def open_desk(
    folder: Path,
    *,
    now: Callable[[], datetime],
    random_bytes: Callable[[int], bytes],
    url: str | None = None,
    group: str | None = None,
) -> Desk:
    """Open the desk of an archive; make archive, database and key where there are none.

    Args:
        folder: The archive.
        now: Returns the time, aware.
        random_bytes: A source of randomness such as `secrets.token_bytes`.
        url: The PostgreSQL database of catalog and desk; None for files in the folder.
        group: The group of a new archive.

    Raises:
        UnusableInput: The database is of a later version, or the key was changed.
        OSError: The folder cannot be written.
    """
    make_archive_folder(folder, group)
    key = _read_key(folder / KEY_FILE, random_bytes)
    engine = open_engine(url or folder / DESK_FILE, DESK_SCHEMA)
    archive = Archive(folder, url, timeout_s=ARCHIVE_TIMEOUT_S, group=group)
    return Desk(archive, engine, key, now, random_bytes)


def _read_key(file: Path, random_bytes: Callable[[int], bytes]) -> bytes:
    """Return the key of a desk; draw it where there is none. Of two processes at once, one draws it."""
    try:
        create_file(file, random_bytes(KEY_BYTES))
    except FileExistsError:
        pass
    else:
        file.chmod(0o600)
    key = file.read_bytes()
    if len(key) != KEY_BYTES:
        expected = "the key that the desk has made: every link that was handed out depends on it"
        raise UnusableInput.with_finding("is not the key of a desk", file=str(file), expected=expected)
    return key


def to_seconds(at: datetime) -> int:
    """Return a time as the tables store it."""
    return int(at.timestamp())


def to_time(at: int) -> datetime:
    """Return a time of the tables, in UTC."""
    return datetime.fromtimestamp(at, UTC)
