"""One way to a set: the command line, batch, reissue and the Python API give the same, to the byte."""

from __future__ import annotations

import json
import subprocess
from datetime import datetime
from typing import TYPE_CHECKING, Any

import pytest

import handover
from handover.archive.store import Archive
from handover.errors import UnusableInput
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource
from handover.service.batch import MARK_FILE
from handover.service.job_inputs import WeatherFile
from handover.service.publish import next_revision
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.service.issuing import IssuedSet

    Run = Callable[..., Any]

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_schedules", "few_members")

JOB = "2026-07-14-test-slab"
AT = datetime.fromisoformat("2026-07-14T12:30:00-04:00")


def contents(folder: Path) -> dict[str, bytes]:
    files = (each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


@pytest.fixture
def issued(record: Path, weather: Path) -> IssuedSet:
    return handover.issue(record, weather, as_of=AT)


def test_the_command_line_writes_the_set_of_the_api(
    run: Run, issued: IssuedSet, record: Path, weather: Path, tmp_path: Path
) -> None:
    result = run("issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", AT.isoformat())
    assert result.status == 0, result.err
    assert contents(tmp_path / "out") == issued.files


def test_batch_writes_the_set_of_the_api(
    run: Run, issued: IssuedSet, record: Path, weather: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs, out = tmp_path / "jobs", tmp_path / "sets"
    jobs.mkdir()
    (jobs / record.name).write_bytes(record.read_bytes())
    in_this_process = "handover.service.workers.run_in_processes"
    monkeypatch.setattr(in_this_process, lambda tasks, **_: ((each, _documents(each)) for each in tasks))
    result = run("batch", jobs, "-w", weather, "-o", out, "--as-of", AT.isoformat())
    assert result.status == 0, result.err
    written = contents(out / JOB)
    assert written.pop(MARK_FILE)
    assert written == issued.files


def _documents(task: Any) -> Any:
    from handover.service.workers import make_documents  # noqa: PLC0415 - stands in for a process

    return make_documents(task)


def test_reissue_writes_the_set_of_the_api(
    run: Run, issued: IssuedSet, record: Path, weather: Path, tmp_path: Path
) -> None:
    issued.write(tmp_path / "out")
    with Archive(tmp_path / "archive") as archive:
        issued.archive(archive, AT)
    result = run(
        "reissue", JOB, "--same-weather", "--anyway", "--in", tmp_path / "archive", "-o", tmp_path / "out",
        "--as-of", AT.isoformat(),
    )  # fmt: skip
    assert result.status == 0, result.err
    again = handover.issue(record, weather, as_of=AT, revision=2, earlier=issued.files)
    assert contents(tmp_path / "out") == again.files
    assert json.loads(again.files["schedule.json"])["revision"] == 2


def test_bytes_make_the_same_set_as_files(issued: IssuedSet, record: Path, weather: Path) -> None:
    source = RecordSource(record.name, record.read_bytes(), MemoryFiles({}))
    weather_file = WeatherFile(weather.name, weather.read_bytes())
    assert handover.issue(source, weather_file, as_of=AT).files == issued.files


def test_a_set_of_the_api_can_be_archived(issued: IssuedSet, tmp_path: Path) -> None:
    with Archive(tmp_path / "archive") as archive:
        assert issued.archive(archive, AT).changed
        assert not issued.archive(archive, AT).changed
        assert archive.bag(JOB).issue(1) == issued.files


def test_a_written_set_of_the_api_can_be_archived(run: Run, issued: IssuedSet, tmp_path: Path) -> None:
    issued.write(tmp_path / "out")
    result = run("archive", tmp_path / "out", "--to", tmp_path / "archive")
    assert result.status == 0, result.err


def test_the_choices_are_part_of_the_set(issued: IssuedSet, record: Path, weather: Path) -> None:
    other = handover.issue(record, weather, as_of=AT, settings=Settings(paper="a4"))
    assert json.loads(other.files["inputs/settings.json"])["settings"]["paper"] == "a4"
    assert other.files["inputs/settings.json"] != issued.files["inputs/settings.json"]


def test_no_weather_is_refused(record: Path) -> None:
    with pytest.raises(UnusableInput, match="weather"):
        handover.issue(record, None, as_of=AT)


def test_faults_of_record_and_weather_come_at_once(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as refusal:
        handover.issue(tmp_path / "none.toml", tmp_path / "none.csv", as_of=AT)
    assert len(refusal.value.findings) == 2


def test_the_next_revision_is_after_the_last_one_wherever_it_is(issued: IssuedSet, tmp_path: Path) -> None:
    later = datetime.fromisoformat("2026-07-14T16:00:00-04:00")
    issued.write(tmp_path / "out")
    assert next_revision(JOB, AT) == 1
    assert next_revision(JOB, AT, folder=tmp_path / "none") == 1
    assert next_revision(JOB, AT, folder=tmp_path / "out") == 1  # the same issue, made again
    assert next_revision(JOB, later, folder=tmp_path / "out") == 2
    assert next_revision(JOB, AT, archived=(1, 2)) == 3
    assert next_revision(JOB, later, folder=tmp_path / "out", archived=(1,)) == 2
    assert next_revision(JOB, later, folder=tmp_path / "out", archived=(1, 4)) == 5


ISSUES_WITHOUT_ENGINE = """
from functools import partial
from handover.service import inputs
inputs.plan_cure = partial(inputs.plan_cure, members=8)
from handover.documents import pages
from handover.service import pdf_workers
pages.render_pdf = lambda html, files=(): b"%PDF " + html.encode()
pdf_workers.core_count = lambda: 1
from handover.cli import entry
entry()
"""


def test_two_runs_at_once_issue_two_revisions(
    record: Path, weather: Path, tmp_path: Path, warm: Callable[..., Any]
) -> None:
    """They were begun in the same second, with other choices: neither set takes the place of the other."""
    out = tmp_path / "out"
    command = ["issue", record, "-w", weather, "-o", out, "--as-of", AT.isoformat(), "--paper"]
    runs = [
        warm(ISSUES_WITHOUT_ENGINE, [*command, paper], stderr=subprocess.PIPE) for paper in ("a4", "letter")
    ]
    for each in runs:
        _, err = each.communicate()
        assert each.returncode == 0, err
    files = contents(out)
    paper = json.loads(files["inputs/settings.json"])["settings"]["paper"]
    assert json.loads(files["schedule.json"])["revision"] == 2
    last = {"a4": b"A4", "letter": b"letter"}[paper]
    assert last in files["care-sheet.pdf"]
    assert last in files["data-sheet.pdf"]
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith(".")] == []
