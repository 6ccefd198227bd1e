"""The schema is what the migrations make, and they go forth and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from handover.archive.catalog import Catalog
from handover.archive.catalog.engine import HEAD_REVISION, MIGRATIONS, migrate
from handover.archive.catalog.tables import METADATA
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from pathlib import Path

    from handover.archive.store import Archive


def test_the_newest_step_is_known_by_its_name() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD_REVISION]


def test_the_steps_make_the_tables_that_the_code_knows(office: Archive) -> None:
    own = set(METADATA.tables)

    def is_ours(_thing: object, name: str | None, kind: str, *_: object) -> bool:
        # The index of words is made by hand, for each database in its own way.
        return name in own if kind == "table" else name != "job_words"

    with office.catalog._engine.connect() as connection:
        options = {"compare_type": True, "include_object": is_ours}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, METADATA) == []
        assert "job_states" in {each["name"] for each in inspect(connection).get_indexes("job")}


def test_steps_back_leave_nothing_and_steps_forth_make_it_again(office: Archive) -> None:
    engine = office.catalog._engine
    before = set(inspect(engine).get_table_names())
    migrate(engine, "base")
    assert set(inspect(engine).get_table_names()) == {"alembic_version"}
    migrate(engine)
    assert set(inspect(engine).get_table_names()) == before


def test_a_catalog_of_a_later_version_is_left_alone(archive: Archive) -> None:
    with archive.catalog._engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    archive.close()
    with pytest.raises(UnusableInput, match="a later version of this program"):
        _ = archive.catalog


def test_a_step_that_fails_leaves_the_schema_as_it_was(tmp_path: Path) -> None:
    """Half of the tables would be worse than none."""
    file = tmp_path / "catalog.sqlite"
    engine = create_engine(f"sqlite:///{file}")
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE task (odd text)"))
    engine.dispose()
    with pytest.raises(Exception, match="task"):
        Catalog.open(file)
    assert set(inspect(engine).get_table_names()) == {"task"}
    engine.dispose()
