"""The calendars, read back by two other implementations: vobject and recurring-ical-events."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
import recurring_ical_events
import vobject

from handover.documents.calendars import build_calendar, crew_calendar, event_from, owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.wording import Wording
from handover.schedule.model import BetweenCover, CureSchedule, MilestoneKind, Risk, Visit, WateringDay
from handover.schedule.printed_times import printed_time
from handover.schedule.tasks import WALK_THROUGH

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord

Kind = MilestoneKind
NASTY = "Bob's\r\nATTENDEE:mailto:eve@example.com\n\x00\x0b\x85\u2028BEGIN:VALARM\t<b>a;b,c\\n:\"\ud83e"
ALLOWED = {
    "BEGIN", "END", "VERSION", "PRODID", "METHOD", "NAME", "X-WR-CALNAME", "DESCRIPTION", "X-WR-CALDESC",
    "UID", "LAST-MODIFIED", "SUMMARY", "DTSTART", "DTEND", "DTSTAMP", "SEQUENCE", "CATEGORIES", "COLOR",
    "LOCATION", "STATUS", "TRANSP", "ACTION", "TRIGGER",
}  # fmt: skip


def read(ics: bytes) -> list[Any]:
    """Read a calendar by the other implementation, strictly."""
    [calendar] = vobject.readComponents(ics.decode())
    calendar.validate(raiseException=True)
    return list(calendar.vevent_list)


def unfolded(ics: bytes) -> list[str]:
    return ics.decode().replace("\r\n ", "").split("\r\n")[:-1]


def both(job: JobRecord, schedule: CureSchedule) -> list[bytes]:
    wording = Wording(job, schedule)
    return [make(wording) for make in (owner_calendar, crew_calendar)]


def frost(start: datetime, hours: int = 6) -> Risk:
    return Risk("frost", start, start + timedelta(hours=hours), start + timedelta(hours=hours - 2))


def with_date(
    schedule: CureSchedule, kind: MilestoneKind, when: datetime | None, **more: Any
) -> CureSchedule:
    dates = [replace(each, likely=when, not_before=when, printed=None, **more) if each.kind == kind else each
             for each in schedule.milestones]  # fmt: skip
    return replace(schedule, milestones=tuple(dates))


def after(start: datetime, hours: float) -> datetime:
    """Return the instant so many hours later, clock changes or not."""
    return (start.astimezone(UTC) + timedelta(hours=hours)).astimezone(start.tzinfo)


def watered(schedule: CureSchedule, *starts: datetime) -> CureSchedule:
    """Return the schedule with an hour of watering from each start, in the zone of the first."""
    zone = starts[0].tzinfo
    days = [
        WateringDay(
            each.date(),
            (Visit(each, each + timedelta(hours=1), 400.0),),
            None,
            0.0,
            None,
            7.5,
            5.0,
            "forecast",
        )
        for each in starts
    ]
    return replace(schedule, timezone=str(zone), watering=tuple(days))


@pytest.fixture
def cold(cold_schedule: CureSchedule) -> CureSchedule:
    """A schedule with everything in it: two nights of frost besides."""
    nights = (frost(cold_schedule.placement_end + timedelta(hours=each)) for each in (18, 42))
    return replace(cold_schedule, risks=(*cold_schedule.risks, *nights))


# ---- what the others read


@pytest.mark.parametrize(("make", "events"), [(owner_calendar, owner_events), (crew_calendar, crew_events)])
def test_another_reader_finds_every_event(
    make: Callable[..., bytes], events: Callable[..., Any], job: JobRecord, cold: CureSchedule
) -> None:
    wording = Wording(job, cold)
    found = {
        (each.summary.value, each.dtstart.value, each.dtend.value, each.location.value)
        for each in read(make(wording))
    }
    told = {(each.title, each.start, each.end, job.site.address) for each in events(wording)}
    assert found == told


def test_another_reader_expands_every_event_once(job: JobRecord, cold: CureSchedule) -> None:
    for ics in both(job, cold):
        calendar = icalendar.Calendar.from_ical(ics)
        expanded = recurring_ical_events.of(calendar).between(
            cold.placement_start, cold.placement_start + timedelta(days=1000)
        )
        assert sorted(each["UID"] for each in expanded) == sorted(
            each["UID"] for each in calendar.walk("VEVENT")
        )


def test_kinds_of_event(job: JobRecord, cold: CureSchedule) -> None:
    wording = Wording(job, cold)
    assert {each.kind for each in owner_events(wording)} == {
        "watering", "foot-traffic", "light-work", "light-vehicles", "heavy-vehicles", "curing-ends", "seal",
        "floor-covering", "no-salt", "frost-cover", "protection-ends", "walk-through", "rain-day",
    }  # fmt: skip
    assert {each.kind for each in crew_events(wording)} == {
        "saw-joints",
        "strip-edge-forms",
        "rub-edges",
        "walk-through",
        "frost-cover",
    }  # fmt: skip; the covers come off with the next watering


def test_every_visit_has_its_entry_and_a_day_of_rain_has_no_hour(
    job: JobRecord, schedule: CureSchedule
) -> None:
    visits = [each for day in schedule.watering for each in day.visits]
    found = [each for each in read(both(job, schedule)[0]) if each.categories.value == ["Watering"]]
    assert [(each.dtstart.value, each.dtend.value) for each in found] == [(v.start, v.end) for v in visits]
    rainy = next(day.date for day in schedule.watering if day.skipped_because == "rain")
    assert rainy not in {each.dtstart.value.astimezone(ZoneInfo(schedule.timezone)).date() for each in found}


def test_a_watering_says_what_how_long_how_much_and_what_if_it_rains_or_nobody_is_there(
    job: JobRecord, schedule: CureSchedule
) -> None:
    visit = schedule.watering[0].visits[0]
    event = next(each for each in read(both(job, schedule)[0]) if each.dtstart.value == visit.start)
    wording = Wording(job, schedule)
    words = wording.visits.visit(visit)
    for part in (
        words.action,
        words.length,
        words.amount,
        wording.say("if-rain.skip"),
        wording.say("if-nobody.call"),
        job.contractor.phone,
    ):
        assert part in event.description.value
    assert words.span in event.summary.value


def test_a_date_past_the_estimate_has_no_event(job: JobRecord, cold: CureSchedule) -> None:
    unknown = cold
    for kind in Kind:
        unknown = with_date(unknown, kind, None)
    wording = Wording(job, unknown)
    assert {each.kind for each in owner_events(wording)} == {"watering", "rain-day", "frost-cover"}
    # But for the trial cut, which decides where no hour could be computed.
    # The crew takes off what it laid, before a watering of a slab that nobody may walk on.
    crew = {each.kind for each in crew_events(wording)}
    assert crew == {"frost-cover", "blankets-off", Kind.SAW_JOINTS}


def test_an_empty_calendar_is_still_one(job: JobRecord, schedule: CureSchedule) -> None:
    bare = replace(schedule, milestones=(), watering=(), risks=())
    for ics in both(job, bare):
        assert not icalendar.Calendar.from_ical(ics).walk("VEVENT")


# ---- when


@pytest.mark.parametrize(
    ("zone", "local", "utc"),
    [
        # Eastern time: forward on 8 March 2026 at 2:00, back on 1 November at 2:00 (15 USC 260a).
        ("America/New_York", "2026-03-08T01:30", "2026-03-08T06:30"),
        ("America/New_York", "2026-03-08T03:30", "2026-03-08T07:30"),
        ("America/New_York", "2026-11-01T00:30", "2026-11-01T04:30"),
        ("America/New_York", "2026-11-01T02:30", "2026-11-01T07:30"),
        # South Australia: UTC+9:30, an hour more from the first Sunday of October to the first of April.
        ("Australia/Adelaide", "2026-10-04T01:30", "2026-10-03T16:00"),
        ("Australia/Adelaide", "2026-10-04T03:30", "2026-10-03T17:00"),
        ("Australia/Adelaide", "2026-04-05T01:30", "2026-04-04T15:00"),
        ("Australia/Adelaide", "2026-04-05T03:30", "2026-04-04T18:00"),
        # UTC+5:30, +13 (summer), +14 and -11, all year but the second.
        ("Asia/Kolkata", "2026-07-14T06:30", "2026-07-14T01:00"),
        ("Pacific/Auckland", "2026-01-10T06:30", "2026-01-09T17:30"),
        ("Pacific/Kiritimati", "2026-07-14T06:30", "2026-07-13T16:30"),
        ("Pacific/Pago_Pago", "2026-07-13T20:30", "2026-07-14T07:30"),
    ],
)
def test_an_hour_at_the_site_is_that_instant_everywhere(
    job: JobRecord, schedule: CureSchedule, zone: str, local: str, utc: str
) -> None:
    start = datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(zone))
    planned = replace(watered(schedule, start), milestones=(), issued_at=start - timedelta(hours=1))
    [event] = read(both(job, planned)[0])
    assert event.dtstart.value == datetime.fromisoformat(utc).replace(tzinfo=UTC)


def test_the_repeated_hour_is_distinguished(job: JobRecord, schedule: CureSchedule) -> None:
    once = datetime(2026, 11, 1, 1, 30, tzinfo=ZoneInfo("America/New_York"))
    events = read(both(job, watered(schedule, once, once.replace(fold=1)))[0])
    starts = sorted(each.dtstart.value for each in events if each.categories.value == ["Watering"])
    assert starts == [datetime(2026, 11, 1, hour, 30, tzinfo=UTC) for hour in (5, 6)]


def test_work_lasts_as_long_across_a_clock_change(job: JobRecord, schedule: CureSchedule) -> None:
    night = datetime(2026, 11, 1, 0, 30, tzinfo=ZoneInfo("America/New_York"))
    lengths = []
    for start in (night, night + timedelta(days=1)):
        shifted = replace(schedule, placement_end=start - timedelta(hours=6))
        shifted = with_date(shifted, Kind.SAW_JOINTS, start, not_after=None)
        event = next(e for e in read(both(job, shifted)[1]) if e.dtstart.value == start)
        lengths.append(event.dtend.value - event.dtstart.value)
    assert lengths[0] == lengths[1]


def test_times_are_in_utc_and_never_float(job: JobRecord, cold: CureSchedule) -> None:
    for ics in both(job, cold):
        lines = unfolded(ics)
        assert not any(line.startswith(("BEGIN:VTIMEZONE", "ATTENDEE", "ORGANIZER")) for line in lines)
        assert lines.count("METHOD:PUBLISH") == 1
        for line in lines:
            if line.startswith(("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED")):
                assert line.startswith(("DTSTART;VALUE=DATE:", "DTEND;VALUE=DATE:")) or line.endswith("Z")


def test_a_timed_event_has_one_alarm_ahead_and_a_whole_day_none(job: JobRecord, cold: CureSchedule) -> None:
    for ics in both(job, cold):
        for event in read(ics):
            alarms = [each.trigger.value for each in getattr(event, "valarm_list", [])]
            if isinstance(event.dtstart.value, datetime):
                [lead] = alarms
                assert timedelta(hours=-2) < lead < timedelta(0)
            else:
                assert not alarms
                assert event.dtend.value == event.dtstart.value + timedelta(days=1)


def test_the_owner_reads_the_cautious_date(job: JobRecord, schedule: CureSchedule) -> None:
    starts = {each.kind: each.start for each in owner_events(Wording(job, schedule))}
    for kind in (Kind.FOOT_TRAFFIC, Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES, Kind.CURING_ENDS):
        cautious = schedule.milestone(kind).not_before
        assert cautious <= starts[kind] < cautious + timedelta(days=1)
    seal = schedule.milestone(Kind.SEAL).not_before.date()
    assert seal <= starts[Kind.SEAL] <= seal + timedelta(days=1)


def test_no_date_is_at_night(job: JobRecord, schedule: CureSchedule) -> None:
    zone = ZoneInfo(schedule.timezone)
    for hour, morning in ((3, 15), (22, 16), (21, 16), (0, 15)):
        night = with_date(schedule, Kind.FOOT_TRAFFIC, datetime(2026, 7, 15, hour, 0, tzinfo=zone))
        walk = next(e for e in owner_events(Wording(job, night)) if e.kind == Kind.FOOT_TRAFFIC)
        assert walk.start == datetime(2026, 7, morning, 7, 0, tzinfo=zone)


def test_the_saw_has_its_window(job: JobRecord, schedule: CureSchedule) -> None:
    joints = schedule.milestone(Kind.SAW_JOINTS)
    event = next(e for e in crew_events(Wording(job, schedule)) if e.kind == Kind.SAW_JOINTS)
    assert joints.likely - timedelta(minutes=30) < event.start <= joints.likely
    assert event.start < event.end <= joints.not_after
    missed = with_date(schedule, Kind.SAW_JOINTS, joints.not_before, not_after=joints.not_before)
    event = next(e for e in crew_events(Wording(job, missed)) if e.kind == Kind.SAW_JOINTS)
    assert event.start < event.end


def test_the_slab_is_covered_before_the_frost_and_after_the_trowel(
    job: JobRecord, cold: CureSchedule
) -> None:
    zone = ZoneInfo(cold.timezone)
    early = frost(cold.finished + timedelta(minutes=30))
    colder = replace(cold, risks=(*cold.risks, early))
    starts = [each for each in colder.risks if each.code == "frost"]
    covers = [e for e in owner_events(Wording(job, colder)) if e.kind == "frost-cover"]
    for risk in starts:  # a cover that stays on needs no second one
        before = [each for each in covers if each.start <= risk.start]
        assert before
        assert risk.end.astimezone(zone).strftime("%B %-d") in before[-1].description
    for cover in covers:
        assert cold.finished <= cover.start
        assert 7 <= cover.start.astimezone(zone).hour <= 17  # by daylight; common practice, no source
    assert len({each.occasion for each in covers}) == len(covers)


def test_two_frosts_of_a_night_are_covered_once(job: JobRecord, cold: CureSchedule) -> None:
    night = next(each for each in cold.risks if each.code == "frost")
    later = frost(night.end + timedelta(hours=1))
    twice = replace(cold, risks=(night, later))
    once = replace(cold, risks=(night,))
    (cover,) = [e for e in crew_events(Wording(job, twice)) if e.kind == "frost-cover"]
    (alone,) = [e for e in crew_events(Wording(job, once)) if e.kind == "frost-cover"]
    assert (cover.start, cover.occasion) == (alone.start, alone.occasion)
    assert cover.description != alone.description, "it tells the end of the last"


@pytest.mark.parametrize(
    ("latitude", "placed", "reminded"),
    [
        (46.1, date(2026, 7, 14), date(2026, 11, 1)),
        (-46.1, date(2026, 7, 14), date(2026, 7, 14)),
        (-46.1, date(2026, 10, 1), date(2027, 5, 1)),
        (46.1, date(2026, 12, 20), date(2026, 12, 20)),
        (None, date(2026, 4, 2), date(2026, 11, 1)),
    ],
)
def test_salt_is_warned_of_when_the_cold_comes(
    job_with: Any, schedule: CureSchedule, latitude: float | None, placed: date, reminded: date
) -> None:
    place = {"name": "Shed", "latitude": latitude, "longitude": -72.0, "timezone": "America/New_York"}
    end = datetime.combine(placed, schedule.placement_end.timetz())
    moved = with_date(replace(schedule, placement_end=end), Kind.DEICING_SALT, end + timedelta(days=365))
    job = job_with(site=place)
    [event] = [each for each in owner_events(Wording(job, moved)) if each.kind == "no-salt"]
    assert event.start == reminded


def test_no_reminder_of_salt_is_on_a_day_before_its_issue(job_with: Any, schedule: CureSchedule) -> None:
    """Seen: placed in November, issued two days later, and the reminder on the day of the pour."""
    place = {"name": "Shed", "latitude": 46.1, "longitude": -72.0, "timezone": "America/New_York"}
    end = schedule.placement_end.replace(month=11, day=23)
    moved = replace(schedule, placement_end=end, issued_at=end + timedelta(days=2))
    moved = with_date(moved, Kind.DEICING_SALT, end + timedelta(days=365))
    [event] = [each for each in owner_events(Wording(job_with(site=place), moved)) if each.kind == "no-salt"]
    assert event.start == date(2026, 11, 25)


# ---- the same, again and again


def test_the_same_inputs_give_the_same_bytes_anywhere(
    job: JobRecord, cold: CureSchedule, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = both(job, cold)
    try:
        for zone in ("Asia/Kolkata", "Pacific/Kiritimati"):
            monkeypatch.setitem(os.environ, "TZ", zone)
            time.tzset()
            assert both(job, cold) == here
    finally:
        monkeypatch.undo()
        time.tzset()


def test_the_order_of_the_schedule_changes_nothing(job: JobRecord, cold: CureSchedule) -> None:
    days = tuple(replace(day, visits=day.visits[::-1]) for day in cold.watering[::-1])
    backwards = replace(cold, milestones=cold.milestones[::-1], watering=days, risks=cold.risks[::-1])
    assert both(job, backwards) == both(job, cold)


def test_every_event_has_its_own_uid(job: JobRecord, cold: CureSchedule) -> None:
    uids = [
        each["UID"] for ics in both(job, cold) for each in icalendar.Calendar.from_ical(ics).walk("VEVENT")
    ]
    assert len(set(uids)) == len(uids)
    other = both(job.model_copy(update={"id": "another"}), cold)
    others = {each["UID"] for ics in other for each in icalendar.Calendar.from_ical(ics).walk("VEVENT")}
    assert not others & set(uids)


def test_new_dates_replace_the_old_ones(job: JobRecord, cold: CureSchedule) -> None:
    later = timedelta(minutes=90)
    days = tuple(
        replace(day, visits=tuple(replace(v, start=v.start + later, end=v.end + later) for v in day.visits))
        for day in cold.watering
    )
    dates = tuple(
        replace(each, not_before=each.not_before + timedelta(hours=1), printed=None)
        for each in cold.milestones
    )
    again = replace(cold, revision=2, issued_at=cold.issued_at + later, watering=days, milestones=dates)
    for old, new in zip(both(job, cold), both(job, again), strict=True):
        before = {each.uid.value: each for each in read(old)}
        after = {each.uid.value: each for each in read(new)}
        assert before.keys() == after.keys()
        assert all(int(after[uid].sequence.value) > int(before[uid].sequence.value) for uid in before)
        assert any(after[uid].dtstart.value != before[uid].dtstart.value for uid in before)
        assert all(after[uid].dtstamp.value == again.issued_at for uid in after)
        [first], [second] = (list(vobject.readComponents(each.decode())) for each in (old, new))
        names = [each.contents["name"][0].value for each in (first, second)]
        assert names[0] != names[1]
        assert names[0] in second.description.value


def test_a_single_event_is_the_event_of_the_whole(job: JobRecord, cold: CureSchedule) -> None:
    wording = Wording(job, cold)
    whole = {each.uid.value: each.serialize() for ics in both(job, cold) for each in read(ics)}
    for event in owner_events(wording) + crew_events(wording):
        [alone] = read(build_calendar(wording, [event], audience=event.audience))
        assert alone.serialize() == whole[alone.uid.value]


def test_an_event_cut_from_the_whole_is_the_single_event(nasty: JobRecord, cold: CureSchedule) -> None:
    wording = Wording(nasty, cold)
    for whole, events in zip(both(nasty, cold), (owner_events(wording), crew_events(wording)), strict=True):
        assert whole.count(b"BEGIN:VEVENT") == len(events) > 1
        assert [event_from(whole, wording, each) for each in events] == [
            build_calendar(wording, [each], audience=each.audience) for each in events
        ]


# ---- what comes from outside


@pytest.fixture
def nasty(job_with: Any) -> JobRecord:
    job: JobRecord = job_with(
        id=NASTY,
        site={"name": NASTY, "address": NASTY, "timezone": "America/New_York"},
        owner={"name": NASTY},
        contractor={"name": NASTY, "phone": NASTY, "email": NASTY},
        walkthrough=({"item": NASTY, "ok": False, "note": NASTY},),
    )
    return job


def test_text_from_outside_never_becomes_a_property(nasty: JobRecord, cold: CureSchedule) -> None:
    for ics in both(nasty, cold):
        lines = unfolded(ics)
        assert {line.partition(":")[0].partition(";")[0] for line in lines} <= ALLOWED
        events = icalendar.Calendar.from_ical(ics).walk("VEVENT")
        assert lines.count("BEGIN:VALARM") == sum(isinstance(each.start, datetime) for each in events)
        assert not any(ord(each) < 32 or ord(each) == 127 for line in lines for each in line)


def test_text_from_outside_is_still_there_as_text(nasty: JobRecord, cold: CureSchedule) -> None:
    printed = "Bob's ATTENDEE:mailto:eve@example.com BEGIN:VALARM <b>a;b,c\\n:\""
    for ics in both(nasty, cold):
        assert all(each.location.value == printed for each in read(ics))
        [calendar] = vobject.readComponents(ics.decode())
        names = [each.value for key in ("name", "x-wr-calname") for each in calendar.contents[key]]
        assert len(names) == 2
        assert all(printed in each for each in names)
    walk = next(each for each in read(both(nasty, cold)[1]) if "eve@example.com" in each.description.value)
    assert '<b>a;b,c\\n:"' in walk.description.value


def test_words_of_a_contractor_stay_within_their_property(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    event = replace(owner_events(wording)[0], title=NASTY, description=NASTY)
    ics = build_calendar(wording, [event], audience=event.audience)
    assert {line.partition(":")[0].partition(";")[0] for line in unfolded(ics)} <= ALLOWED
    [entry] = read(ics)
    assert entry.summary.value == entry.valarm.description.value
    assert "\n" not in entry.summary.value
    assert "BEGIN:VALARM" in entry.summary.value


@pytest.mark.parametrize("name", ["Ж" * 200, "a" * 74 + "ü" * 80, "🧱" * 60, "x" * 500, "e\u0301" * 90])
def test_lines_are_folded_within_75_octets(job_with: Any, cold: CureSchedule, name: str) -> None:
    # RFC 5545 section 3.1: not longer than 75 octets, excluding the line break, which is CRLF.
    job = job_with(site={"name": name, "address": name, "timezone": "America/New_York"})
    for ics in both(job, cold):
        assert ics.count(b"\n") == ics.count(b"\r") == ics.count(b"\r\n")
        assert all(len(line) <= 75 for line in ics.split(b"\r\n"))
        for line in ics.split(b"\r\n"):
            line.decode()  # no character is cut in two
        assert all(each.location.value == name for each in read(ics))


def test_crew_and_owner_walk_the_slab_when_curing_ends_but_not_months_later(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: a walk-through on January 22 after a pour of November 10."""
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    walk = schedule.milestone(MilestoneKind.FOOT_TRAFFIC)
    assert ends is not None
    assert walk is not None
    usual, early = (printed_time(each, schedule.placement_end) for each in (ends, walk))
    assert usual is not None
    assert early is not None
    late = schedule.placement_end + timedelta(days=70)
    dates = [
        replace(each, not_before=late, printed=None) if each is ends else each for each in schedule.milestones
    ]
    lasting = replace(schedule, milestones=tuple(dates))
    off = printed_time(replace(ends, not_before=late, printed=None), schedule.placement_end)
    assert off is not None
    hidden = replace(lasting, curing_method="plastic sheet")  # nobody sees the slab before the sheet is off
    between = replace(lasting, between=BetweenCover("wet burlap", 13.0, 0.0))  # it lies all day, too
    for planned, day in (
        (schedule, usual.instant.date()),
        (lasting, early.instant.date()),
        (hidden, off.instant.date()),
        (between, off.instant.date()),
    ):
        [task] = Wording(job, planned).schedule.tasks_of("crew", WALK_THROUGH)
        assert task.start.date() == day


