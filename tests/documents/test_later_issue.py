"""An issue some days after the pour looks ahead; and what is said of water is said where there is water."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.crew_visits import crew_visits
from handover.documents.events import crew_events, owner_events
from handover.documents.message import compose_message
from handover.documents.pages import care_page_html, care_sheet_html
from handover.documents.templating import fill_text, languages
from handover.documents.translations import load_translations, slug
from handover.documents.wording import Wording
from handover.schedule.cover_times import cover_due, missed_water
from handover.schedule.loading import materials_to_load
from handover.schedule.model import BetweenCover, Figure
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.tasks import with_tasks
from handover.service.summary import first_task_of, plan_summary

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

MINUTE = timedelta(minutes=1)


def issue_at(schedule: CureSchedule, at: datetime) -> CureSchedule:
    """The schedule of a first issue at a time."""
    late = replace(schedule, issued_at=at)
    return replace(late, missed_water=missed_water(late))


@pytest.mark.parametrize("language", languages())
def test_the_plan_has_no_hour_of_the_saw_that_is_past(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """From the trial cut on it has the best hour, then "now", then the question whether they were cut."""
    milestone = schedule.milestone(Kind.SAW_JOINTS)
    assert milestone is not None
    [task] = with_tasks(schedule, job).tasks_of("crew", Kind.SAW_JOINTS)
    printed = Wording(job, schedule).milestone(milestone).when
    assert printed is not None
    trial, best, last = task.start, printed.instant, task.end
    assert trial < best < last
    seen = []
    for at in (trial - MINUTE, trial, best, last):
        words = Wording(job, replace(schedule, issued_at=at, tasks=()), language=language)
        saw = words.milestone(milestone)
        plan = plan_summary(words)
        rows = [each for each in plan.dates if saw.crew_title in each[1]]
        asked = f"{words.say('event.look-joints.title')}." in [what for _, what in plan.visits]
        text = " ".join(map(" ".join, rows))
        trial_said = words.speak.moment(trial).short in text
        now = [when for when, _ in rows] == [words.say("crew.now")]
        seen.append((len(rows), trial_said, now, asked))
    assert seen == [
        (1, True, False, False),
        (1, False, False, False),
        (1, False, True, False),
        (0, False, False, True),
    ]


@pytest.mark.parametrize("language", languages())
def test_the_table_starts_with_what_is_still_to_come(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """Issued three days after the pour, within its second watering: there is no box for what is past."""
    day = schedule.watering[3]
    assert len(day.visits) > 1
    at = day.visits[1].end - MINUTE
    words = Wording(job, replace(schedule, revision=2, issued_at=at), language=language)
    ahead = CareSheet(words, {}).days
    assert ahead[0].date == day.date
    assert [each.start for each in ahead[0].visits] == [each.start for each in day.visits[1:]]
    days = [short for each in ahead[1:] for short in each.alike or (each.short_day,)]
    assert days == [words.speak.short_day(each.date) for each in schedule.watering[4:]]
    over = words.speak.day(schedule.watering[1].date)
    for html in (care_sheet_html(words), care_page_html(words)):
        table = html[html.index('<table class="watering"') :]
        table = table[: table.index("</table>")].lower()
        assert over.lower() not in table
        assert words.say("sheet.left-out") in html


def test_the_total_counts_what_is_still_to_come(job: JobRecord, schedule: CureSchedule) -> None:
    """After half of the days the words name the water and the days that are left."""
    whole_litres = sum(visit.litres for day in schedule.watering for visit in day.visits)
    figures = (Figure("water_total", whole_litres, "L"), Figure("garden_days", whole_litres / 450.0, "1"))
    schedule = replace(schedule, figures=figures)
    whole = Wording(job, schedule)
    at = schedule.watering[-2].visits[0].start - MINUTE
    left = Wording(job, replace(schedule, issued_at=at))
    litres = sum(visit.litres for day in schedule.watering[-2:] for visit in day.visits)
    assert left.quantities.amount(litres) in left.water_in_all
    assert left.speak.days(sum(bool(day.visits) for day in schedule.watering[-2:])) in left.water_in_all
    assert whole.quantities.amount(whole_litres) in whole.water_in_all
    assert left.water_in_all != whole.water_in_all


@pytest.mark.parametrize("language", languages())
def test_nothing_is_left_out_at_first_and_nothing_left_at_last(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    words = load_translations(language)
    assert words.say("sheet.left-out") not in care_sheet_html(Wording(job, schedule, language=language))
    end = schedule.watering[-1].visits[-1].end + 24 * 60 * MINUTE
    last = care_sheet_html(Wording(job, replace(schedule, issued_at=end), language=language))
    assert words.say("sheet.watering-over") in last
    assert 'class="watering"' not in last
    assert words.say("sheet.no-watering") not in last


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    ("method", "keep"), [("sprinkler", "wet"), ("insulating blanket", "cover"), ("curing compound", "coat")]
)
def test_what_is_normal_and_when_to_call_go_by_the_method(
    method: str, keep: str, language: str, job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    sheet = care_sheet_html(Wording(job, schedule_with(method=method), language=language))
    for name in ("normal", "call"):
        for other in ("wet", "cover", "coat"):
            text = fill_text(f"{language}/{name}-{other}.md", seals=False, between="").splitlines()
            lines = [each.removeprefix("- ").strip() for each in text if each.startswith("- ")]
            assert any(each in sheet for each in lines) == (other == keep)


@pytest.mark.parametrize("language", languages())
def test_the_letter_asks_to_tick_waterings_off_where_there_are_some(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    dry = tuple(
        replace(day, visits=tuple(replace(each, litres=0.0) for each in day.visits))
        for day in schedule.watering
    )
    none = tuple(replace(day, visits=()) for day in schedule.watering)
    said = []
    for days in (schedule.watering, dry, none):
        words = Wording(job, replace(schedule, watering=days), language=language)
        letter: Any = message_from_bytes(
            compose_message(words, {"care-sheet.pdf": b"%PDF"}), policy=policy.default
        )
        said.append(letter.get_body(("plain",)).get_content())
    keys = [f"message.attached.care-sheet{each}" for each in ("", "--looking", "--plain")]
    for number, text in enumerate(said):
        line = f"- {load_translations(language).say(keys[number], name='care-sheet.pdf')}\n"
        assert line in text.replace("\r\n", "\n")


@pytest.mark.parametrize("language", languages())
def test_the_crew_box_prints_no_hour_that_is_past(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    edges = schedule.milestone(Kind.STRIP_EDGE_FORMS)
    assert edges is not None
    assert edges.not_before is not None
    before, after = (
        " ".join(crew_visits(Wording(job, replace(schedule, issued_at=at), language=language)))
        for at in (edges.not_before - 60 * MINUTE, edges.not_before + 24 * 60 * MINUTE)
    )
    words = Wording(job, schedule, language=language)
    when = words.dates.milestone(edges).when
    assert when is not None
    assert when.text in before
    assert when.text not in after
    assert words.dates.title(Kind.STRIP_EDGE_FORMS) in after


@pytest.mark.parametrize("language", languages())
def test_a_timer_is_set_once_and_looked_at_once_a_day(
    language: str, job_with: Callable[..., JobRecord], schedule: CureSchedule
) -> None:
    job = job_with(curing={"method": schedule.curing_method, "timer": True})
    wording = Wording(job, schedule, language=language)
    watered = [day for day in schedule.watering if day.visits]
    events = [each for each in owner_events(wording) if each.kind == "watering"]
    assert len(events) == len(watered)
    assert events[0].start == watered[0].visits[0].start
    assert wording.say("event.set-timer.title") in events[0].title
    assert all(wording.say("event.look-timer.title") in each.title for each in events[1:])
    runs = {each.date.isoformat(): each.visits[0].end for each in wording.watering if each.visits}
    for each in events[1:]:  # before its first run of the day a slab is pale, and that is right
        assert isinstance(each.start, datetime)
        assert each.start >= runs[each.occasion.split()[0]]
    assert CareSheet(wording, {}).columns == ("timer",)
    assert wording.visits.program in care_sheet_html(wording)


def test_the_hours_before_dawn_are_first_in_the_row(job: JobRecord, schedule: CureSchedule) -> None:
    day = schedule.watering[-1]
    early = day.visits[0].start.replace(hour=3)
    night = replace(day.visits[0], start=early, end=early + 60 * MINUTE)
    odd = replace(schedule, watering=(*schedule.watering[:-1], replace(day, visits=(night, *day.visits))))
    assert CareSheet(Wording(job, odd), {}).columns[0] == "night"


@pytest.mark.parametrize("language", languages())
def test_a_first_issue_after_the_first_watering_asks_whether_it_was_done(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """The owner, the message and the crew read the same question; the next hours are still there."""
    first = schedule.watering[0].visits[0]
    late = issue_at(schedule, first.end + MINUTE)
    words = Wording(job, late, language=language)
    missed = words.visits.missed_water
    assert missed is not None
    assert words.speak.moment(first.start).text in missed.when
    care = CareSheet(words, {})
    assert care.ongoing is not None
    assert care.ongoing.title == missed.title
    following = next(day for day in words.visits.days_to_come if day.visits)
    assert following.visits[0].short_span in care.ongoing.sentence
    text = message_from_bytes(compose_message(words, {}), policy=policy.default)
    plain = text.get_body(("plain",))
    assert plain is not None
    assert missed.sentence in " ".join(plain.get_content().split())
    assert words.say("crew.missed") in [row.what for row in CrewSheet(words).rows("dangers")]
    assert first_task_of(care).startswith(missed.title)


def test_who_was_told_of_the_first_watering_is_not_asked(schedule: CureSchedule) -> None:
    first, last = schedule.watering[0].visits[0], schedule.milestone(Kind.CURING_ENDS)
    assert last is not None
    assert last.not_before is not None
    late = first.end + MINUTE
    for each in (
        replace(schedule, issued_at=first.end - MINUTE),
        replace(schedule, issued_at=late, revision=2),
        replace(schedule, issued_at=last.not_before + MINUTE),
        replace(schedule, issued_at=late, curing_method="curing compound"),
    ):
        assert missed_water(each) is None


def test_a_slab_that_lay_dry_is_not_watered_in_frost(job: JobRecord, schedule: CureSchedule) -> None:
    late = issue_at(schedule, schedule.watering[0].visits[0].end + MINUTE)
    cold = replace(late, weather=replace(late.weather, air_c=late.weather.air_c * 0.0 - 5.0))
    words = Wording(job, cold)
    assert words.visits.missed_water is not None
    assert words.visits.missed_water.sentence == words.say("missed.frost")


def test_forms_that_may_come_off_are_a_visit_until_the_last(job: JobRecord, schedule: CureSchedule) -> None:
    """The crew's sheet has them as the owner's has: from now on."""
    strip = schedule.milestone(Kind.STRIP_EDGE_FORMS)
    assert strip is not None
    assert strip.not_before is not None
    words = Wording(job, replace(schedule, issued_at=strip.not_before + timedelta(days=1)))
    rows = [row for row in CrewSheet(words).rows("visits") if row.kind == Kind.STRIP_EDGE_FORMS]
    assert [row.when for row in rows] == [words.say("sheet.crew-now")]
    assert any(words.say("sheet.crew-now") in line for line in crew_visits(words))


@pytest.mark.parametrize("language", languages())
def test_the_crew_reads_of_no_hour_of_sawing_that_is_past(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """From the trial cut on it saws "now, until" the last hour; both papers drop the best hour, too."""
    saw = schedule.milestone(Kind.SAW_JOINTS)
    assert saw is not None
    assert saw.not_before is not None
    assert saw.likely is not None
    assert saw.not_after is not None
    dates = tuple(replace(each, confidence=0.9) if each is saw else each for each in schedule.milestones)
    schedule = replace(schedule, milestones=dates)
    texts = []
    for at in (saw.likely - timedelta(hours=2), saw.likely, saw.not_before + timedelta(hours=1)):
        words = Wording(job, replace(schedule, issued_at=at), language=language)
        [event] = (each for each in crew_events(words) if each.kind == Kind.SAW_JOINTS)
        [row] = (each for each in CrewSheet(words).rows("visits") if each.kind == Kind.SAW_JOINTS)
        date = next(each for each in words.dates.milestones if each.kind == Kind.SAW_JOINTS)
        assert date.trial is not None
        assert date.when is not None
        now = words.say("crew.now-until", last=words.speak.short_hour(event.end.astimezone(at.tzinfo)))
        assert (row.when == now) == (at >= saw.likely)
        assert (date.trial.hour in f"{event.title} {event.description}") == (at < saw.likely)
        assert (date.when.hour in event.description) == (at < saw.not_before)
        texts.append(event.description)
    first = words.say("milestone.words.trial-first")
    assert [first in each for each in texts] == [False, True, False]


@pytest.mark.parametrize("days", [0.5, 1.2, 3.0])
@pytest.mark.parametrize("revision", [1, 2])
def test_the_calendars_of_a_first_issue_begin_with_it(
    job: JobRecord, schedule: CureSchedule, days: float, revision: int
) -> None:
    """A late first issue names nothing that is over; a later issue leaves the past as it was printed."""
    issued_at = schedule.placement_end + timedelta(days=days)
    later = replace(schedule, issued_at=issued_at, revision=revision, tasks=())
    late = with_tasks(later, job)
    wording = Wording(job, late)
    for calendar in (owner_calendar(wording), crew_calendar(wording)):
        ends = [each.decoded("dtend") for each in Calendar.from_ical(calendar).events]
        past = [each for each in ends if isinstance(each, datetime) and each <= issued_at]
        assert ends
        assert not past or revision == 2
    before = [each for each in late.tasks_of("owner") if each.end <= issued_at]
    left_out = 0 if revision == 2 else len(before)
    assert before
    assert len(owner_events(wording)) == len(late.tasks_of("owner")) - left_out
    assert "text/calendar" in care_page_html(wording)  # its links are cut from the calendar


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("cover", ["plastic sheet", "wet burlap"])
def test_the_crew_brings_the_cover_that_lies_nowhere_yet(
    job: JobRecord, schedule: CureSchedule, cover: str, language: str
) -> None:
    """A first issue a day late: load, calendar and owner say who brings it; no line takes it as there."""
    forms = next(each for each in schedule.milestones if each.kind == Kind.STRIP_EDGE_FORMS)
    assert forms.not_before is not None
    issued = replace(
        schedule, issued_at=forms.not_before - MINUTE, between=BetweenCover(cover, 9.0, 2.0), tasks=()
    )
    due = cover_due(issued)
    assert due is not None
    wording = Wording(job, with_tasks(replace(issued, cover_due=due), job), language=language)
    assert {"plastic sheet": "plastic", "wet burlap": "burlap"}[cover] in {
        each.code.removeprefix("white-") for each in materials_to_load(wording.schedule, job)
    }
    (event,) = (each for each in crew_events(wording) if each.kind == "bring-cover")
    assert event.end == due
    when = wording.speak.moment(due).text
    assert wording.say(f"sheet.crew-bring-cover.{slug(cover)}", when=when) in crew_visits(wording)
    under = wording.say(f"milestone.words.strip-under--{slug(cover)}")
    (strip,) = (each for each in crew_events(wording) if each.kind == Kind.STRIP_EDGE_FORMS)
    waterings = [each for each in owner_events(wording) if each.kind == "watering"]
    off = wording.say("between.before.later.plastic-sheet")
    assert (due < strip.start) == (under in strip.description)
    assert off not in waterings[0].description
    assert (off in waterings[-1].description) == (cover == "plastic sheet")
    told = Wording(job, with_tasks(issued, job), language=language)
    assert not [each for each in crew_events(told) if each.kind == "bring-cover"]


@pytest.mark.parametrize("language", languages())
def test_a_day_that_rain_should_water_is_in_the_calendar_as_on_the_sheet(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "if it stays dry, water" on the sheet alone; the calendar had nothing on that day."""
    day = schedule.watering[2]
    rainy = replace(day, visits=(), skipped_because="rain")
    days = tuple(rainy if each is day else each for each in schedule.watering)
    wording = Wording(job, with_tasks(replace(schedule, watering=days, tasks=()), job), language=language)
    (event,) = (each for each in owner_events(wording) if each.kind == "rain-day")
    assert event.start == day.date
    assert wording.say("watering.none-rain") in event.description
    (row,) = (each for each in wording.visits.days if each.date == day.date)
    assert wording.say("watering.none-rain") in row.note
    told = Wording(job, schedule, language=language)
    assert len([each for each in owner_events(told) if each.kind == "rain-day"]) == sum(
        each.skipped_because == "rain" for each in schedule.watering
    )


