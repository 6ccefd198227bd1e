"""A desk in an empty folder, with a clock that a test sets, and its pages."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from handover.desk.app import DeskAddress, create_app
from handover.service.desk import passwords, people
from handover.service.desk.database import open_desk
from handover.service.desk.people import NewPerson

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Engine
    from starlette.applications import Starlette

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person

PASSWORD = "wet all day long"  # noqa: S105
URL = "http://testserver"


@dataclass
class DeskClock:
    """A clock that stands until a test moves it."""

    at: datetime = field(default=datetime(2026, 7, 14, 16, 30, tzinfo=UTC))

    def __call__(self) -> datetime:
        return self.at

    def go_on(self, **length: float) -> None:
        self.at += timedelta(**length)


@pytest.fixture(autouse=True)
def quick_passwords(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make hashing a password cheap: what it costs a thief is not the subject."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: hasher)


@pytest.fixture
def desk_clock() -> DeskClock:
    return DeskClock()


@pytest.fixture
def desk(tmp_path: Path, desk_clock: DeskClock) -> Iterator[Desk]:
    made = open_desk(tmp_path / "archive", now=desk_clock, random_bytes=secrets.token_bytes)
    yield made
    made.close()


@pytest.fixture
def desk_engine(desk: Desk) -> Engine:
    return desk.engine


@pytest.fixture
def firm_owner(desk: Desk) -> Person:
    """Set up a firm; return its owner."""
    secret = people.renew_setup(desk)
    assert secret is not None
    new = NewPerson("Ana Ruiz", "ana", PASSWORD)
    return people.set_up_firm(desk, secret, "Piedmont Flatwork", new)


@pytest.fixture
def desk_app(desk: Desk) -> Starlette:
    return create_app(desk, DeskAddress(URL))


@pytest.fixture
def visitor(desk_app: Starlette) -> TestClient:
    """Return somebody who is not signed in."""
    return TestClient(desk_app, follow_redirects=False)