@pytest.mark.parametrize(
    ("language", "owner_reads", "crew_reads"),
    [("en", "The crew calls you", "Call the owner"), ("es", "La cuadrilla lo llama", "Llame antes al")],
)
def test_somebody_arranges_the_hour_of_the_walk_through(
    job: JobRecord, schedule: CureSchedule, language: str, owner_reads: str, crew_reads: str
) -> None:
    """A day without an hour: the crew calls, and sheet and both calendars say so."""
    words = Wording(job, schedule, language=language)
    for events, said in ((owner_events(words), owner_reads), (crew_events(words), crew_reads)):
        [event] = [each for each in events if each.kind == "walk-through"]
        assert not isinstance(event.start, datetime)
        assert said in event.description
    assert words.say("sheet.crew-walk", day=words.speak.day(event.start)) in CareSheet(words, {}).crew


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    ("walk_h", "forms_h", "start_h", "how"),
    [
        (7, 14, 17, "by-edges"),
        (17, 8, 17, "by-walking"),
        (7, 19, 24, None),  # the crew patches until 10 at night
        (7, -10, 0, None),  # stripped the day before
    ],
)
def test_crew_and_owner_meet_once_the_slab_bears_feet_and_its_edges_are_done(
    job: JobRecord, schedule: CureSchedule, language: str, walk_h: int, forms_h: int, start_h: int, how: str
) -> None:
    """Seen: a walk-through all day, though nobody might step there before 12:30, or the crew patched until 5.

    By the rules of visits, forms take an hour and patching two.
    """
    midnight = schedule.placement_start.replace(hour=0, minute=0) + timedelta(days=1)
    walk, forms = (midnight + timedelta(hours=each) for each in (walk_h, forms_h))
    planned = with_date(schedule, Kind.CURING_ENDS, midnight + timedelta(days=70))
    planned = with_date(with_date(planned, Kind.FOOT_TRAFFIC, walk), Kind.STRIP_EDGE_FORMS, forms)
    words = Wording(job, planned, language=language)
    owners, crews = (words.schedule.tasks_of(each, WALK_THROUGH)[0] for each in ("owner", "crew"))
    start = midnight + timedelta(hours=start_h)
    assert owners.start == crews.start == start
    assert crews.all_day is (how is None)
    sheet = " ".join(CareSheet(words, {}).crew)
    for events in (owner_events(words), crew_events(words)):
        (event,) = (each for each in events if each.kind == WALK_THROUGH)
        if how is not None:
            assert words.say(f"event.walk-through.{how}", hour=words.speak.hour(start)) in event.description
            assert words.say(f"sheet.crew-walk-{how}", when=words.speak.moment(start).text) in sheet
        else:
            assert words.say("sheet.crew-walk", day=words.speak.day(start)) in sheet


def test_without_a_defect_there_is_no_patching(job: JobRecord, schedule: CureSchedule) -> None:
    good = job.model_copy(
        update={"walkthrough": tuple(each.model_copy(update={"ok": True}) for each in job.walkthrough)}
    )
    for record, patches in ((job, True), (good, False)):
        kinds = {each.kind for each in crew_events(Wording(record, schedule))}
        assert ("rub-edges" in kinds) is patches


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_rubbed_edge_is_cured_as_the_slab_is(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    """Where a coat cures the slab, nobody keeps its edge wet."""
    texts = {}
    for method in ("sprinkler", "curing compound"):
        wording = Wording(job, replace(schedule, curing_method=method), language=language)
        (rub,) = (each for each in crew_events(wording) if each.kind == "rub-edges")
        texts[method] = rub.description
    compound, wet = {"en": ("compound", "wet"), "es": ("compuesto", "mojado")}[language]
    assert wet in texts["sprinkler"]
    assert compound not in texts["sprinkler"]
    assert compound in texts["curing compound"]
    assert wet not in texts["curing compound"]
