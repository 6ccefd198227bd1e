"""The calendars in other zones, read back by ical.js and recurring-ical-events: the same instants."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
import recurring_ical_events

from handover.documents.calendars import EVENT_COLOURS, crew_calendar, event_from, owner_calendar
from handover.documents.events import CareEvent, crew_events, owner_events
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.schedule.model import CureSchedule, Milestone, Risk, Visit

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord

    IcalJs = Callable[[bytes], dict[str, Any]]

NODE = Path(__file__).parents[1] / "node"
KINDS = [(owner_calendar, owner_events), (crew_calendar, crew_events)]

# Zone, the day of the pour, and what happens there within the days that follow it.
PLACES = [
    ("America/New_York", date(2026, 3, 6), "forward on 8 March at 2:00 (15 USC 260a)"),
    ("America/New_York", date(2026, 10, 30), "back on 1 November at 2:00"),
    ("Australia/Adelaide", date(2026, 10, 2), "UTC+9:30, forward on 4 October"),
    ("Australia/Adelaide", date(2026, 4, 3), "UTC+10:30, back on 5 April"),
    ("Australia/Lord_Howe", date(2026, 10, 2), "UTC+10:30, forward by half an hour on 4 October"),
    ("Asia/Kolkata", date(2026, 7, 14), "UTC+5:30 all year"),
    ("Pacific/Chatham", date(2026, 9, 25), "UTC+12:45, forward on 27 September"),
    ("Pacific/Kiritimati", date(2026, 7, 14), "UTC+14: a day ahead of its neighbours"),
    ("Pacific/Pago_Pago", date(2026, 7, 14), "UTC-11: the other side of the date line"),
]


@pytest.fixture(scope="module")
def ical_js() -> IcalJs:
    """Read a calendar by ical.js."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("ical.js reads no calendar here: there is no node on this machine")
    if not (NODE / "node_modules" / "ical.js").is_dir():
        pytest.skip("ical.js reads no calendar here: `npm ci --prefix tests/node` has not been run")

    def read(ics: bytes) -> dict[str, Any]:
        ran = subprocess.run([node, NODE / "read_calendar.mjs"], input=ics, capture_output=True, check=True)
        printed: dict[str, Any] = json.loads(ran.stdout)
        return printed

    return read


def moved(schedule: CureSchedule, zone: ZoneInfo, day: date) -> CureSchedule:
    """Return a schedule of the same hours on the wall, poured on another day in another zone."""
    shift = day - schedule.placement_start.date()

    def there(when: datetime) -> datetime:
        return (when.replace(tzinfo=None) + shift).replace(tzinfo=zone)

    def dated(each: Milestone) -> Milestone:
        if each.not_before is None:
            return each
        after = each.not_after and there(each.not_after)
        return replace(
            each,
            likely=there(each.not_before),
            not_before=there(each.not_before),
            not_after=after,
            printed=None,
        )

    return replace(
        schedule,
        timezone=zone.key,
        issued_at=there(schedule.issued_at),
        placement_start=there(schedule.placement_start),
        placement_end=there(schedule.placement_end),
        finished=there(schedule.finished),
        milestones=tuple(dated(each) for each in schedule.milestones),
        watering=tuple(
            replace(
                each,
                date=each.date + shift,
                visits=tuple(Visit(there(v.start), there(v.end), v.litres) for v in each.visits),
            )
            for each in schedule.watering
        ),
        risks=tuple(
            Risk("frost", night, night + timedelta(hours=6), night + timedelta(hours=4))
            for night in (
                datetime(day.year, day.month, day.day, 2, tzinfo=zone) + timedelta(days=n) for n in (1, 2)
            )
        ),
    )


@pytest.fixture(params=PLACES, ids=lambda place: f"{place[0]} {place[1]}")
def elsewhere(request: pytest.FixtureRequest, schedule: CureSchedule) -> CureSchedule:
    zone, day, _ = request.param
    return moved(schedule, ZoneInfo(zone), day)


def expected(events: tuple[CareEvent, ...]) -> set[tuple[str, str, str]]:
    """Return title, start and end of our events, as ical.js writes them."""

    def written(when: datetime | date) -> str:
        if isinstance(when, datetime):
            return when.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return when.isoformat()

    return {(each.title, written(each.start), written(each.end)) for each in events}


# ---- the same instants


@pytest.mark.parametrize(("make", "events"), KINDS)
def test_ical_js_finds_every_event_once_at_its_instant(
    make: Any, events: Any, job: JobRecord, elsewhere: CureSchedule, ical_js: IcalJs
) -> None:
    wording = Wording(job, elsewhere)
    found = [
        (each["summary"], *occurrence)
        for each in ical_js(make(wording))["events"]
        for occurrence in each["occurrences"]
    ]
    ours = expected(events(wording))
    assert set(found) == ours
    assert len(found) == len(events(wording))


@pytest.mark.parametrize(("make", "events"), KINDS)
def test_recurring_ical_events_agrees_with_it(
    make: Any, events: Any, job: JobRecord, elsewhere: CureSchedule
) -> None:
    wording = Wording(job, elsewhere)
    calendar = icalendar.Calendar.from_ical(make(wording))
    start = elsewhere.placement_start - timedelta(days=2)
    found = [
        (str(each["SUMMARY"]), each["DTSTART"].dt, each["DTEND"].dt)
        for each in recurring_ical_events.of(calendar).between(start, start + timedelta(days=1000))
    ]
    ours = [(each.title, each.start, each.end) for each in events(wording)]
    assert sorted(found, key=str) == sorted(ours, key=str)


