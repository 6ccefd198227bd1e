"""A set whose weather has the members of an ensemble and warnings: archived, issued again, read by people."""

from __future__ import annotations

import json
import subprocess
from datetime import datetime
from typing import TYPE_CHECKING, Any

import pytest

from handover.archive.store import Archive
from handover.documents.data_sheet import DataSheet
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.service.inputs import read_record
from handover.service.issuing import IssuedSet, issue
from handover.service.reissuing import ReissueRequest, reissue_job
from handover.weather.download import Download
from handover.weather.fit_check import check_fit
from handover.weather.joined_answers import join_answers
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.weather.location import HasLocation

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_schedules", "few_members")

JOB = "2026-07-14-test-slab"
FIRST = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
LATER = datetime.fromisoformat("2026-07-14T16:00:00-04:00")
WARNING = {
    "event": "Heat Advisory",
    "status": "Actual",
    "messageType": "Alert",
    "onset": "2026-07-15T11:00:00-04:00",
    "ends": "2026-07-15T20:00:00-04:00",
    "senderName": "NWS Invented NC",
}


def ensemble_about(answer: dict[str, Any], kelvin: float) -> dict[str, Any]:
    """Return an answer of an ensemble: 31 members of the air, evenly up to some kelvin about a forecast."""
    air = answer["hourly"]["temperature_2m"]
    names = ["temperature_2m", *(f"temperature_2m_member{each:02d}" for each in range(1, 31))]
    runs = {name: [each + (at - 15) / 15 * kelvin for each in air] for at, name in enumerate(names)}
    return answer | {
        "hourly": {"time": answer["hourly"]["time"], **runs},
        "hourly_units": {"time": "iso8601", **dict.fromkeys(names, "°C")},
    }


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory, record_text: str) -> Path:
    """Write the record to a file, for all tests: nobody changes it."""
    file = tmp_path_factory.mktemp("record") / "job.toml"
    file.write_text(record_text, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def joined(tmp_path_factory: pytest.TempPathFactory, hourly: Callable[..., dict[str, Any]]) -> Path:
    """Write a forecast with its members and a warning to a file, for all tests: nobody changes it."""
    parts = {
        "members": ensemble_about(hourly(), 9.0),
        "alerts": {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": WARNING}]},
    }
    file = tmp_path_factory.mktemp("joined") / "weather.json"
    encoded = {name: json.dumps(each).encode() for name, each in parts.items()}
    file.write_bytes(join_answers(json.dumps(hourly()).encode(), **encoded))
    return file


@pytest.fixture(scope="module")
def issued(
    record: Path,
    joined: Path,
    without_pdf_engine: Callable[..., Any],
    with_few_members: Callable[..., Any],
) -> IssuedSet:
    with without_pdf_engine(), with_few_members():
        return issue(record, joined, as_of=FIRST)


def test_the_weather_is_among_the_inputs_as_received(issued: IssuedSet, joined: Path) -> None:
    assert issued.files["inputs/weather.json"] == joined.read_bytes()


def test_from_its_own_inputs_the_same_set_comes_again(issued: IssuedSet, tmp_path: Path) -> None:
    """Every document, byte for byte."""
    inputs = tmp_path / "inputs"
    inputs.mkdir()
    for name in ("job.toml", "weather.json"):
        (inputs / name).write_bytes(issued.files[f"inputs/{name}"])
    again = issue(inputs / "job.toml", inputs / "weather.json", as_of=FIRST)
    assert again.files == issued.files


def test_an_archived_job_is_issued_again_with_its_members(
    issued: IssuedSet, joined: Path, tmp_path: Path
) -> None:
    with Archive(tmp_path / "archive") as archive:
        issued.write(tmp_path / "out")
        issued.archive(archive, FIRST)
        unchanged = reissue_job(archive, JOB, tmp_path / "out", FIRST, ReissueRequest())
        assert not unchanged.is_new
        again = reissue_job(archive, JOB, tmp_path / "out", LATER, ReissueRequest(force=True))
        assert again.is_new
        documents = archive.bag(JOB).issue(again.revision)
    assert documents["inputs/weather.json"] == joined.read_bytes()
    before, after = (read_schedule(each["schedule.json"]).weather for each in (issued.files, documents))
    assert after.spread == before.spread
    assert after.alerts == before.alerts
    assert before.spread is not None
    assert before.spread.members == 31


def test_a_warning_moves_no_date(issued: IssuedSet, joined: Path, record: Path, tmp_path: Path) -> None:
    document = json.loads(joined.read_text(encoding="utf-8"))
    del document["alerts"]
    quiet = tmp_path / "quiet.json"
    quiet.write_text(json.dumps(document), encoding="utf-8")
    schedules = [issued.schedule, issue(record, quiet, as_of=FIRST).schedule]
    assert [len(each.weather.alerts) for each in schedules] == [1, 0]
    assert schedules[0].milestones == schedules[1].milestones
    assert schedules[0].watering == schedules[1].watering


@pytest.mark.parametrize(
    ("language", "spread", "warning"),
    [
        (
            "en",
            "31 members of an ensemble forecast (Open-Meteo)",
            "Heat: Heat Advisory, from Wed Jul 15, 11:",
        ),
        ("es", "31 miembros de un pronóstico por conjuntos (Open-Meteo)", "Calor: Heat Advisory, de mié"),
    ],
)
def test_the_data_sheet_says_both(
    record: Path, issued: IssuedSet, language: str, spread: str, warning: str
) -> None:
    job, _ = read_record(record)
    sheet = DataSheet(Wording(job, issued.schedule, language=language))
    assert spread in sheet.weather_spread
    (told,) = sheet.alerts
    assert warning in told
    assert "NWS Invented NC" in told


def test_the_contractor_is_told_of_a_warning_once(
    run: Callable[..., Any], record: Path, joined: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the weather from a file, and downloaded."""
    told = run("issue", record, "-w", joined, "-o", tmp_path / "one", "--as-of", FIRST.isoformat())
    assert told.status == 0
    assert told.err.count("Heat Advisory") == 1

    def download(site: HasLocation, start: datetime, until: datetime, **more: Any) -> Download:
        series, findings = examine_weather_bytes(joined.read_bytes(), "a forecast", site)
        assert series is not None
        fit = check_fit(series, site, start, until, more["now"])
        return Download(joined.read_bytes(), "nws", "an address", more["now"], (*findings, *fit))

    monkeypatch.setattr("handover.weather.download.download_forecast", download)
    told = run("issue", record, "-o", tmp_path / "two", "--as-of", FIRST.isoformat())
    assert told.status == 0, told.err
    assert told.err.count("Heat Advisory") == 1


@pytest.mark.pdf_engine
def test_both_are_on_the_printed_data_sheet(record: Path, joined: Path) -> None:
    pdf = issue(record, joined, as_of=FIRST).files["data-sheet.pdf"]
    text = subprocess.run(["pdftotext", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    printed = " ".join(text.split())
    assert "31 members" in printed
    assert "Heat Advisory" in printed
