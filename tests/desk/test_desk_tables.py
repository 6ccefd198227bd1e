"""The tables of the desk are what its steps make, beside the catalog in one database or in a file alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text

from handover.archive.catalog.engine import migrate, open_engine
from handover.errors import UnusableInput
from handover.service.desk.card_tables import CARD_TABLES
from handover.service.desk.database import DESK_FILE, DESK_SCHEMA, KEY_FILE, open_desk
from handover.service.desk.tables import DESK_TABLES

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk

OWN = {*DESK_TABLES.tables, *CARD_TABLES.tables}


def differences(connection: Connection) -> list[object]:
    def is_ours(_thing: object, name: str | None, kind: str, *_: object) -> bool:
        return kind != "table" or name in OWN

    options = {"compare_type": True, "include_object": is_ours}
    context = MigrationContext.configure(connection, opts=options)
    return list(compare_metadata(context, [DESK_TABLES, CARD_TABLES]))


def test_the_newest_step_of_the_desk_is_known_by_its_name() -> None:
    config = Config()
    config.set_main_option("script_location", str(DESK_SCHEMA.migrations))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [DESK_SCHEMA.head]


def test_the_steps_make_the_tables_of_the_desk(desk: Desk) -> None:
    with desk.reading() as connection:
        assert differences(connection) == []


def test_the_desk_shares_a_postgresql_with_the_catalog(
    empty_database: str, tmp_path: Path, desk: Desk
) -> None:
    made = open_desk(tmp_path / "other", now=desk.now, random_bytes=desk.random_bytes, url=empty_database)
    with made.archive, made.reading() as connection:
        assert made.archive.catalog.seals() == {}
        assert differences(connection) == []
    migrate(made.engine, "base", DESK_SCHEMA)
    assert not OWN & {*inspect(made.engine).get_table_names()}
    assert "job" in inspect(made.engine).get_table_names()
    made.close()


def test_steps_back_leave_nothing(desk: Desk) -> None:
    migrate(desk.engine, "base", DESK_SCHEMA)
    assert inspect(desk.engine).get_table_names() == [DESK_SCHEMA.version_table]


def test_a_desk_of_a_later_version_is_left_alone(desk: Desk) -> None:
    with desk.writing() as connection:
        connection.execute(text("UPDATE desk_alembic_version SET version_num = '9999'"))
    with pytest.raises(UnusableInput, match="the database of the desk was made by a later version"):
        open_engine(desk.archive.folder / DESK_FILE, DESK_SCHEMA)


def test_the_key_is_private_and_drawn_once(desk: Desk) -> None:
    file = desk.archive.folder / KEY_FILE
    assert file.stat().st_mode & 0o077 == 0
    again = open_desk(desk.archive.folder, now=desk.now, random_bytes=desk.random_bytes)
    assert again.key == desk.key
    again.close()
    file.write_bytes(b"short")
    with pytest.raises(UnusableInput, match="is not the key of a desk"):
        open_desk(desk.archive.folder, now=desk.now, random_bytes=desk.random_bytes)
