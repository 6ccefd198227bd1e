"""A job issued to the folder of its earlier set: one comparison, whichever command issues it."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

import handover
from handover.archive.store import Archive
from handover.documents.schedule_json import read_schedule
from handover.schedule.tasks import COVERS, cover_tasks
from handover.service.batch import MARK_FILE, Batch, run_batch
from handover.service.earlier_sets import read_earlier_set
from handover.service.publish import EARLIER_WEATHER_FOLDER, INPUTS_FOLDER
from handover.service.workers import make_documents
from handover.weather import reading

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from handover.service.issuing import IssuedSet

    Run = Callable[..., Any]

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_schedules", "few_members")

JOB = "2026-07-14-test-slab"
AT = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
LATER = datetime.fromisoformat("2026-07-15T12:30:00-04:00")


def contents(folder: Path) -> dict[str, bytes]:
    files = (each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


@pytest.fixture
def cooler(tmp_path: Path, hourly: Callable[..., dict[str, Any]]) -> Path:
    """Write weather that is 8 K cooler."""
    answer = hourly()
    answer["hourly"]["temperature_2m"] = [each - 8.0 for each in answer["hourly"]["temperature_2m"]]
    file = tmp_path / "cooler.json"
    file.write_text(json.dumps(answer), encoding="utf-8")
    return file


@pytest.fixture
def next_day(tmp_path: Path, hourly: Callable[..., dict[str, Any]]) -> Path:
    """Write weather that begins the day after the pour."""
    file = tmp_path / "next-day.json"
    file.write_text(json.dumps(hourly("2026-07-15T00:00")), encoding="utf-8")
    return file


@pytest.fixture
def first(record: Path, weather: Path, tmp_path: Path) -> IssuedSet:
    """Return the first issue, written to the folder."""
    issued = handover.issue(record, weather, as_of=AT)
    issued.write(tmp_path / "out")
    return issued


@pytest.fixture
def issue_again(run: Run, record: Path, tmp_path: Path) -> Callable[..., Any]:
    def again(weather: Path, at: datetime = LATER, status: int = 0) -> Any:
        result = run("issue", record, "-w", weather, "-o", tmp_path / "out", "--as-of", at.isoformat())
        assert result.status == status, result.err
        return result

    return again


def test_issue_reissue_and_batch_find_the_same_changes(
    first: IssuedSet, issue_again: Callable[..., Any], record: Path, cooler: Path, tmp_path: Path, run: Run
) -> None:
    of_api = handover.issue(record, cooler, as_of=LATER, revision=2, earlier=first.files).files
    assert b"because it is cooler than forecast" in of_api["care-page.html"]

    result = issue_again(cooler)
    assert contents(tmp_path / "out") == of_api
    assert "because it is cooler than forecast" in " ".join(result.out.split())

    first.write(tmp_path / "sets" / JOB)
    (tmp_path / "jobs").mkdir()
    job = tmp_path / "jobs" / record.name
    job.write_bytes(record.read_bytes())
    batch = Batch(tmp_path / "jobs", tmp_path / "sets", LATER, weather=cooler)
    (outcome,) = run_batch(batch, [job], lambda tasks: ((each, make_documents(each)) for each in tasks))
    assert outcome.state == "done", outcome
    assert without_mark(tmp_path / "sets" / JOB) == of_api

    with Archive(tmp_path / "archive") as archive:
        first.archive(archive, AT)
    result = run(
        "reissue", JOB, "-w", cooler, "--in", tmp_path / "archive", "-o", tmp_path / "reissued",
        "--as-of", LATER.isoformat(),
    )  # fmt: skip
    assert result.status == 0, result.err
    assert contents(tmp_path / "reissued") == of_api


def without_mark(folder: Path) -> Mapping[str, bytes]:
    return {name: data for name, data in contents(folder).items() if name != MARK_FILE}


def test_the_same_issue_again_keeps_its_changes(
    first: IssuedSet, issue_again: Callable[..., Any], cooler: Path, tmp_path: Path
) -> None:
    assert first.schedule.revision == 1
    issue_again(cooler)
    second = contents(tmp_path / "out")
    assert json.loads(second["schedule.json"])["changes"]
    again = issue_again(cooler)
    assert contents(tmp_path / "out") == second
    assert "Revision 2" in again.out
    (tmp_path / "out" / "owner.ics").unlink()
    issue_again(cooler)
    assert json.loads(contents(tmp_path / "out")["schedule.json"])["revision"] == 3


@pytest.mark.parametrize(
    ("name", "change", "said", "has_changes"),
    [
        (
            "schedule.json",
            lambda old: json.dumps({**json.loads(old), "milestones": "?"}),
            "schedule.json",
            False,
        ),
        ("inputs/job.toml", lambda _: f'id = "{JOB}"', "not why", True),
        ("inputs/settings.json", lambda _: "{}", "not why", True),
    ],
)
def test_an_earlier_set_that_cannot_be_read_is_a_caution(
    first: IssuedSet,
    issue_again: Callable[..., Any],
    cooler: Path,
    tmp_path: Path,
    name: str,
    change: Callable[[bytes], str],
    said: str,
    has_changes: bool,
) -> None:
    (tmp_path / "out" / name).write_text(change(first.files[name]), encoding="utf-8")
    result = issue_again(cooler)
    assert said in " ".join(result.err.split())
    schedule = json.loads(contents(tmp_path / "out")["schedule.json"])
    assert schedule["revision"] == 2
    assert bool(schedule["changes"]) is has_changes


def test_the_first_hours_come_from_the_weather_of_the_set_there(
    first: IssuedSet, issue_again: Callable[..., Any], next_day: Path, tmp_path: Path
) -> None:
    result = issue_again(next_day)
    assert "the hours before it are from the weather of the issue before" in " ".join(result.err.split())
    second = contents(tmp_path / "out")
    folder = INPUTS_FOLDER + EARLIER_WEATHER_FOLDER
    assert second[f"{folder}1-weather.json"] == first.files["inputs/weather.json"]
    inputs = read_earlier_set(second).inputs
    assert inputs is not None
    assert inputs.weather.first_hour <= first.schedule.placement_start
    issue_again(next_day)
    assert contents(tmp_path / "out") == second, "the same issue again"
    issue_again(next_day, LATER + timedelta(hours=2))
    third = contents(tmp_path / "out")
    assert json.loads(third["schedule.json"])["revision"] == 3
    assert [name for name in third if name.startswith(folder)] == [
        name for name in second if name.startswith(folder)
    ]


@pytest.mark.parametrize("begins_after_the_pour", [False, True])
def test_each_weather_is_read_once(
    first: IssuedSet,
    issue_again: Callable[..., Any],
    cooler: Path,
    next_day: Path,
    monkeypatch: pytest.MonkeyPatch,
    *,
    begins_after_the_pour: bool,
) -> None:
    """That of the set there has hours for the new one, a caution to give, and reasons: it is one reading."""
    assert first.schedule.revision == 1
    read: list[str] = []
    assemble = reading.assemble

    def count(raw: Any, file: str, site: Any) -> Any:
        read.append(file.rpartition("/")[2])
        return assemble(raw, file, site)

    monkeypatch.setattr(reading, "assemble", count)
    new = next_day if begins_after_the_pour else cooler
    issue_again(new)
    assert sorted(read) == sorted([new.name, "weather.json"])


def test_reissue_takes_the_first_hours_from_the_last_issue(
    first: IssuedSet, next_day: Path, tmp_path: Path, run: Run
) -> None:
    with Archive(tmp_path / "archive") as archive:
        first.archive(archive, AT)
    result = run(
        "reissue", JOB, "-w", next_day, "--anyway", "--in", tmp_path / "archive", "-o", tmp_path / "again",
        "--as-of", LATER.isoformat(),
    )  # fmt: skip
    assert result.status == 0, result.err
    assert "the hours before it are from the weather of the issue before" in " ".join(result.err.split())
    assert f"inputs/{EARLIER_WEATHER_FOLDER}1-weather.json" in contents(tmp_path / "again")


@pytest.mark.usefixtures("first")
def test_hours_that_neither_weather_has_are_refused(
    issue_again: Callable[..., Any], hourly: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    """The first weather has ten days from the day of the pour on."""
    file = tmp_path / "after-a-gap.json"
    file.write_text(json.dumps(hourly("2026-07-24T02:00")), encoding="utf-8")
    before = contents(tmp_path / "out")
    result = issue_again(file, LATER, status=2)
    assert "without a gap" in " ".join(result.err.split())
    assert contents(tmp_path / "out") == before


@pytest.mark.parametrize("is_planned", [True, False])
def test_a_cover_against_frost_lies_where_the_issue_before_told_of_it(
    record: Path,
    weather: Path,
    tmp_path: Path,
    hourly: Callable[..., dict[str, Any]],
    issue_again: Callable[..., Any],
    *,
    is_planned: bool,
) -> None:
    """Else nobody has laid one: it is laid at the hour of the issue that tells of it first."""
    answer = hourly()
    answer["hourly"]["temperature_2m"] = [each - 26.0 for each in answer["hourly"]["temperature_2m"]]
    frosty = tmp_path / "frosty.json"
    frosty.write_text(json.dumps(answer), encoding="utf-8")
    before = handover.issue(record, frosty if is_planned else weather, as_of=AT)
    before.write(tmp_path / "out")
    covers = [each for each in before.schedule.tasks if each.kind in COVERS]
    assert bool(covers) is is_planned
    issue_again(frosty)
    schedule = read_schedule((tmp_path / "out" / "schedule.json").read_bytes())
    laid = cover_tasks(schedule)[0]
    assert laid.start == (covers[0].start if is_planned else LATER)
    assert schedule.covered_since == (covers[0].start if is_planned else None)