@pytest.mark.parametrize("language", languages())
def test_crew_and_owner_read_who_yields_where_saw_and_water_meet(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Common practice, no source: nobody runs a saw in the water that somebody else puts down."""
    saw = schedule.milestone(Kind.SAW_JOINTS)
    assert saw is not None
    assert saw.not_before is not None
    assert saw.not_after is not None
    first = next(visit for day in schedule.watering for visit in day.visits)
    for opens, closes, meets in ((-1, 1, True), (-3, -1, False)):
        hours = {
            "not_before": first.start + timedelta(hours=opens),
            "not_after": first.start + timedelta(hours=closes),
        }
        moved = tuple(replace(each, **hours) if each is saw else each for each in schedule.milestones)
        plan = replace(schedule, milestones=moved, joints=None, tasks=(), issued_at=schedule.placement_start)
        wording = Wording(job, with_tasks(plan, job), language=language)
        (sawing,) = (each for each in crew_events(wording) if each.kind == Kind.SAW_JOINTS)
        when = wording.speak.moment(first.start.astimezone(ZoneInfo(schedule.timezone))).text
        assert (wording.say("milestone.words.saw-water", when=when) in sawing.description) == meets
        (water, *_) = (each for each in owner_events(wording) if each.kind == "watering")
        assert (wording.say("watering.saw") in water.description) == meets
