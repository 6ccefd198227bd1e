"""What the tests of the archive share: invented jobs, archives with either catalog."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest

from handover.archive.deposit import Deposit, deposit_files
from handover.archive.entry import Contact, JobEntry, Task
from handover.archive.store import Archive

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

EASTERN = timezone(timedelta(hours=-4))
AT = datetime(2026, 7, 14, 12, 30, tzinfo=EASTERN)


def make_entry(job: str = "2026-07-14-alder", **changes: Any) -> JobEntry:
    """Return what is known of an invented job."""
    entry = JobEntry(
        job=job,
        placed=datetime(2026, 7, 14, 6, 40, tzinfo=EASTERN),
        revision=1,
        issued=AT,
        owner="Ana Prueba",
        street="12 Alder Lane",
        contractor="Example Flatwork",
        mix="3000 psi, type I",
        supplier="Sample Ready Mix",
        remarks="Gate code at the office",
        curing_ends=datetime(2026, 7, 21, 12, 0, tzinfo=EASTERN),
        tasks=(Task("strip-edge-forms", datetime(2026, 7, 15, 9, 0, tzinfo=EASTERN), text="edge forms"),),
        more={"phone": "555-0142"},
    )
    return replace(entry, **changes)


def make_deposit(entry: JobEntry | None = None, sheet: bytes = b"first sheet", **others: bytes) -> Deposit:
    """Return an issue of an invented job, and other files by name."""
    return Deposit(
        entry or make_entry(),
        {"care-sheet.pdf": sheet, "inputs/job.toml": b'id = "alder"'},
        others,
        Contact("Example Flatwork", "Bo Muster", "555-0101", "office@example.com"),
    )


def folder_contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, hidden ones too."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


@pytest.fixture(autouse=True)
def _unflushed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait for no disk. What a kill leaves is the same; that all is flushed in time has a test of its own."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def at() -> datetime:
    """Return a time of filing."""
    return AT


@pytest.fixture
def entry() -> Callable[..., JobEntry]:
    """Give the maker of entries."""
    return make_entry


@pytest.fixture
def deposit() -> Callable[..., Deposit]:
    """Give the maker of deposits."""
    return make_deposit


@pytest.fixture
def contents() -> Callable[[Path], dict[str, bytes]]:
    """Give the reader of folders."""
    return folder_contents


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    """Return an archive that does not exist yet, its catalog to be a file."""
    with Archive(tmp_path / "archive") as made:
        yield made


@pytest.fixture
def filed(archive: Archive) -> Archive:
    """Return an archive with one job and a photo."""
    deposit_files(archive, make_deposit(**{"photos/edge.jpg": b"a photo"}), AT)
    return archive


@pytest.fixture
def bag_folder(filed: Archive) -> Path:
    """Return the folder of the bag of the archived job."""
    return filed.bags / "2026-07-14-alder"


@pytest.fixture(params=["sqlite", "postgresql"])
def office(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Archive]:
    """Return an archive that does not exist yet, with its catalog in each kind of database."""
    url = request.getfixturevalue("empty_database") if request.param == "postgresql" else None
    with Archive(tmp_path / "archive", url) as made:
        yield made
