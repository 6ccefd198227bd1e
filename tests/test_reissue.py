"""A job issued again from the archive: changes are reported, nothing is lost or written needlessly."""

from __future__ import annotations

import json
import shutil
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

import icalendar
import pytest

from handover.archive.store import Archive
from handover.errors import DownloadFailed, UnusableInput
from handover.service import reissuing as again
from handover.service.inputs import read_weather_file
from handover.service.publish import publish
from handover.service.reissuing import (
    ReissueRequest,
    ReissueResult,
    WatchResult,
    curing_jobs,
    reissue_curing,
    reissue_job,
)
from handover.service.settings import read_settings
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Run = Callable[..., Any]

pytestmark = pytest.mark.usefixtures("stand_in_pdf", "shared_simulations", "shared_schedules", "few_members")

JOB = "2026-07-14-test-slab"
FIRST = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
LATER = datetime.fromisoformat("2026-07-14T16:00:00-04:00")


class Office(NamedTuple):
    """An archive with one job, the folder that it was issued to, and a way to change the forecast."""

    archive: Archive
    folder: Path
    warmer: Callable[[float], Path]

    def reissue(self, kelvin: float | None, at: datetime = LATER, **more: Any) -> ReissueResult:
        weather = None if kelvin is None else lambda _: read_weather_file(self.warmer(kelvin))
        return reissue_job(self.archive, JOB, self.folder, at, ReissueRequest(weather, **more))

    @property
    def revisions(self) -> tuple[int, ...]:
        return self.archive.bag(JOB).revisions


@pytest.fixture(scope="session")
def filed(once: Callable[..., Path], issue_into: Callable[[Path, datetime], None]) -> Path:
    """Issue and archive the invented job; return the folder of both. Nothing is written there later."""

    def issue_and_file(folder: Path) -> None:
        issue_into(folder, FIRST)
        with Archive(folder / "archive") as archive:
            again.archive_existing_set(archive, folder / "out", JOB, FIRST)

    return once("reissue", issue_and_file)


@pytest.fixture
def office(filed: Path, hourly: Callable[..., dict[str, Any]], tmp_path: Path) -> Iterator[Office]:
    """Return the invented job, issued and archived."""
    for name in ("out", "archive"):
        shutil.copytree(filed / name, tmp_path / name)

    def warmer(kelvin: float) -> Path:
        answer = hourly()
        answer["hourly"]["temperature_2m"] = [each + kelvin for each in answer["hourly"]["temperature_2m"]]
        file = tmp_path / f"warmer{kelvin}.json"
        file.write_text(json.dumps(answer), encoding="utf-8")
        return file

    with Archive(tmp_path / "archive") as archive:
        yield Office(archive, tmp_path / "out", warmer)


