"""Every paper of a job has its tasks, and no others: random jobs, their calendars read second-hand."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import icalendar
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from random_jobs import random_job

from handover.documents.calendars import event_uid
from handover.documents.care_sheet import CareSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind
from handover.schedule.tasks import NEXT, is_over
from handover.service.archiving import CALL_OWNER, entry_of
from handover.service.issuing import issue

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

NUMBERS = (1, 2, 5, 10, 15, 19, 22)
OPEN_ITEM = '[[walkthrough]]\nitem = "Door line"\nok = false\n'


@dataclass(frozen=True)
class Trial:
    """An issued random job: its record, its documents, its schedule as read back from them."""

    job: JobRecord
    files: dict[str, bytes]
    schedule: CureSchedule

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.schedule.timezone)

    @property
    def tasks(self) -> list[dict[str, Any]]:
        """The tasks as another program reads them."""
        found: list[dict[str, Any]] = json.loads(self.files["schedule.json"])["tasks"]
        return found

    def hours(self, by: str) -> dict[str, tuple[datetime | date, datetime | date]]:
        """From when to when each task of a party is, by the UID of its event."""
        return {
            event_uid(self.job, each["by"], each["kind"], each["occasion"]): hours_of(each)
            for each in self.tasks
            if each["by"] == by
        }

    def hours_ahead(self, by: str) -> dict[str, tuple[datetime | date, datetime | date]]:
        """The same without the work of the crew, and what the owner does, that is over at a first issue."""
        of_crew = [each for each in self.schedule.tasks_of("crew") if is_over(self.schedule, each)]
        of_owner = [each for each in self.schedule.tasks_of("owner") if each.end <= self.schedule.issued_at]
        over = {
            event_uid(self.job, each.by, each.kind, each.occasion)
            for each in (*of_crew, *(of_owner if self.schedule.revision == 1 else ()))
        }
        return {uid: hours for uid, hours in self.hours(by).items() if uid not in over}


def hours_of(task: dict[str, Any]) -> tuple[datetime | date, datetime | date]:
    start, end = (datetime.fromisoformat(task[each]) for each in ("start", "end"))
    return (start.date(), end.date()) if task["all_day"] else (start, end)


@pytest.fixture(scope="module", params=NUMBERS)
def trial(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    without_pdf_engine: Callable[..., Any],
    with_few_members: Callable[..., Any],
) -> Trial:
    drawn, folder = random_job(request.param), tmp_path_factory.mktemp("trial")
    record = drawn.record + (OPEN_ITEM if request.param % 2 else "")
    (folder / "job.toml").write_text(record, encoding="utf-8")
    (folder / "weather.csv").write_text(drawn.weather, encoding="utf-8")
    with without_pdf_engine(), with_few_members():
        issued = issue(folder / "job.toml", folder / "weather.csv", as_of=drawn.as_of)
    files = dict(issued.files)
    return Trial(issued.job, files, read_schedule(files["schedule.json"]))


@pytest.mark.parametrize("by", ["owner", "crew"])
def test_each_event_of_a_calendar_is_one_task(trial: Trial, by: str) -> None:
    """All tasks that are not over."""
    events = icalendar.Calendar.from_ical(trial.files[f"{by}.ics"]).walk("VEVENT")
    found = {str(each["uid"]): (each.decoded("dtstart"), each.decoded("dtend")) for each in events}
    assert found == trial.hours_ahead(by)
    assert len(events) == len(found)


def test_tasks_are_in_order_and_named_once(trial: Trial) -> None:
    starts = [datetime.fromisoformat(each["start"]) for each in trial.tasks]
    names = [(each["by"], each["kind"], each["occasion"]) for each in trial.tasks]
    assert starts == sorted(starts)
    assert len(set(names)) == len(names)
    assert all(each["start"] < each["end"] for each in trial.tasks if each["all_day"])
    assert all(each.length.total_seconds() > 0 for each in trial.schedule.tasks)


@pytest.mark.parametrize("later_h", [0, 5, 26, 120])
def test_first_job_and_code_are_tasks(trial: Trial, later_h: int) -> None:
    at = trial.schedule.issued_at + timedelta(hours=later_h)
    schedule = trial.schedule
    if later_h:  # as a joined issue sees it
        schedule = replace(schedule, issued_at=at, revision=2, missed_water=None, tasks=())
    wording = Wording(trial.job, schedule)
    care, ahead = CareSheet(wording, {}), schedule.is_ahead
    starts = {each.start for each in wording.schedule.tasks if ahead(each.end) or NEXT in each.notes}
    asks = schedule.missed_water is not None  # a question, at the time of issue
    if not asks and care.job_now.start is not None and not wording.visits.by_timer:
        assert care.job_now.start in starts
    if care.code is not None:
        assert icalendar.Event.from_ical(care.code.content).decoded("dtstart") in starts


def test_visits_of_the_archive_are_tasks_of_the_crew(trial: Trial) -> None:
    visits = {each.uid: each for each in entry_of(trial.job, trial.files).tasks if each.kind != CALL_OWNER}
    hours = trial.hours_ahead("crew")
    assert visits.keys() == hours.keys()
    for uid, (start, end) in hours.items():
        whole = not isinstance(start, datetime)
        begin = datetime.combine(start, time(), trial.zone) if whole else start
        assert (visits[uid].start, visits[uid].end) == (begin, None if whole else end)


def test_owner_lays_no_cover_before_people_may_walk_on_the_slab(trial: Trial) -> None:
    walk = trial.schedule.milestone(MilestoneKind.FOOT_TRAFFIC)
    for each in trial.schedule.tasks_of("owner", "frost-cover", "cover-not-water"):
        if each.how == "by-crew":
            assert trial.schedule.tasks_of("crew", each.kind)
        else:
            assert walk is not None
            assert walk.printed is not None
            assert each.start >= walk.printed.instant


def test_waterings_meet_neither_one_another_nor_a_cover(trial: Trial) -> None:
    waterings = trial.schedule.tasks_of("owner", "watering")
    assert all(one.end <= other.start for one, other in pairwise(waterings))
    for cover in frost_covers(trial.schedule):
        assert not any(
            cover.start < each.end and (cover.end is None or each.start < cover.end) for each in waterings
        )


def test_a_schedule_of_an_earlier_version_has_the_same_tasks(trial: Trial) -> None:
    older = {name: each for name, each in json.loads(trial.files["schedule.json"]).items() if name != "tasks"}
    read = read_schedule(json.dumps(older).encode())
    assert read.tasks == ()
    one, other = (Wording(trial.job, each) for each in (read, trial.schedule))
    assert owner_events(one) == owner_events(other)
    assert crew_events(one) == crew_events(other)
