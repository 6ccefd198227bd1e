"""Commands for many items: one at fault is named, the others are done, and the exit status is 1."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from handover.archive.store import Archive
from handover.service.archiving import archive_issue
from handover.service.workers import make_documents
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Run = Callable[..., Any]

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_simulations", "shared_schedules", "few_members")

JOBS = ("bad", "good-1", "good-2")
"""The one at fault comes first."""

AT = "2026-07-14T12:30:00-04:00"
LATER = "2026-07-14T16:00:00-04:00"


class Office(NamedTuple):
    """Records with their weather, their issued folders, and the archive."""

    records: Path
    sets: Path
    archive: Path


@pytest.fixture(scope="session")
def made(
    once: Callable[..., Path],
    record_text: str,
    hourly: Callable[..., Any],
    without_pdf_engine: Callable[..., Any],
    with_few_members: Callable[..., Any],
) -> Path:
    """Issue and archive three jobs; return their folder, in which nobody writes."""
    from handover.cli import main  # noqa: PLC0415 - as late as the rest of the command line

    def fill(folder: Path) -> None:
        (folder / "records").mkdir()
        for job in JOBS:
            record = folder / "records" / f"{job}.toml"
            record.write_text(record_text.replace("2026-07-14-test-slab", job), encoding="utf-8")
            record.with_suffix(".json").write_text(json.dumps(hourly()), encoding="utf-8")
            options = ["-w", str(record.with_suffix(".json")), "--as-of", AT]
            with without_pdf_engine(), with_few_members():
                assert main(["issue", str(record), *options, "-o", str(folder / "sets" / job)]) == 0
            with Archive(folder / "archive") as archive:
                archive_issue(archive, folder / "sets" / job, datetime.fromisoformat(AT))

    return once("each-item", fill)


@pytest.fixture
def office(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hourly: Callable[..., Any]) -> Office:
    """Give three jobs of the test's own, colder weather to download, and workers in this process."""
    for each in made.iterdir():
        if each.is_dir():
            shutil.copytree(each, tmp_path / each.name)
    colder = hourly()
    colder["hourly"]["temperature_2m"] = [each - 8 for each in colder["hourly"]["temperature_2m"]]
    answer = Download(
        json.dumps(colder).encode(), "open-meteo", "https://example.org", datetime.fromisoformat(LATER)
    )
    monkeypatch.setattr("handover.weather.download.download_forecast", lambda *_, **__: answer)
    monkeypatch.setattr(
        "handover.service.workers.run_in_processes",
        lambda tasks, **_: ((each, make_documents(each)) for each in tasks),
    )
    return Office(*(tmp_path / each for each in ("records", "sets", "archive")))


def spoil_record(office: Office) -> None:
    (office.records / "bad.toml").write_text("id = 'bad'\n", encoding="utf-8")


def spoil_set(office: Office) -> None:
    (office.sets / "bad" / "schedule.json").write_bytes(b"{}")


def spoil_message(office: Office) -> None:
    (office.sets / "bad" / "message.eml").write_bytes(b"no message")


def spoil_bag(office: Office) -> None:
    (office.archive / "bags" / "bad" / "tagmanifest-sha256.txt").write_bytes(b"")


def spoil_row(office: Office) -> None:
    with contextlib.closing(sqlite3.connect(office.archive / "catalog.sqlite")) as catalog, catalog:
        catalog.execute("UPDATE job SET entry = '{}' WHERE number = (SELECT min(number) FROM job)")


def archive(office: Office, tmp_path: Path) -> list[object]:
    return ["archive", office.sets, "--to", tmp_path / "new"]


def send(office: Office, _: Path) -> list[object]:
    return ["send", "--dry-run", *(office.sets / each for each in JOBS)]


def verify(office: Office, _: Path) -> list[object]:
    return ["verify", office.archive]


def reindex(office: Office, _: Path) -> list[object]:
    return ["reindex", office.archive]


def find(office: Office, _: Path) -> list[object]:
    return ["find", "--in", office.archive]


def due(office: Office, _: Path) -> list[object]:
    return ["due", "2026-07-15", "--in", office.archive]


def export(office: Office, _: Path) -> list[object]:
    return ["export", office.archive]


def watch(office: Office, tmp_path: Path) -> list[object]:
    return ["watch", "--in", office.archive, "-o", tmp_path / "watched", "--as-of", LATER]


def batch(office: Office, tmp_path: Path) -> list[object]:
    return ["batch", office.records, "-o", tmp_path / "out", "--as-of", AT, "--workers", 1]


@pytest.mark.parametrize(
    ("spoil", "command", "names", "done"),
    [
        (spoil_set, archive, "bad: refused", "2 archived, 0 already archived, 1 not archived"),
        (spoil_message, send, "bad: not sent", "good-2: ready"),
        (spoil_bag, verify, "bad", "problems with 1"),
        (spoil_bag, reindex, "bad", "rebuilt from 2 of 3 bags"),
        (spoil_row, find, "1 job is left out", "good-2"),
        (spoil_row, due, "1 job is left out", "Strip the edge"),
        (spoil_row, export, "1 job is left out", "good-2"),
        (spoil_bag, watch, "bad: failed", "3 curing, 2 reissued"),
        (spoil_row, watch, "1 job is left out", "2 curing, 2 reissued"),
        (spoil_record, batch, "bad.toml: refused", "done               2"),
    ],
    ids=lambda each: getattr(each, "__name__", ""),
)
def test_one_at_fault_is_named_and_the_others_are_done(
    run: Run,
    office: Office,
    tmp_path: Path,
    spoil: Callable[[Office], None],
    command: Callable[[Office, Path], list[object]],
    names: str,
    done: str,
) -> None:
    spoil(office)
    result = run(*command(office, tmp_path))
    said = result.out + result.err
    assert result.status == 1, said
    assert names in said
    assert done in result.out
    assert "program itself" not in said


@pytest.mark.parametrize("command", [archive, send, verify, reindex, find, due, export, watch, batch])
def test_nobody_at_fault_is_no_fault(
    run: Run, office: Office, tmp_path: Path, command: Callable[[Office, Path], list[object]]
) -> None:
    result = run(*command(office, tmp_path))
    assert result.status == 0, result.err


@pytest.mark.parametrize("name", ["nowhere", "."])
def test_a_command_line_that_names_nothing_is_unusable(run: Run, tmp_path: Path, name: str) -> None:
    assert run("archive", tmp_path / name, "--to", tmp_path / "new").status == 2
    assert run("batch", tmp_path / name, "-o", tmp_path / "out").status == 2
    assert not (tmp_path / "new").exists()
