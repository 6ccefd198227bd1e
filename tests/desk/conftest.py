"""A desk in an empty folder, with a clock that a test sets, and its pages."""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from handover.archive.store import Archive
from handover.desk.app import DeskAddress, create_app
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource
from handover.service.archiving import archive_issue
from handover.service.desk import passwords, people
from handover.service.desk.database import open_desk
from handover.service.desk.issue_steps import IssueSteps
from handover.service.desk.issue_worker import make_set
from handover.service.desk.owner_links import require_link
from handover.service.desk.owner_pages import archive_acknowledgement
from handover.service.desk.people import NewPerson
from handover.service.desk.requests import DeskRequest, RequestOutcome, outcome_of, receive
from handover.service.job_inputs import WeatherFile
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Engine
    from starlette.applications import Starlette

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person

PASSWORD = "wet all day long"  # noqa: S105
URL = "http://testserver"
JOB = "2026-07-14-test-slab"
AS_OF = "2026-07-14T12:30:00-04:00"

Ask = Callable[..., RequestOutcome]


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
    return create_app(desk, DeskAddress(URL), WorkAtOnce(desk))


@pytest.fixture
def visitor(desk_app: Starlette) -> TestClient:
    """Return somebody who is not signed in."""
    return TestClient(desk_app, follow_redirects=False)


# ---- issues -----------------------------------------------------------------------------------------


class WorkAtOnce:
    """The work of a desk, done by the process that asks, with the steps of the program."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.steps = IssueSteps(desk, make_set, Settings())

    def submit(self, request: DeskRequest) -> None:
        receive(self.desk, request)
        self.finish(request.key)

    def archive_acknowledgement(self, job: str, revision: int) -> None:
        archive_acknowledgement(self.desk, job, revision)

    def finish(self, key: str) -> None:
        if (job := self.steps.read(key)) is not None:
            self.steps.forecast(key)
            self.steps.issue(key, job)


@pytest.fixture
def desk_work(desk: Desk, stand_in_pdf: None, few_members: None) -> WorkAtOnce:  # noqa: ARG001 - make it cheap
    return WorkAtOnce(desk)


@pytest.fixture(scope="session")
def issued_archive(
    once: Callable[[str, Callable[[Path], None]], Path],
    issue_into: Callable[[Path, datetime], None],
) -> Path:
    """Return an archive with the invented job, which nobody changes."""

    def fill(folder: Path) -> None:
        issue_into(folder, datetime.fromisoformat(AS_OF))
        with Archive(folder / "archive") as archive:
            archive_issue(archive, folder / "out", datetime.fromisoformat(AS_OF))

    return once("desk-issue", fill) / "archive"


@pytest.fixture
def issued_desk(desk: Desk, issued_archive: Path) -> Desk:
    """Return a desk whose archive has the first issue of the invented job."""
    desk.archive.close()
    shutil.copytree(issued_archive, desk.archive.folder, dirs_exist_ok=True)
    return desk


@pytest.fixture
def owner_path(issued_desk: Desk) -> str:
    """Return the path of the owner's page of the invented job."""
    return f"/o/{require_link(issued_desk, JOB, 'ana').token}"


@pytest.fixture
def ask(desk_work: WorkAtOnce, record_text: str, hourly: Callable[..., dict[str, object]]) -> Ask:
    """Give a function that hands in the record of the invented job."""

    def ask_for(key: str, *, at: str = AS_OF, record: str | None = None, **weather: object) -> RequestOutcome:
        source = RecordSource("job.toml", (record or record_text).encode(), MemoryFiles({}))
        answer = WeatherFile("weather.json", json.dumps(hourly(**weather)).encode())
        desk_work.submit(DeskRequest(key, source, datetime.fromisoformat(at), "ana", answer))
        outcome = outcome_of(desk_work.desk, key)
        assert outcome is not None
        return outcome

    return ask_for
