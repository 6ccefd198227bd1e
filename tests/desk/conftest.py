"""The database of a desk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import create_engine, event

from handover.archive.catalog.engine import _begin_sqlite, _set_up_sqlite
from handover.service.desk.card_tables import CARD_TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Engine


@pytest.fixture
def desk_engine(tmp_path: Path) -> Iterator[Engine]:
    engine = create_engine(f"sqlite:///{tmp_path / 'desk.sqlite'}")
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    CARD_TABLES.create_all(engine)
    yield engine
    engine.dispose()