def contents(folder: Path) -> dict[str, bytes]:
    files = (each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


def events(calendar: bytes) -> dict[str, icalendar.Event]:
    return {str(each["uid"]): each for each in icalendar.Calendar.from_ical(calendar).events}


# ---- what a set says of how it was made


def test_a_set_says_how_it_was_made(
    run: Run, office: Office, record: Path, weather: Path, as_of: str
) -> None:
    own = office.folder.parent / "own"
    (own / "en").mkdir(parents=True)
    (own / "en" / "words.toml").write_text('"care.title" = "How to care for your slab"\n', encoding="utf-8")
    result = run(
        "issue", record, "-w", weather, "-o", office.folder, "--as-of", as_of, "--language", "es,en",
        "--units", "si", "--paper", "a4", "--rules", "eu", "--sure", "95", "--templates", own,
    )  # fmt: skip
    assert result.status == 0, result.err
    made = read_settings(contents(office.folder))
    assert made.settings.languages == ("es", "en")
    assert (made.settings.units, made.settings.paper, made.settings.rules) == ("si", "a4", "eu")
    assert made.settings.share == pytest.approx(0.95)
    assert made.own_look
    assert (made.weather, made.typical, made.received_at) == ("weather.json", None, None)


def test_a_set_that_does_not_say_so(office: Office) -> None:
    documents = contents(office.folder)
    for broken in (b"{}", b"[]", b"", b'{"settings": {"colour": "red"}}'):
        with pytest.raises(UnusableInput, match="does not say how"):
            read_settings({**documents, "inputs/settings.json": broken})
    with pytest.raises(UnusableInput, match="does not say how"):
        read_settings({})


@pytest.mark.parametrize("name", ["weather", "typical"])
@pytest.mark.parametrize("value", [{"a": 1}, "gone.csv", 1])
def test_a_set_whose_weather_is_odd_or_gone_is_refused_in_words(
    office: Office, run: Callable[..., Any], name: str, value: object
) -> None:
    """Seen: a fault in the program itself, where `typical` was a table."""
    settings = office.folder / "inputs" / "settings.json"
    settings.write_text(json.dumps(json.loads(settings.read_bytes()) | {name: value}), encoding="utf-8")
    archive = office.folder.parent / "spoilt"
    assert run("archive", office.folder, "--to", archive).status == 0
    result = run("reissue", JOB, "--same-weather", "--anyway", "--in", archive, "-o", office.folder)
    assert result.status == 2
    assert "does not" in result.err


# ---- new weather


def test_cooler_weather_makes_a_new_revision_that_reports_what_moved(office: Office) -> None:
    before = contents(office.folder)
    done = office.reissue(-8.0)
    assert (done.revision, done.is_new) == (2, True)
    assert any("because it is cooler than forecast" in each for each in done.changes)
    bag = office.archive.bag(JOB)
    assert bag.revisions == (1, 2)
    assert bag.issue(1) == before, "the first issue is unchanged"
    assert bag.issue(2) == contents(office.folder)
    assert bag.entry.revision == 2
    schedule = json.loads(bag.issue(2)["schedule.json"])
    assert schedule["revision"] == 2
    assert schedule["changes"]
    assert "because it is cooler than forecast" in bag.issue(2)["care-page.html"].decode()


def test_the_same_weather_changes_nothing(office: Office) -> None:
    before = contents(office.folder)
    for kelvin in (None, 0.0):
        done = office.reissue(kelvin)
        assert (done.revision, done.is_new, done.changes) == (1, False, ())
    assert office.revisions == (1,)
    assert contents(office.folder) == before


def test_unless_requested(office: Office) -> None:
    done = office.reissue(None, force=True)
    assert (done.revision, done.is_new, done.changes) == (2, True, ())
    assert office.revisions == (1, 2)


@pytest.mark.pdf_engine
@pytest.mark.usefixtures("short_sheets")
def test_the_same_time_and_inputs_give_the_same_bytes(
    office: Office, tmp_path: Path, shared_simulations: Callable[[], None]
) -> None:
    office.reissue(-8.0)
    shared_simulations()
    with Archive(tmp_path / "other") as archive:
        publish(office.archive.bag(JOB).issue(1), tmp_path / "there", JOB)
        again.archive_existing_set(archive, tmp_path / "there", JOB, LATER)
        other = Office(archive, tmp_path / "there", office.warmer)
        other.reissue(-8.0)
        assert contents(other.folder) == contents(office.folder)


def test_events_keep_their_names_count_on_and_are_called_off_once(office: Office) -> None:
    """Same UIDs and higher SEQUENCE (RFC 5545, 3.8.7.4); what is gone stays one revision, CANCELLED."""
    first = events(contents(office.folder)["owner.ics"])
    office.reissue(-8.0)
    second = events(contents(office.folder)["owner.ics"])
    assert first.keys() <= second.keys(), "no event leaves without a word"
    for uid in first.keys() & second.keys():
        assert int(second[uid]["sequence"]) > int(first[uid].get("sequence", 0))
    called_off = {uid for uid, each in second.items() if each.get("status") == "CANCELLED"}
    assert called_off <= first.keys()
    office.reissue(0.0, LATER + timedelta(hours=1))
    third = events(contents(office.folder)["owner.ics"])
    assert third.keys() >= second.keys() - called_off
    assert not {uid for uid in called_off & third.keys() if third[uid].get("status") == "CANCELLED"}
    name = str(icalendar.Calendar.from_ical(contents(office.folder)["owner.ics"])["x-wr-calname"])
    assert "3" in name


def test_a_visit_that_is_no_longer_needed_is_called_off(
    office: Office, hourly: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    """Rain all of the third day: nobody needs to water, and the calendar says so for one revision."""
    answer = hourly()
    hours = answer["hourly"]["time"]
    rainy = [hour.startswith("2026-07-17") for hour in hours]
    answer["hourly"]["precipitation"] = [6.0 if wet else 0.0 for wet in rainy]
    answer["hourly"]["precipitation_probability"] = [100 if wet else 5 for wet in rainy]
    file = tmp_path / "rain.json"
    file.write_text(json.dumps(answer), encoding="utf-8")
    done = reissue_job(
        office.archive, JOB, office.folder, LATER, ReissueRequest(lambda _: read_weather_file(file))
    )
    assert any("rain" in each for each in done.changes), done.changes
    called_off = [
        each
        for each in events(contents(office.folder)["owner.ics"]).values()
        if each.get("status") == "CANCELLED"
    ]
    assert called_off
    assert all(f"{each.start:%Y-%m-%d}" == "2026-07-17" for each in called_off)


# ---- what has been measured since


def test_cylinders_that_came_in_move_the_dates(office: Office, record: Path) -> None:
    text = record.read_text(encoding="utf-8")
    weak = "\n".join(
        f'\n[[cylinder]]\nage = "{days} d"\nstrength = "{psi} psi"\ncured = "standard"'
        for days, psi in ((3, 800), (7, 1300))
    )
    record.write_text(f"{text}{weak}\n", encoding="utf-8")
    done = office.reissue(None, LATER + timedelta(days=7), record=record)
    assert done.is_new
    assert any("cylinder" in each for each in done.changes), done.changes
    assert b"cylinder" in office.archive.bag(JOB).issue(2)["inputs/job.toml"]


SIGNED = '\n[acknowledgement]\nname = "Ana Prueba"\ntime = 2026-07-14T15:00:00\n'
TO_MEND = '\n[[walkthrough]]\nitem = "Edge"\nok = false\n'


def test_what_a_record_newly_says_is_kept_though_no_date_moves(office: Office, record: Path) -> None:
    """A signature or a repair is found; a new comment, or another order, is nothing new."""
    text = record.read_text(encoding="utf-8")
    assert office.archive.bag(JOB).entry.acknowledged is None
    record.write_text(text + TO_MEND, encoding="utf-8")
    done = office.reissue(None, record=record)
    assert (done.revision, done.is_new, done.changes, done.new_record) == (2, True, (), True)
    assert office.archive.bag(JOB).entry.walkthrough_open
    mended = text + TO_MEND.replace("false", "true") + SIGNED.replace("15:", "17:")
    record.write_text(mended, encoding="utf-8")
    at = LATER + timedelta(hours=2)
    assert office.reissue(None, at, record=record).revision == 3
    entry = office.archive.bag(JOB).entry
    assert not entry.walkthrough_open
    assert entry.acknowledged == datetime.fromisoformat("2026-07-14T17:00:00-04:00")
    record.write_text(f"# rung on Tuesday\n{mended}", encoding="utf-8")
    done = office.reissue(None, at + timedelta(hours=1), record=record)
    assert (done.revision, done.is_new, done.new_record) == (3, False, False)
    assert office.revisions == (1, 2, 3)


def test_the_record_of_another_job_is_refused(office: Office, record: Path) -> None:
    record.write_text(record.read_text(encoding="utf-8").replace(JOB, "2026-07-14-other"), encoding="utf-8")
    with pytest.raises(UnusableInput, match="2026-07-14-other"):
        office.reissue(None, record=record)
    assert office.revisions == (1,)


def test_a_record_with_a_fault_is_reported(office: Office, record: Path) -> None:
    record.write_text(record.read_text(encoding="utf-8").replace('"5 in"', '"5 miles"'), encoding="utf-8")
    with pytest.raises(UnusableInput) as refused:
        office.reissue(None, record=record)
    assert any(each.field and "thickness" in each.field for each in refused.value.findings)


# ---- what does not go


@pytest.mark.parametrize("data", [b"", b"BEGIN:VCALENDAR", b"\xff", b"BEGIN:VEVENT\r\nEND:VEVENT\r\n"])
def test_a_calendar_of_the_issue_before_that_cannot_be_read(
    office: Office, tmp_path: Path, data: bytes
) -> None:
    """What it called the reader to is called off in the next one, so that it must be read."""
    (office.folder / "owner.ics").write_bytes(data)
    with Archive(tmp_path / "second") as archive:
        again.archive_existing_set(archive, office.folder, JOB, FIRST)
        spoilt = Office(archive, office.folder, office.warmer)
        with pytest.raises(UnusableInput, match="the calendar of the issue before cannot be read"):
            spoilt.reissue(6.0)
        assert spoilt.revisions == (1,)


def test_a_job_that_is_not_there(office: Office, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="no job"):
        reissue_job(office.archive, "nobody", tmp_path / "nobody", LATER, ReissueRequest())
    assert not (tmp_path / "nobody").exists()


def test_a_time_before_the_last_issue(office: Office) -> None:
    with pytest.raises(UnusableInput, match="before the last issue"):
        office.reissue(-8.0, LATER - timedelta(days=1))


def test_a_folder_of_somebody_else_is_left_alone(office: Office, tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UnusableInput, match="no set of documents"):
        reissue_job(
            office.archive, JOB, mine, LATER, ReissueRequest(lambda _: read_weather_file(office.warmer(-8.0)))
        )
    assert contents(mine) == {"letter.txt": b"mine"}
    assert office.revisions == (1,)


def test_texts_of_ones_own_must_be_given_again(office: Office, run: Run, record: Path, weather: Path) -> None:
    own = office.folder.parent / "own"
    own.mkdir()
    (own / "note.txt").write_text("ours", encoding="utf-8")
    result = run(
        "issue", record, "-w", weather, "-o", office.folder, "--as-of", LATER.isoformat(), "--templates", own
    )
    assert result.status == 0, result.err
    later = LATER + timedelta(hours=1)
    with pytest.raises(UnusableInput, match="--templates"):
        office.reissue(-8.0, later)
    assert office.revisions == (1, 2), "the set in the folder is archived as well"
    assert office.reissue(-8.0, later, templates=own).revision == 3


# ---- runs that break off


@pytest.mark.parametrize("where", ["issuing.publish", "archiving.archive_documents"])
def test_a_run_that_breaks_off_is_made_good_by_the_next(
    office: Office, where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(f"handover.service.{where}", full)
        with pytest.raises(OSError, match="No space"):
            office.reissue(-8.0)
    assert office.revisions == (1,)
    office.reissue(-8.0, LATER + timedelta(minutes=5))
    assert office.revisions == (1, 2)
    assert office.archive.bag(JOB).issue(2) == contents(office.folder)


# ---- every job that is curing


def test_jobs_cure_until_curing_ends(office: Office) -> None:
    assert curing_jobs(office.archive, LATER) == (JOB,)
    assert curing_jobs(office.archive, LATER + timedelta(days=60)) == ()
    assert curing_jobs(office.archive, LATER - timedelta(days=60)) == ()


def test_watch_issues_again_where_it_matters_and_one_failure_stops_nobody(
    office: Office, run: Run, record: Path, weather: Path, as_of: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = record.read_text(encoding="utf-8")
    for name, latitude in (("near", "36.1005"), ("far", "36.30"), ("lost", "36.50")):
        record.write_text(text.replace(JOB, name).replace("36.10", latitude), encoding="utf-8")
        folder = office.folder.parent / name
        assert run("issue", record, "-w", weather, "-o", folder, "--as-of", as_of).status == 0
        again.archive_existing_set(office.archive, folder, name, LATER)
    asked: list[float] = []

    def give(site: Any, *_: object, **__: object) -> Download:
        asked.append(site.latitude)
        if site.latitude == 36.5:
            raise DownloadFailed("nobody answers")
        file = office.warmer(0.0 if site.latitude == 36.3 else -8.0)
        return Download(file.read_bytes(), "open-meteo", "https://example.org", LATER)

    monkeypatch.setattr("handover.weather.download.download_forecast", give)
    out = office.folder.parent / "watched"

    def seen(at: datetime) -> dict[str, WatchResult]:
        return {
            each.job: each
            for each in reissue_curing(office.archive, curing_jobs(office.archive, at), out, at)
        }

    first = seen(LATER)
    assert {job for job, each in first.items() if each.state == "reissued"} >= {JOB, "near"}
    assert (first["lost"].state, first["lost"].failure) == ("failed", "nobody answers")
    assert sorted(asked) == [36.1, 36.3, 36.5], "one forecast for each grid cell"
    assert office.archive.bag("near").issue(2) == contents(out / "near")
    assert read_settings(contents(out / "near")).received_at == LATER
    again_results = {job: each.state for job, each in seen(LATER + timedelta(minutes=10)).items()}
    assert again_results == {JOB: "unchanged", "near": "unchanged", "far": "unchanged", "lost": "failed"}
    assert office.archive.bag("lost").revisions == (1,)
    assert not (out / "lost").exists()


# ---- the commands


@pytest.mark.usefixtures("wide")
def test_the_command_reports_what_moved_and_then_that_nothing_did(run: Run, office: Office) -> None:
    arguments = ["reissue", JOB, "--in", office.archive.folder, "-o", office.folder]
    result = run(*arguments, "-w", office.warmer(-8.0), "--as-of", LATER.isoformat())
    assert result.status == 0, result.err
    assert result.out.startswith("Revision 2 is in ")
    assert "  The end of watering moved from" in result.out
    result = run(*arguments, "--same-weather", "--as-of", (LATER + timedelta(minutes=1)).isoformat())
    assert (result.status, office.revisions) == (0, (1, 2)), result.err
    assert "revision 2 remains valid, and nothing was written" in result.out
    result = run(
        *arguments, "--same-weather", "--anyway", "--as-of", (LATER + timedelta(minutes=2)).isoformat()
    )
    assert (result.status, office.revisions) == (0, (1, 2, 3)), result.err


def test_a_time_without_an_offset_is_on_the_clock_of_the_archived_job(run: Run, office: Office) -> None:
    """The archive has the record, and with it the clock of the site; an unknown id is named as that."""
    local = LATER.replace(tzinfo=None).isoformat()
    arguments = ("--in", office.archive.folder, "-o", office.folder, "--as-of", local, "--anyway")
    result = run("reissue", JOB, *arguments, "--same-weather")
    assert result.status == 0, result.err
    schedule = json.loads(office.archive.bag(JOB).issue(2)["schedule.json"])
    assert schedule["issued_at"] == LATER.isoformat()
    unknown = run("reissue", "2026-01-01-nobody", *arguments, "--same-weather")
    assert unknown.status == 2
    assert "there is no job" in unknown.err


def test_the_command_takes_a_record_with_what_was_added(
    run: Run, office: Office, record: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HANDOVER_ARCHIVE", str(office.archive.folder))
    low = '\n[[cylinder]]\nage = "7 d"\nstrength = "1100 psi"\ncured = "standard"\n'
    record.write_text(record.read_text(encoding="utf-8") + low, encoding="utf-8")
    at = (LATER + timedelta(days=7)).isoformat()
    result = run("reissue", record, "--same-weather", "--as-of", at)
    assert result.status == 0, result.err
    assert "cylinder" in result.out
    assert (tmp_path / JOB / "care-sheet.pdf").is_file(), "a folder named like the job"


@pytest.mark.usefixtures("wide")
def test_the_command_says_that_only_the_record_is_new(run: Run, office: Office, record: Path) -> None:
    arguments = ("reissue", record, "--in", office.archive.folder, "-o", office.folder, "--same-weather")
    result = run(*arguments, "--as-of", LATER.isoformat())
    assert result.status == 0, result.err
    assert "the record has no new information: revision 1 remains valid" in result.out.replace("\n", " ")
    record.write_text(record.read_text(encoding="utf-8") + SIGNED, encoding="utf-8")
    result = run(*arguments, "--as-of", LATER.isoformat())
    assert result.status == 0, result.err
    assert result.out.endswith("in the archive.\nThe record changed; no date moved.\n")
    assert JOB not in run("find", "--in", office.archive.folder, "--state", "not-acknowledged").out


def test_the_command_without_an_archive(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HANDOVER_ARCHIVE", raising=False)
    result = run("reissue", JOB)
    assert result.status == 2
    assert "HANDOVER_ARCHIVE" in result.err


@pytest.mark.usefixtures("wide")
def test_watch_lists_what_should_be_sent_until_it_is(
    run: Run, office: Office, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answers: list[Any] = [DownloadFailed("nobody answers"), office.warmer(-8.0), office.warmer(-8.0)]

    def give(*_: object, **__: object) -> Download:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return Download(answer.read_bytes(), "open-meteo", "https://example.org", LATER)

    monkeypatch.setattr("handover.weather.download.download_forecast", give)
    out = tmp_path / "watched"
    result = [
        run("watch", "--in", office.archive.folder, "-o", out, "--as-of", (LATER + minutes).isoformat())
        for minutes in map(timedelta, (0, 0, 0), (0, 0, 0), (0, 60, 120))
    ]
    assert [each.status for each in result] == [1, 0, 0]
    assert f"{JOB}: failed\n    nobody answers" in result[0].err
    assert "1 curing, 1 reissued" in result[1].out
    assert "because it is cooler than forecast" in result[1].out.replace("\n    ", " ")
    assert "1 curing, 0 reissued" in result[2].out
    for each in result[1:]:
        assert f"To be sent with handover send\n  {out / JOB}: to Ana Prueba" in each.out.replace(
            "\n    ", " "
        )


def test_watch_stopped_by_hand_reports_what_it_did(
    run: Run, office: Office, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def stopped(*_: object, **__: object) -> Iterator[WatchResult]:
        yield WatchResult(JOB, "reissued", ("The end of watering moved.",))
        raise KeyboardInterrupt

    monkeypatch.setattr("handover.service.reissuing.reissue_curing", stopped)
    result = run("watch", "--in", office.archive.folder, "-o", tmp_path / "w", "--as-of", LATER.isoformat())
    assert result.status == 1
    assert result.err == "Stopped. What was reissued stays; run the same command again to continue.\n"
    assert "The end of watering moved." in result.out
    assert "1 curing, 1 reissued" in result.out