def test_the_owner_waters_by_local_time(job: JobRecord, elsewhere: CureSchedule) -> None:
    zone = ZoneInfo(elsewhere.timezone)
    printed = [each for each in owner_events(Wording(job, elsewhere)) if each.look == "water"]
    visits = [visit for day in elsewhere.watering for visit in day.visits]
    assert len(printed) == len(visits) > 10
    for event, visit in zip(printed, visits, strict=True):
        assert event.start.astimezone(zone).replace(tzinfo=None) == visit.start.replace(tzinfo=None)
        assert event.end.astimezone(zone).replace(tzinfo=None) == visit.end.replace(tzinfo=None)


def test_a_whole_day_is_the_day_at_the_site(job: JobRecord, elsewhere: CureSchedule, ical_js: IcalJs) -> None:
    wording = Wording(job, elsewhere)
    ended = wording.milestone(elsewhere.milestone("curing-ends")).when.instant
    [walk] = [
        each
        for each in ical_js(crew_calendar(wording))["events"]
        if each["summary"].startswith(wording.events.event("walk-through")[0])
    ]
    day = ended.astimezone(ZoneInfo(elsewhere.timezone)).date()
    assert walk["whole_day"]
    assert walk["occurrences"] == [[day.isoformat(), (day + timedelta(days=1)).isoformat()]]


# ---- the contents of an event


def test_a_watering_shows_all_that_its_owner_needs(
    job: JobRecord, schedule: CureSchedule, ical_js: IcalJs
) -> None:
    wording = Wording(job, schedule)
    printed = ical_js(owner_calendar(wording))["events"]
    waterings = [each for each in printed if each["categories"] == [wording.say("calendar.category.water")]]
    visits = [wording.visits.visit(visit) for day in schedule.watering for visit in day.visits]
    assert len(waterings) == len(visits)
    for event, visit in zip(waterings, visits, strict=True):
        assert event["summary"] == visit.title
        assert visit.span in event["summary"]
        for said in (
            visit.action,
            visit.length,
            visit.amount,
            wording.say("if-rain.skip"),
            wording.say("if-nobody.call"),
            wording.caller,
        ):
            assert said in event["description"]
        assert event["location"] == job.site.address
        assert event["color"] == EVENT_COLOURS["water"]
        [alarm] = event["alarms"]
        assert alarm["action"] == "DISPLAY"
        assert alarm["description"] == event["summary"]
        assert -7200 < alarm["trigger"] < 0


@pytest.mark.parametrize("language", languages())
def test_every_title_has_the_local_hour(job: JobRecord, elsewhere: CureSchedule, language: str) -> None:
    wording = Wording(job, elsewhere, language=language)
    zone = ZoneInfo(elsewhere.timezone)
    for _, events in KINDS:
        for event in events(wording):
            if not isinstance(event.start, datetime):
                continue
            start, end = event.start.astimezone(zone), event.end.astimezone(zone)
            said = wording.speak.span(start, end) if event.look == "water" else wording.speak.hour(start)
            assert said in event.title


def test_each_watering_can_be_dropped_by_itself(
    job: JobRecord, schedule: CureSchedule, ical_js: IcalJs
) -> None:
    printed = ical_js(owner_calendar(Wording(job, schedule)))["events"]
    assert len({each["uid"] for each in printed}) == len(printed)
    assert all(len(each["occurrences"]) == 1 for each in printed)


@pytest.mark.parametrize(("make", "events"), KINDS)
def test_a_calendar_is_named_by_its_issue_and_has_its_colour(
    make: Any, events: Any, job: JobRecord, schedule: CureSchedule, ical_js: IcalJs
) -> None:
    names = []
    for revision in (1, 2):
        again = replace(schedule, revision=revision)
        wording = Wording(job, again)
        printed = ical_js(make(wording))
        assert job.site.name in printed["name"]
        assert str(revision) in printed["name"].replace(job.site.name, "")
        assert printed["color"] in EVENT_COLOURS.values()
        assert printed["method"] == "PUBLISH"
        assert {each["sequence"] for each in printed["events"]} == {revision}
        assert len(printed["events"]) == len(events(wording))
        names.append(printed["name"])
    assert len(set(names)) == 2


def test_promised_repairs_are_in_the_crews_calendar(
    job_with: Any, schedule: CureSchedule, ical_js: IcalJs
) -> None:
    job = job_with(
        walkthrough=(
            {"item": "Door line", "ok": True, "note": "straight"},
            {"item": "Edge, by the tap; north", "ok": False, "note": "We patch it.\nAnd rub it."},
            {"item": "Drain"},
        )
    )
    wording = Wording(job, schedule)
    printed = {each["summary"]: each["description"] for each in ical_js(crew_calendar(wording))["events"]}
    with_it = [
        title
        for title, text in printed.items()
        if "Edge, by the tap; north: We patch it.\nAnd rub it." in text
    ]
    assert len(with_it) == 2  # when the forms come off, and when the curing ends
    assert any(each.startswith(wording.events.event("walk-through")[0]) for each in with_it)
    assert not any("Door line" in text or "Drain:" in text for text in printed.values())


def test_a_single_event_reads_as_it_does_within_the_whole(
    job: JobRecord, schedule: CureSchedule, ical_js: IcalJs
) -> None:
    wording = Wording(job, schedule)
    calendar = owner_calendar(wording)
    whole = {each["uid"]: each for each in ical_js(calendar)["events"]}
    for event in owner_events(wording)[:3]:
        [alone] = ical_js(event_from(calendar, wording, event))["events"]
        assert alone == whole[alone["uid"]]
