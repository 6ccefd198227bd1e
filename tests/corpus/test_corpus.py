"""Inputs that once ended the program with an exception of its own, or filled the terminal: now findings.

The files are in `inputs/`, named by their reader; one of more than a megabyte is compressed.
"""

from __future__ import annotations

import lzma
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest

from handover.cli import main
from handover.documents.schedule_json import read_schedule
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.logger import examine_log
from handover.jobs.reading import RecordSource, examine_source
from handover.weather.location import Location
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable

INPUTS = Path(__file__).parent / "inputs"
SAMPLE = Path(__file__).parents[2] / "sample_jobs" / "summer-garage"
FIRST, LATER = "2026-07-14T12:30:00-04:00", "2026-07-14T15:30:00-04:00"
MAX_FINDINGS, MAX_LENGTH = 60, 2000
NAMES = {"owner": "owner.ics", "crew": "crew.ics", "schedule": "schedule.json", "draft": "message.eml"}


def inputs(kind: str) -> list[Any]:
    found = sorted(INPUTS.glob(f"{kind}-*"))
    assert found
    return [pytest.param(each, id=each.name) for each in found]


def content(file: Path) -> bytes:
    data = file.read_bytes()
    return lzma.decompress(data) if file.suffix == ".xz" else data


@pytest.mark.parametrize("file", inputs("job"))
def test_records(file: Path) -> None:
    examined = examine_source(RecordSource("job.toml", content(file), MemoryFiles({})))
    assert examined.record is None
    assert 0 < len(examined.findings) <= MAX_FINDINGS
    assert all(len(str(each)) < MAX_LENGTH for each in examined.findings)


@pytest.mark.parametrize("file", inputs("wx"))
@pytest.mark.parametrize("year", [None, 2026])
def test_weather(file: Path, year: int | None) -> None:
    site = Location(36.10, -79.95, "America/New_York")
    series, findings = examine_weather_bytes(content(file), "weather", site, year)
    assert series is None
    assert any(each.severity == "fault" for each in findings)


@pytest.mark.parametrize("file", inputs("log"))
@pytest.mark.parametrize("zone", [None, ZoneInfo("America/New_York"), ZoneInfo("Asia/Tokyo")])
def test_logs(file: Path, zone: ZoneInfo | None) -> None:
    readings, findings = examine_log(MemoryFiles({"log": content(file)}), "log", zone, None)
    assert readings == ()
    assert any(each.severity == "fault" for each in findings)


@pytest.mark.parametrize("file", inputs("set-schedule"))
def test_schedules(file: Path) -> None:
    with pytest.raises(ValueError, match="not a schedule"):
        read_schedule(content(file))


@pytest.fixture(scope="session")
def issued(
    once: Callable[..., Path], without_pdf_engine: Callable[..., Any], with_few_members: Callable[..., Any]
) -> Path:
    """Issue the sample; return its folder, in which nobody writes."""

    def issue(folder: Path) -> None:
        with without_pdf_engine(), with_few_members():
            assert main(issue_command(folder / "set", FIRST)) == 0

    return once("corpus", issue) / "set"


def issue_command(folder: Path, as_of: str) -> list[str]:
    record, weather = SAMPLE / "job.toml", SAMPLE / "weather.csv"
    return ["issue", str(record), "-w", str(weather), "-o", str(folder), "--as-of", as_of]


@pytest.mark.usefixtures("stand_in_pdf", "shared_schedules", "few_members")
@pytest.mark.parametrize("file", inputs("set"))
def test_sets(file: Path, issued: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A set of which one file was changed is archived, sent and issued again, or refused in words."""
    folder = tmp_path / "set"
    shutil.copytree(issued, folder)
    (folder / NAMES[file.name.split("-")[1]]).write_bytes(content(file))
    commands = (
        ["archive", str(folder), "--to", str(tmp_path / "archive")],
        ["send", "--dry-run", str(folder)],
        issue_command(folder, LATER),
    )
    for command in commands:
        status = main(command)
        said = capsys.readouterr().err
        assert "A fault in the program itself" not in said, said
        assert status in {0, 2} or (command[0] in {"archive", "send"} and status == 1), said  # one of many
