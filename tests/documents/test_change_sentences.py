"""Changes are at the top of sheet, page and message, and withdrawn events stay for one issue."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from email import message_from_bytes, policy
from math import nan
from typing import TYPE_CHECKING, Any, get_args
from zoneinfo import ZoneInfo

import icalendar
import pytest

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.change_sentences import change_sentences
from handover.documents.date_phrases import capitalise
from handover.documents.message import compose_message
from handover.documents.pages import care_page_html, care_sheet_html
from handover.documents.templating import languages
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.schedule.changes import SAW_LAST, SPELLS
from handover.schedule.model import Cause, Caution, Change, Figure, MilestoneKind, Risk
from handover.schedule.owner_dates import OWNER_KINDS

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

ZONE = ZoneInfo("America/New_York")
TWO = datetime(2026, 7, 14, 13, 40, tzinfo=ZONE)  # printed to the half hour, rounded up: 2:00
HALF_PAST_THREE = datetime(2026, 7, 14, 15, 10, tzinfo=ZONE)
HOUR = timedelta(hours=1)
FIRST_WATER = Change("first-water", (TWO,), (HALF_PAST_THREE,), ("cooler",))


def sentences(
    job: JobRecord, schedule: CureSchedule, *changes: Change, language: str = "en"
) -> tuple[str, ...]:
    return change_sentences(Wording(job, replace(schedule, revision=2, changes=changes), language=language))


def cold(schedule: CureSchedule) -> CureSchedule:
    return replace(schedule, cautions=(*schedule.cautions, Caution("heaters")))


def test_a_date_that_moved_within_a_day(job: JobRecord, schedule: CureSchedule) -> None:
    """The sentence that the office was promised."""
    assert sentences(job, schedule, FIRST_WATER) == (
        "First water moved from 2:00 pm to 3:30 pm on Tuesday, July 14, because it is cooler than forecast.",
    )


@pytest.mark.parametrize("language", languages())
def test_a_saw_that_comes_no_more_is_said_with_one_full_stop(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """The record says now that no joints are sawn: the last sentence that a reader has of a saw."""
    (sentence,) = sentences(job, schedule, Change("saw-joints", (TWO,), ()), language=language)
    assert sentence.endswith(
        {"en": "it was Tue Jul 14, 2:00 pm.", "es": "antes mar 14 jul, 2:00 p.m."}[language]
    )


def test_a_date_that_reads_as_before_is_not_told(job: JobRecord, schedule: CureSchedule) -> None:
    """Both are told as the morning of July 21, so the reader has nothing new."""
    evening = datetime(2026, 7, 20, 9, tzinfo=ZONE)
    assert sentences(job, schedule, Change("light-vehicles", (evening,), (evening + 13 * HOUR,))) == ()


def test_a_date_that_reads_otherwise_is_printed_however_little_it_moved(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """From twenty-five past seven to three minutes past eight: printed for the morning after."""
    early = datetime(2026, 7, 21, 7, 25, tzinfo=ZONE)
    assert sentences(job, schedule, Change("light-vehicles", (early,), (early + timedelta(minutes=38),))) == (
        "Parking a car on it moved from Tuesday, July 21 to Wednesday, July 22.",
    )


def test_a_week_that_became_a_day_is_said_in_the_words_of_both_papers(
    job: JobRecord, schedule: CureSchedule
) -> None:
    monday = datetime(2026, 8, 17, 8, tzinfo=ZONE)
    day = monday + timedelta(days=10)
    change = Change("light-vehicles", (monday,), (day,), (), "day", "week")
    assert sentences(job, schedule, change) == (
        "Parking a car on it moved from the week of August 17 to Thursday, August 27.",
    )


def test_a_date_moved_into_the_past_may_be_done_now(job: JobRecord, schedule: CureSchedule) -> None:
    """Issued on July 21, when light work was to wait until the 25th and might have begun on the 17th."""
    now = replace(schedule, issued_at=datetime(2026, 7, 21, 9, tzinfo=ZONE))
    before = datetime(2026, 7, 25, 7, 30, tzinfo=ZONE)
    assert sentences(job, now, Change("light-work", (before,), (before - 8 * 24 * HOUR,))) == (
        "Light work on it need not wait any longer, it was Saturday, July 25.",
    )
    last = Change(SAW_LAST, (before,), (before - 8 * 24 * HOUR,))
    assert "is past now" in sentences(job, now, last)[0]


def test_frost_is_printed_where_the_sheet_shows_it(job: JobRecord, schedule: CureSchedule) -> None:
    change = Change("frost-safe", (TWO,), (HALF_PAST_THREE,))
    assert sentences(job, schedule, change) == ()
    assert sentences(job, cold(schedule), change) != ()


@pytest.mark.parametrize("language", languages())
def test_the_first_page_shows_few_changes_and_how_many_more(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """Those that ask most of an owner, in order of time; the page for the phone has all."""
    day = datetime(2026, 7, 16, 6, 30, tzinfo=ZONE)
    watered = [Change("watering", (), (day + n * 25 * HOUR,)) for n in range(5)]
    car = Change("light-vehicles", (day + 5 * 24 * HOUR,), (day + 9 * 24 * HOUR,))
    words = Wording(job, replace(schedule, revision=2, changes=(*watered, car)), language=language)
    every = change_sentences(words)
    care = CareSheet(words, {})
    assert care.foremost_changes == (*every[:4], every[5], words.say("change.more", n=1))
    page, sheet = care_page_html(words), care_sheet_html(words)
    assert all(f"<li>{line}</li>" in page for line in every)
    assert sum(f"<li>{line}</li>" in sheet for line in every) == 5


def test_nights_of_frost_are_one_sentence(job: JobRecord, schedule: CureSchedule) -> None:
    """Three new nights take one line, so that the dates that moved are seen beside them."""
    night = datetime(2026, 7, 17, 2, 0, tzinfo=ZONE)
    new = [Change("frost", (), (night + n * 24 * HOUR,)) for n in (0, 1, 3)]
    (line,) = sentences(job, schedule, *new)
    assert line.startswith("New: the slab may freeze from 2:00 in the morning, Friday, July 17, and again")
    assert line.endswith("until Monday, July 20.")
    gone = [Change("frost", (night + n * 24 * HOUR,), ()) for n in (0, 1)]
    assert sentences(job, schedule, *gone) == (
        "Frost is not expected to harm the slab on Friday, July 17 and Saturday, July 18 any more.",
    )


def test_rain_that_is_new_says_that_the_crew_covers_the_slab(job: JobRecord, schedule: CureSchedule) -> None:
    evening = datetime(2026, 7, 14, 18, 0, tzinfo=ZONE)
    (sentence,) = sentences(job, schedule, Change("rain-on-fresh", (), (evening,)))
    assert sentence.startswith("New: rain is likely from 6:00 in the evening, Tuesday, July 14;")
    assert "covers the slab before it" in sentence


def test_waterings_that_move_alike_are_one_sentence(job: JobRecord, schedule: CureSchedule) -> None:
    """Of three days in a row the first and the last are named; a day with other hours has its own."""
    day = datetime(2026, 7, 17, 6, 30, tzinfo=ZONE)

    def rained(number: int, hours: int = 0) -> Change:
        return Change("watering", (day + timedelta(days=number, hours=hours),), (), ("rain",))

    assert sentences(job, schedule, rained(0), rained(1)) == (
        "Watering on Friday, July 17 and Saturday, July 18 is cancelled, because rain wets it.",
    )
    alike, other = sentences(job, schedule, *map(rained, (0, 1, 2, 4)), rained(5, 1))
    assert "Friday, July 17 to Sunday, July 19 and Tuesday, July 21" in alike
    assert other == "Watering on Wednesday, July 22 is cancelled, because rain wets it."


def test_nothing_is_printed_where_nothing_changed(job: JobRecord, schedule: CureSchedule) -> None:
    again = replace(schedule, revision=2)
    for language in languages():
        heading = load_translations(language).say("change.heading", n=1)
        assert sentences(job, schedule, language=language) == ()
        assert heading not in care_sheet_html(Wording(job, again, language=language))


@pytest.mark.parametrize("language", languages())
def test_every_change_and_cause_has_words(language: str, job: JobRecord, schedule: CureSchedule) -> None:
    day = datetime(2026, 7, 16, 6, 30, tzinfo=ZONE)
    causes = get_args(Cause)
    changes = [
        Change(kind, before, after, causes)
        for kind in (*OWNER_KINDS, SAW_LAST, "watering", *SPELLS)
        for before, after in (((day,), (day + 48 * HOUR,)), ((), (day,)), ((day,), ()))
        if kind not in SPELLS or not (before and after)  # weather comes or goes
    ]
    lines = sentences(job, cold(schedule), *changes, language=language)
    assert len(set(lines)) == len(changes)
    assert not any("{" in line for line in lines)


@pytest.mark.parametrize("language", languages())
def test_sheet_page_and_letter_show_the_same_list(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    again = replace(schedule, revision=2, changes=(FIRST_WATER,))
    words = Wording(job, again, language=language)
    (line,) = change_sentences(words)
    sheet = care_sheet_html(words)
    assert f"<li>{line}</li>" in sheet
    assert sheet.index(line) < sheet.index('class="row banner"')
    assert f"<li>{line}</li>" in care_page_html(words)
    letter: Any = message_from_bytes(compose_message(words, {}), policy=policy.default)
    plain = letter.get_body(("plain",)).get_content().replace("\r\n", "\n")
    assert f"{words.say('change.heading', n=1)}:\n- {line}\n" in plain
    assert f"<li>{line}</li>" in letter.get_body(("html",)).get_content()


# ---- calendars


def events(calendar: bytes) -> dict[str, icalendar.Event]:
    return {str(each["uid"]): each for each in icalendar.Calendar.from_ical(calendar).events}


def without_day(schedule: CureSchedule, number: int) -> CureSchedule:
    days = tuple(
        replace(day, visits=(), skipped_because="rain") if index == number else day
        for index, day in enumerate(schedule.watering)
    )
    return replace(
        schedule, revision=schedule.revision + 1, issued_at=schedule.issued_at + HOUR, watering=days
    )


def test_a_watering_that_is_gone_stays_one_issue_cancelled(job: JobRecord, schedule: CureSchedule) -> None:
    first = owner_calendar(Wording(job, schedule))
    second_schedule = without_day(schedule, 1)
    second = owner_calendar(Wording(job, second_schedule), first)
    old, new = events(first), events(second)
    [rainy] = new.keys() - old.keys()  # the day of rain is in the calendar in place of its waterings
    assert old.keys() <= new.keys()
    assert new[rainy].decoded("dtstart") == second_schedule.watering[1].date
    assert {int(each["sequence"]) for each in new.values()} == {2}
    gone = [each for each in new.values() if each["status"] == "CANCELLED"]
    assert len(gone) == len(schedule.watering[1].visits)
    for each in gone:
        before = old[str(each["uid"])]
        assert each["summary"] == f"CANCELLED: {before['summary']}"
        assert each.decoded("dtstart") == before.decoded("dtstart")
        assert each.decoded("dtend") == before.decoded("dtend")
        assert not each.subcomponents  # no alarm
    third_schedule = replace(second_schedule, revision=3)
    third = events(owner_calendar(Wording(job, third_schedule), second))
    assert third.keys() == new.keys() - {str(each["uid"]) for each in gone}


def test_an_event_that_comes_back_is_confirmed_again(job: JobRecord, schedule: CureSchedule) -> None:
    rainy = without_day(schedule, 1)
    first = owner_calendar(Wording(job, schedule))
    second = owner_calendar(Wording(job, rainy), first)
    again = replace(schedule, revision=3)
    third = events(owner_calendar(Wording(job, again), second))
    [day_of_rain] = third.keys() - events(first).keys()
    assert {uid for uid, each in third.items() if each["status"] != "CONFIRMED"} == {day_of_rain}


def test_what_is_over_is_not_cancelled(job: JobRecord, schedule: CureSchedule) -> None:
    first = owner_calendar(Wording(job, schedule))
    later = replace(without_day(schedule, 1), issued_at=schedule.watering[3].visits[0].start)
    found = events(owner_calendar(Wording(job, later), first))
    assert not [each for each in found.values() if each["status"] == "CANCELLED"]


def test_the_crew_reads_that_a_frost_is_cancelled(job: JobRecord, schedule: CureSchedule) -> None:
    night = datetime(2026, 7, 15, 2, tzinfo=ZONE)  # before people may walk on it: the crew covers it
    frosty = replace(schedule, risks=(Risk("frost", night, night + 4 * HOUR, night + 2 * HOUR),))
    first = crew_calendar(Wording(job, frosty))
    mild = replace(schedule, risks=(), revision=2)
    found = events(crew_calendar(Wording(job, mild), first)).values()
    gone = [str(each["summary"]) for each in found if each["status"] == "CANCELLED"]
    assert any("frost" in each.lower() for each in gone)


@pytest.mark.parametrize("language", languages())
def test_calendar_and_letter_say_what_to_do_with_the_old_one(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    again = replace(schedule, revision=2)
    words = Wording(job, again, language=language)
    note, old = words.say("cancelled.note"), words.events.calendar_name("owner", 1)
    calendar: Any = icalendar.Calendar.from_ical(owner_calendar(words))
    letter: Any = message_from_bytes(compose_message(words, {}), policy=policy.default)
    for text in (str(calendar["description"]), letter.get_body(("plain",)).get_content()):
        assert note in text
        assert old in text


# ---- a later issue


@pytest.mark.parametrize("language", languages())
def test_the_job_on_top_is_the_one_that_comes_next(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """Before the first water it is that; then the waterings of the day that are to come; at last none."""
    words = load_translations(language)
    first, second = schedule.watering[0].visits[0], schedule.watering[1].visits[0]
    curing_ends = schedule.milestone(MilestoneKind.CURING_ENDS).not_before
    tops = [
        CareSheet(Wording(job, replace(schedule, revision=2, issued_at=at), language=language), {}).ongoing
        for at in (first.start - 2 * HOUR, second.end - timedelta(minutes=1), curing_ends + 24 * HOUR)
    ]
    assert tops[0] is None
    assert tops[1].eyebrow == words.say("sheet.next-job")
    speak = Wording(job, schedule, language=language).speak
    assert capitalise(speak.day(second.start)) in tops[1].when
    assert speak.short_span(second.start, second.end) in tops[1].when
    assert tops[2].title == words.say("your-part.over")


def test_the_code_and_the_crew_leave_out_what_is_over(job: JobRecord, schedule: CureSchedule) -> None:
    over = schedule.milestone(MilestoneKind.SAW_JOINTS).not_after + HOUR
    now, later = (
        CareSheet(Wording(job, replace(schedule, issued_at=at)), {}) for at in (schedule.issued_at, over)
    )
    title = now.words_by_kind[MilestoneKind.SAW_JOINTS].title
    assert any(title in line for line in now.crew)
    assert not any(title in line for line in later.crew)
    assert now.first.title in now.code.content
    assert later.first.title not in later.code.content
    end = replace(schedule, issued_at=schedule.issued_at + timedelta(days=3000))
    assert CareSheet(Wording(job, end), {}).code is None


def test_a_blanket_that_no_longer_does_is_named_with_what_edges_need(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """R-2 is 0.352 m2K/W: 1 ft2 h degF/Btu = 0.1761 m2K/W."""
    values = {"blanket": 0.704, "blanket_before": 0.352, "at_edges": 2.11, "at_edges_before": 1.06}
    change = Change("blanket", (), (TWO,), figures=tuple(Figure(*each, "m2K/W") for each in values.items()))
    [sentence] = sentences(job, schedule, change)
    assert [part in sentence for part in ("R-4", "not R-2", "R-12", "not R-6")] == [True] * 4
    own = job.model_copy(update={"curing": job.curing.model_copy(update={"blanket_r_value": 2.2})})
    assert sentences(own, schedule, change) == ()
    none = replace(change, figures=(*change.figures[1:2], Figure("at_edges", nan, "m2K/W")))
    assert "R-2" in sentences(own, schedule, none)[0]
