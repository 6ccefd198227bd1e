"""What an owner asks, answered by the first two pages: start, how long on a day, car, frost, who to call."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.documents.calendars import owner_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.pages import care_page_html, care_sheet_html
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.schedule.model import Caution, Figure, MilestoneKind, Visit
from handover.schedule.printed_times import SLEEPING_HOUR, WAKING_HOUR, by_day

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

    FirstPages = Callable[[str, str], tuple[Wording, str]]

SAMPLES = ("summer-garage", "november-shop", "driveway-compound")


def text_of(pdf: bytes, *options: str) -> str:
    command = ["pdftotext", *options, "-l", "2", "-", "-"]
    return subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode()


@pytest.fixture(scope="module")
def first_pages(sample_inputs: Any, sample_sheet: Any) -> Callable[[str, str], tuple[Wording, str]]:
    """Give the words of a sample and the text of two pages of its sheet, by lines, then by cells."""

    @cache
    def pages(sample: str, language: str) -> tuple[Wording, str]:
        received, schedule = sample_inputs(sample)
        words = Wording(received.job, schedule, language=language)
        pdf = sample_sheet("care", sample, f"{language}-letter")
        return words, " ".join(plain(text_of(pdf, *options)) for options in (["-layout"], []))

    return pages


def plain(text: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


asked = pytest.mark.parametrize(
    ("sample", "language"), [(sample, language) for sample in SAMPLES for language in languages()]
)


@asked
def test_when_may_i_park_the_car_and_who_do_i_call(
    sample: str, language: str, first_pages: FirstPages
) -> None:
    words, printed = first_pages(sample, language)
    car = next(each for each in words.milestones if each.kind == MilestoneKind.LIGHT_VEHICLES)
    assert car.when is not None
    assert car.title in printed
    assert car.when.day.lower() in printed.lower()
    assert str(words.job.contractor.phone) in printed
    assert str(words.job.contractor.name) in printed


@asked
def test_what_if_it_freezes(sample: str, language: str, first_pages: FirstPages) -> None:
    words, printed = first_pages(sample, language)
    of_frost = (MilestoneKind.FROST_SAFE, MilestoneKind.PROTECTION_ENDS)
    dates = (each.sentence for each in words.milestones if each.kind in of_frost)
    call = filter(None, [words.warnings.call_in_cold])
    ways = (words.say("if-frost.cover"), words.say("sheet.if-frost-blanket"), *call, *dates)
    assert any(plain(each) in printed for each in ways) == words.dates.cold  # nobody asks in July


@asked
def test_when_do_i_start_and_how_long_on_the_third_day(
    sample: str, language: str, first_pages: FirstPages
) -> None:
    words, printed = first_pages(sample, language)
    if sample != "summer-garage":
        assert words.say("sheet.no-watering") in printed
        return
    start = next(each for each in words.milestones if each.kind == MilestoneKind.FIRST_WATER)
    assert start.when is not None
    assert start.title in printed
    assert start.when.hour in printed
    third = words.schedule.placement_end.date() + timedelta(days=3)
    (day,) = (each for each in words.watering if each.date == third)
    spent = sum((visit.end - visit.start for visit in day.visits), timedelta())
    hours = spent / timedelta(hours=1)
    assert day.since == {"en": "Day 3", "es": "Día 3"}[language]
    assert day.length == {"en": f"{hours:g} hr", "es": f"{hours:g} h"}[language]  # CLDR, duration-hour short
    assert day.short_day in printed  # beside its boxes, in the row of the days that are like it
    row = next(
        each for each in CareSheet(words, {}).days if day.short_day in (each.alike or (each.short_day,))
    )
    _, _, text = printed.partition(row.day)
    close = "".join(text[:200].split())
    assert all("".join(each.split()) in close for each in (day.length, row.since, day.amount))


# ---- the table of watering


def test_hours_are_those_that_pass_not_those_of_the_wall(job: JobRecord, schedule: CureSchedule) -> None:
    """The clock in New York springs from 2 to 3 on March 8, 2026."""
    zone = ZoneInfo("America/New_York")
    visit = Visit(datetime(2026, 3, 8, 1, 30, tzinfo=zone), datetime(2026, 3, 8, 3, 30, tzinfo=zone), 400.0)
    day = replace(schedule.watering[0], visits=(visit,))
    words = Wording(job, replace(schedule, watering=(day,)))
    assert words.watering[0].length == "1 hr"
    assert words.visits.visit(visit).length == "1 hour"


def test_chance_of_rain_asks_for_a_look_where_the_plan_counts_on_it(
    job: JobRecord, schedule: CureSchedule
) -> None:
    days = tuple(
        replace(each, visits=each.visits[:1], rain_probability=0.8) if number == 3 else each
        for number, each in enumerate(schedule.watering)
    )
    counted, full = (Wording(job, replace(schedule, watering=days)).watering[each] for each in (3, 4))
    assert counted.note == "80% chance of rain. If it stays dry, water when the top turns pale."
    assert full.note == "40% chance of rain"


def test_the_note_of_a_day_is_where_there_is_room(job: JobRecord, schedule: CureSchedule) -> None:
    days = tuple(replace(each, visits=each.visits[:1], rain_probability=0.8) for each in schedule.watering)
    care = CareSheet(Wording(job, replace(schedule, watering=(schedule.watering[0], *days[1:]))), {})
    for day in care.days:
        cells = care.cells(day)
        assert sum(each.columns for each in cells) == len(care.columns)
        assert [visit for each in cells for visit in each.visits] == list(day.visits)
        printed = [*(each.note for each in cells if each.note), care.note_below(day)]
        assert [each for each in printed if each] == ([day.note] if day.note else [])
    assert care.cells(care.days[1])[-1].columns == len(care.columns) - 1


def test_a_note_has_a_line_of_its_own_where_no_column_is_free(job: JobRecord, schedule: CureSchedule) -> None:
    """In a narrow cell beside the hours it would run on for five lines."""
    wet = tuple(replace(each, rain_probability=0.8) for each in schedule.watering if each.visits)
    words = Wording(job, replace(schedule, watering=wet))
    care = CareSheet(words, {})
    full = [day for day in care.days if day.visits[-1].column == care.columns[-1]]
    assert full
    html = care_sheet_html(words)
    for day in full:
        assert care.note_below(day) == day.note
        assert not any(each.note for each in care.cells(day))
        assert re.search(rf'class="(note|[^"]* below)"[^>]*>.*{re.escape(day.note)}', html)


@pytest.mark.parametrize("is_cold", [True, False])
@pytest.mark.parametrize("method", ["sprinkler", "curing compound"])
def test_rain_and_frost_say_what_the_owner_does(
    job: JobRecord, schedule_with: Any, method: str, is_cold: bool
) -> None:
    """Of frost nothing is said in a mild week."""
    coated = schedule_with(method=method, **({"watering": ()} if method == "curing compound" else {}))
    if is_cold:
        coldest = (Figure("coldest_air", 1.0, "degC"), Figure("forecast_air", 3.0, "degC"))
        coated = replace(coated, cautions=(*coated.cautions, Caution("cold-weather", coldest)))
    printed = plain(care_sheet_html(Wording(job, coated)))
    watered = method == "sprinkler"
    assert ("If it rains hard for the whole time, skip that watering." in printed) == watered
    assert ("If it may freeze, do not water." in printed) == (watered and is_cold)


# ---- dates


def test_a_star_marks_what_no_forecast_reaches(job: JobRecord, schedule: CureSchedule) -> None:
    note = "* No forecast reaches so far."
    printed = plain(care_sheet_html(Wording(job, schedule)))
    assert "Wednesday, August 12*" in printed
    assert "Wednesday, July 22*" not in printed
    assert printed.count(note) == 2
    near = tuple(replace(each, basis="forecast") for each in schedule.milestones)
    assert note not in plain(care_sheet_html(Wording(job, replace(schedule, milestones=near))))
    unknown = tuple(
        replace(each, not_before=None, basis="typical", printed=None) for each in schedule.milestones
    )
    assert note not in plain(care_sheet_html(Wording(job, replace(schedule, milestones=unknown))))


KOLKATA = ZoneInfo("Asia/Kolkata")
moments = st.integers(0, 5 * 365 * 24 * 60).map(
    lambda minutes: (datetime(2024, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)).astimezone(KOLKATA)
)


@given(moments)
def test_what_waits_for_the_day_is_never_early(when: datetime) -> None:
    printed = by_day(when)
    assert WAKING_HOUR <= printed.time() < SLEEPING_HOUR
    assert timedelta() <= printed.astimezone(UTC) - when.astimezone(UTC) <= timedelta(hours=10)


def test_no_document_sends_an_owner_out_at_night(job: JobRecord, schedule: CureSchedule) -> None:
    """The calendar waits for the morning; sheet and page have the same hour."""
    night = datetime(2026, 7, 15, 3, 10, tzinfo=ZoneInfo(schedule.timezone))
    moved = tuple(
        replace(each, not_before=night, printed=None) if each.kind == MilestoneKind.FOOT_TRAFFIC else each
        for each in schedule.milestones
    )
    changed = replace(schedule, milestones=moved)
    words = Wording(job, changed)
    for html in (care_sheet_html(words), care_page_html(words)):
        assert "Wednesday, July 15 7:00 in the morning" in plain(html)
        assert "at night, Wednesday" not in plain(html)
    calendar = owner_calendar(words).decode().replace("\r\n ", "").replace("\\,", ",")
    assert "SUMMARY:Walk on it, not before 7:00 in the morning" in calendar
    assert "Not before 7:00 in the morning, Wednesday, July 15." in calendar


# ---- what the crew comes back for


def test_a_long_list_of_repairs_is_shortened_on_the_first_page(job_with: Any, schedule: CureSchedule) -> None:
    items = tuple({"item": f"Place {number}", "ok": False} for number in range(7))
    care = CareSheet(Wording(job_with(walkthrough=items), schedule), {})
    assert any("To mend: Place 0; Place 1; Place 2; Place 3; and 3 more." in line for line in care.crew)
    assert len(care.walkthrough) == 7


@asked
def test_without_a_number_no_paper_says_call(sample: str, language: str, sample_inputs: Any) -> None:
    """Seen: "Call before you act", and no number to call."""
    received, schedule = sample_inputs(sample)
    contractor = received.job.contractor.model_copy(update={"phone": None})
    job = received.job.model_copy(update={"contractor": contractor})
    words = Wording(job, schedule, language=language)
    body = care_sheet_html(words).partition("<body>")[2]
    printed = plain(f"{body} {owner_calendar(words).decode()}")
    calls = {"en": r"\bcall\b(?! in)", "es": r"\bll[aá]m(?:e|enos)\b"}[language]
    assert re.findall(f".{{30}}{calls}", printed, re.IGNORECASE) == []


@pytest.mark.parametrize("language", languages())
def test_a_room_that_must_stay_warm_is_on_the_first_screens(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """What must be done day and night is never folded away: it stands beside the number to call."""
    warm = Caution("room-heat", (Figure("room_air", 10.0, "degC"),))
    for cautions, key in (((warm,), "sheet.front-room"), ((Caution("room-closed"),), "sheet.front-closed")):
        words = Wording(job, replace(schedule, cautions=cautions), language=language, units="us")
        said = words.say(key, room_air=words.quantities.measure(10.0, "temperature"))
        for html in (care_page_html(words), care_sheet_html(words)):
            assert said in html[: html.index('class="dates"')]
    assert said not in care_sheet_html(Wording(job, schedule, language=language))
