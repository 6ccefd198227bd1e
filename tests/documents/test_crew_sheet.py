"""The crew sheet: one page for every job, the most urgent first, with the values of the crew's calendar."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pikepdf
import pytest

from handover.documents.calendars import crew_calendar
from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import DAY_KINDS, LINE, PAGE_ROOMS, CrewSheet
from handover.documents.crew_visits import crew_visits
from handover.documents.events import crew_events, owner_events
from handover.documents.pages import crew_sheet_html, sheet_pdf
from handover.documents.pdf import _layout
from handover.documents.templating import languages
from handover.documents.text_measure import MM
from handover.documents.translations import load_translations
from handover.documents.wording import Wording
from handover.practice.silica import respirators
from handover.schedule.cover_times import pipes_by
from handover.schedule.loading import OF_RISK, Material, materials_to_load, pour_weather
from handover.schedule.model import (
    Alert,
    Blanket,
    Caution,
    Figure,
    Joints,
    Measurement,
    MilestoneKind,
    Protection,
    Risk,
    SawWindow,
    SurfaceChoice,
    SurfaceTask,
)
from handover.schedule.printed_times import SLEEPING_HOUR, WAKING_HOUR, half_hour_down
from handover.schedule.surface_observations import SET_CONTRADICTED
from handover.schedule.tasks import with_tasks
from handover.service.summary import plan_summary

if TYPE_CHECKING:
    from handover.documents.pages import Paper
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LONG = "The Bartholomew Featherstonehaugh-Cholmondeley memorial WORKSHOP and boathouse by the lower mill pond"


def risk(code: str, schedule: CureSchedule, hours: float = 0.0) -> Risk:
    start = schedule.placement_start + timedelta(hours=hours)
    figures = {
        "frost": (Figure("coldest_surface", -3.0, "degC"), Figure("coldest_air", -9.0, "degC")),
        "rain-on-fresh": (Figure("rain", 4.0, "mm"),),
    }
    drying = (Figure("peak", 1.4, "kg/m2/h"), Figure("limit", 1.0, "kg/m2/h"))
    return Risk(
        code,
        start,
        start + timedelta(hours=2),
        start + timedelta(hours=1),
        figures.get(code, drying),
    )


def before_the_pour(schedule: CureSchedule, *risks: Risk, **parts: Any) -> CureSchedule:
    return replace(schedule, issued_at=schedule.placement_start - timedelta(hours=2), risks=risks, **parts)


@pytest.mark.parametrize(("code", "thing"), OF_RISK.items())
def test_a_measure_that_is_worthwhile_is_loaded_until_its_hours_are_over(
    job: JobRecord, schedule: CureSchedule, code: str, thing: str
) -> None:
    slab = job.slab.model_copy(update={"width": 3.6})  # boards reach over it
    job = job.model_copy(update={"slab": slab})
    dangerous = before_the_pour(schedule, risk(code, schedule))
    assert Material(thing) in materials_to_load(dangerous, job)  # type: ignore[arg-type]
    over = replace(dangerous, issued_at=schedule.placement_start + timedelta(hours=3))
    assert Material(thing) not in materials_to_load(over, job)  # type: ignore[arg-type]


def test_a_danger_of_a_moment_has_hours_that_last(job: JobRecord, schedule: CureSchedule) -> None:
    """Seen: "6:30 to 6:30 am"."""
    start = schedule.placement_start.replace(minute=30)
    moment = replace(risk("drying-watch", schedule), start=start, end=start, peak_at=start)
    words = Wording(job, before_the_pour(schedule, moment))
    title = words.say("risk.drying-watch.title")
    (row,) = (each for each in CrewSheet(words).rows("dangers") if each.what.startswith(title))
    assert row.when == words.speak.short_span(start, start + timedelta(minutes=30))


def test_each_visit_of_the_calendar_is_on_the_sheet_and_in_the_plan(
    job: JobRecord, schedule: CureSchedule
) -> None:
    wording = Wording(job, before_the_pour(schedule))
    visits = [each for each in crew_events(wording) if each.kind not in DAY_KINDS]
    rows = CrewSheet(wording).rows("visits")
    assert len(rows) == len(visits) > 0
    for event, row in zip(visits, rows, strict=True):
        work = row.what.removesuffix(event.promise).strip().removesuffix(".")
        assert event.title.startswith(work)
    plan = plan_summary(wording)
    listed = " ".join(what for _, what in (*plan.dates, *plan.visits))
    assert all(listed.count(each.what.split(".")[0]) == 1 for each in rows)  # each once


@pytest.mark.parametrize("language", languages())
def test_a_cover_before_rain_is_a_visit_once_the_crew_has_left(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Who covers the slab comes back for it; the papers say when the cover comes off, and by whom."""
    done = schedule.finished or schedule.placement_end
    after = (done - schedule.placement_start) / timedelta(hours=1) + 3.0
    rainy = before_the_pour(schedule, risk("rain-on-fresh", schedule, after))
    words = Wording(job, rainy, language=language)
    (rain,) = words.surface.rains
    (row,) = (each for each in CrewSheet(words).rows("visits") if each.kind == "rain-cover")
    off = words.say("event.rain-cover.off")
    assert row.detail.endswith(off)
    assert off in next(each for each in crew_events(words) if each.kind == "rain-cover").description
    assert rain.owner in crew_visits(words)
    early = before_the_pour(schedule, risk("rain-on-fresh", schedule, 1.0))
    sheet = CrewSheet(Wording(job, early, language=language))
    assert not any(each.kind == "rain-cover" for each in sheet.rows("visits"))


@pytest.mark.parametrize("language", languages())
def test_a_cover_that_is_due_is_on_the_sheet_until_the_rain_is_there(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """As the crew's calendar has it: "now", up to the rain; then nobody is asked to lay it any more."""
    done = schedule.finishing_ends
    rain = risk("rain-on-fresh", schedule, (done - schedule.placement_start) / timedelta(hours=1) + 1.0)
    planned = before_the_pour(schedule, rain)
    for minutes, lists in ((20, True), (59, True), (60, False), (90, False)):
        issued = replace(planned, issued_at=done + timedelta(minutes=minutes), tasks=())
        words = Wording(job, issued, language=language)
        rows = [each for each in CrewSheet(words).rows("visits") if each.kind == "rain-cover"]
        last = words.speak.short_hour(rain.start)
        assert [each.when for each in rows] == ([words.say("crew.now-until", last=last)] if lists else [])
        assert all(words.surface.rains[0].text.startswith(each.detail[:40]) for each in rows)


@pytest.mark.parametrize("language", languages())
def test_the_crew_takes_off_the_plastic_that_it_laid_against_rain(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """By day, in every paper of the crew and among the owner's visits; of two rains, after the last."""
    rain = risk("rain-on-fresh", schedule, 15.0)
    soon = replace(rain, start=rain.end + timedelta(hours=1), end=rain.end + timedelta(hours=2))
    coated = replace(before_the_pour(schedule, rain, soon), curing_method="curing compound", surface=None)
    words = Wording(job, replace(coated, tasks=()), language=language)
    [off] = words.schedule.tasks_of("crew", "rain-cover-off")
    assert soon.end <= off.start < soon.end + timedelta(hours=13)
    assert WAKING_HOUR <= off.start.time() < SLEEPING_HOUR
    [row] = (each for each in CrewSheet(words).rows("visits") if each.kind == "rain-cover-off")
    assert words.say("event.rain-cover-off.text") in row.detail
    assert [each.start for each in crew_events(words) if each.kind == "rain-cover-off"] == [off.start]
    when = words.speak.moment(off.start).text
    assert words.say("sheet.crew-rain-cover-off", when=when) in crew_visits(words)


@pytest.mark.parametrize("language", languages())
def test_the_papers_give_one_end_to_the_cover_against_rain_and_drying(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """The crew's rain cover stays until the first water, as its work on the surface and the owner have it."""
    start = schedule.finishing_ends
    until, drawn = start + timedelta(hours=8), start + timedelta(hours=1)
    way = SurfaceChoice("sheet-rain", start, drawn, 1.0, 0.0)
    task = SurfaceTask(
        "damp",
        start,
        start,
        drawn,
        until,
        finish_recorded=True,
        choices=(way,),
        figures=(),
        source="a rule",
        mark="common practice",
    )
    first = (start - schedule.placement_start) / timedelta(hours=1) + 3.0
    planned = replace(before_the_pour(schedule, risk("rain-on-fresh", schedule, first)), surface=task)
    words = Wording(job, replace(planned, tasks=()), language=language)
    end = words.speak.moment(until.astimezone(ZoneInfo(schedule.timezone))).text
    [rain] = words.surface.rains
    assert rain.text.endswith(words.say("event.rain-cover.stays", until=end))
    assert words.say("event.rain-cover.off") not in rain.text
    assert words.surface.task is not None
    assert end in words.surface.task.owner


def test_a_sheet_that_cures_the_slab_stays_on_after_rain(job: JobRecord, schedule: CureSchedule) -> None:
    rainy = before_the_pour(schedule, risk("rain-on-fresh", schedule, 3.0))
    sheet = with_tasks(replace(rainy, curing_method="plastic sheet", surface=None, tasks=()), job)
    assert sheet.tasks_of("crew", "rain-cover")
    assert not sheet.tasks_of("crew", "rain-cover-off")


@pytest.mark.parametrize("language", languages())
def test_plastic_against_rain_is_off_a_coloured_top_at_once(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Common practice: plastic marks a coloured top; rain is the one exception, and only held clear of it."""
    slab = job.slab.model_copy(update={"coloured": True})
    rainy = before_the_pour(schedule, risk("rain-on-fresh", schedule, 6.0))
    words = Wording(job.model_copy(update={"slab": slab}), rainy, language=language)
    (rain,) = words.surface.rains
    assert rain.text.endswith(words.say("event.rain-cover.off-marks"))
    assert words.say("event.rain-cover.off") not in rain.text
    assert rain.owner != Wording(job, rainy, language=language).surface.rains[0].owner


@pytest.mark.parametrize("language", languages())
def test_the_crew_is_asked_whether_the_joints_were_cut(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Once the hours of the saw are past, and only then: nobody said that they were cut."""
    saw = next(each for each in schedule.milestones if each.kind == MilestoneKind.SAW_JOINTS)
    assert saw.not_after is not None
    asked = f"{load_translations(language).say('event.look-joints.title')}."
    for hours, is_asked in ((-1, False), (24, True)):
        issued = replace(schedule, issued_at=saw.not_after + timedelta(hours=hours), tasks=())
        rows = CrewSheet(Wording(job, with_tasks(issued, job), language=language)).rows("visits")
        assert (asked in [each.what for each in rows]) == is_asked
        assert any(each.kind == MilestoneKind.SAW_JOINTS for each in rows) != is_asked


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(("hours", "day"), [(24.0, 1), (33.0, 0)])
def test_who_is_asked_for_the_joints_has_what_cutting_needs(
    job: JobRecord, schedule: CureSchedule, language: str, hours: float, day: int
) -> None:
    """Saw and respirator are loaded, and the calendar has the question: now, or at night for the morning."""
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    assert saw is not None
    assert saw.not_after is not None
    outdoors = tuple(each for each in respirators() if not each.enclosed)
    issued_at = saw.not_after + timedelta(hours=hours)
    issued = replace(
        schedule, issued_at=issued_at, joints=Joints((), None, 0.03, 0.03, 4.0, None, outdoors), tasks=()
    )
    wording = Wording(job, with_tasks(issued, job), units="si", language=language)
    title = wording.say("event.look-joints.title")
    (event,) = (each for each in crew_events(wording) if each.kind == "look-joints")
    assert event.title.startswith(title)
    assert "30\N{NO-BREAK SPACE}mm" in event.description
    assert title.encode() in crew_calendar(wording).replace(b"\r\n ", b"")
    local = event.start.astimezone(issued_at.tzinfo)  # type: ignore[union-attr]
    assert local.date() == issued_at.date() + timedelta(days=day)
    assert WAKING_HOUR <= local.time() < SLEEPING_HOUR
    loaded = materials_to_load(wording.schedule, job)
    assert Material("saw") in loaded
    assert Material("respirator", protection_factor=10.0) in loaded  # OSHA, over four hours outdoors
    cured = replace(issued, issued_at=schedule.placement_end + timedelta(days=8), tasks=())
    assert not {"saw", "respirator"} & {each.code for each in materials_to_load(cured, job)}


def heated(job: JobRecord, schedule: CureSchedule) -> Wording:
    """A heated slab with a frost in the second night."""
    record = job.model_copy(update={"slab": job.slab.model_copy(update={"heated": True})})
    cautions = Caution("heated", (Figure("rise", 5.0, "K"),)), Caution("pipes-freeze")
    return Wording(record, before_the_pour(schedule, risk("frost", schedule, 44.0), cautions=cautions))


def test_who_saws_a_heated_slab_reads_of_the_pipes_first(job: JobRecord, schedule: CureSchedule) -> None:
    """In the calendar, on the sheet, and in the title, which is all that the list of a day has."""
    wording = heated(job, schedule)
    (saw,) = (each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS)
    assert "heating" in saw.title
    for word in ("depth", "pressure", "drawings"):
        assert word in saw.description.splitlines()[0]
    (row,) = (each for each in CrewSheet(wording).rows("visits") if each.what.startswith("Saw"))
    assert row.detail.startswith(saw.description.splitlines()[0])
    dry = Wording(job, before_the_pour(schedule))
    assert not any("heating" in f"{each.title} {each.description}" for each in crew_events(dry))


@pytest.mark.parametrize("language", ["en", "es"])
def test_pipes_under_pressure_hold_no_water_where_they_may_freeze(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """The crew that cuts and the owner read the same: air or antifreeze."""
    cold = heated(job, schedule)
    mild = replace(cold.schedule, cautions=(Caution("heated", (Figure("rise", 5.0, "K"),)),), risks=())
    for each, is_said in ((cold.schedule, True), (mild, False)):
        wording = Wording(cold.job, each, language=language)
        (saw,) = (event for event in crew_events(wording) if event.kind == MilestoneKind.SAW_JOINTS)
        assert (wording.say("milestone.words.saw-over-pipes-frost") in saw.description) == is_said
    owner, antifreeze = wording.say("caution.pipes-freeze.text"), {"en": "antifreeze", "es": "anticongelante"}
    for text in (owner, wording.say("milestone.words.saw-over-pipes-frost")):
        assert antifreeze[language] in text


def test_no_water_is_left_in_the_pipes_before_the_frost(job: JobRecord, schedule: CureSchedule) -> None:
    wording = heated(job, schedule)
    (frost,) = wording.schedule.risks
    (pipes,) = (each for each in crew_events(wording) if each.kind == "pipes-frost")
    by = pipes_by(wording.schedule)
    assert pipes.end == by
    assert by is not None
    assert frost.start - timedelta(hours=24) < by < frost.start
    assert wording.schedule.placement_end < by
    when = wording.speak.moment(by).text
    assert any("pipes" in line and when in line for line in crew_visits(wording))


def soaked(job: JobRecord, schedule: CureSchedule) -> Wording:
    """A soaker hose on a timer, with its first water before the owner may walk there."""
    curing = job.curing.model_copy(update={"method": "soaker hose", "timer": True})
    return Wording(
        job.model_copy(update={"curing": curing}), before_the_pour(schedule, curing_method="soaker hose")
    )


def test_the_saw_the_hose_and_its_timer_are_loaded(job: JobRecord, schedule: CureSchedule) -> None:
    wording = soaked(job, schedule)
    loaded = {each.code for each in materials_to_load(wording.schedule, wording.job)}
    assert {"saw", "soaker-hose", "timer"} <= loaded
    later = replace(wording.schedule, issued_at=schedule.placement_start + timedelta(days=3))
    assert not {"saw", "soaker-hose", "timer"} & {each.code for each in materials_to_load(later, wording.job)}


@pytest.mark.parametrize("enclosed", [True, False])
def test_indoors_nobody_saws_without_a_respirator(
    job: JobRecord, schedule: CureSchedule, enclosed: bool
) -> None:
    """OSHA 29 CFR 1926.1153 table 1: APF 10 indoors from the first cut on; outdoors none up to four hours."""
    dust = tuple(each for each in respirators() if each.enclosed == enclosed)
    joints = Joints((), schedule.placement_end, 0.03, 0.03, 4.0, None, dust)
    wording = Wording(job, before_the_pour(schedule, joints=joints))
    (saw,) = (each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS)
    sheet = CrewSheet(wording)
    (row,) = (each for each in sheet.rows("visits") if each.kind == MilestoneKind.SAW_JOINTS)
    for text in (saw.description, row.detail, sheet.load):
        assert ("respirator of protection factor 10 " in text) == enclosed


@pytest.mark.parametrize(("hour", "dark"), [(13, False), (21, True)])
def test_lights_are_loaded_where_joints_are_sawn_after_dusk(
    job: JobRecord, schedule: CureSchedule, hour: int, dark: bool
) -> None:
    """Nine in the evening is dark in July, by the almanac."""
    begins = schedule.placement_start.replace(hour=hour)
    dates = tuple(
        replace(each, likely=begins, not_before=begins, not_after=begins + timedelta(hours=2))
        if each.kind == MilestoneKind.SAW_JOINTS
        else each
        for each in schedule.milestones
    )
    late = before_the_pour(schedule, milestones=dates, joints=None)
    assert (Material("lights") in materials_to_load(late, job)) == dark


@pytest.mark.parametrize(("issued", "dark"), [(11, True), (19, True), (23, False)])
def test_no_lights_are_loaded_for_a_way_that_nobody_takes(
    job: JobRecord, schedule: CureSchedule, issued: int, dark: bool
) -> None:
    """The sheet is drawn until ten at night, and then lies: no compound is sprayed at four in the morning.

    Nor is the sheet loaded that is to lie.
    """
    evening = schedule.placement_end.replace(hour=18, minute=0)
    drawn, before_dawn = evening + timedelta(hours=4), evening + timedelta(hours=10)
    task = SurfaceTask(
        work="damp",
        start=evening,
        not_after=None,
        cover_from=None,
        until=evening + timedelta(hours=14),
        finish_recorded=True,
        choices=(
            SurfaceChoice("sheet-overnight", evening, drawn, 1.0, 0.0),
            SurfaceChoice("compound", drawn, before_dawn, 1.0, 0.0),
        ),
        figures=(),
        source="a rule",
        mark="common practice",
    )
    issued_at = schedule.placement_end.replace(hour=issued, minute=0)
    by_day = replace(schedule, surface=task, joints=None, issued_at=issued_at, watering=())
    unsawn = tuple(each for each in by_day.milestones if each.kind != MilestoneKind.SAW_JOINTS)
    slab = job.slab.model_copy(update={"width": 3.6})  # boards reach over it
    job = job.model_copy(update={"slab": slab})
    loaded = materials_to_load(replace(by_day, milestones=unsawn, tasks=()), job)
    assert ({"white-plastic", "boards"} <= {each.code for each in loaded}) == (issued <= 22)
    assert (Material("lights") in loaded) == dark


def test_the_distance_of_the_loops_is_in_the_readers_units(job: JobRecord, schedule: CureSchedule) -> None:
    wording = soaked(job, schedule)
    for units, words in (("us", "2\N{NO-BREAK SPACE}ft"), ("si", "0.6\N{NO-BREAK SPACE}m")):
        reader = Wording(wording.job, wording.schedule, units=units)  # type: ignore[arg-type]
        (hose,) = (each for each in crew_events(reader) if each.kind == "lay-hose")
        assert words in hose.description
        assert "feet" not in hose.description


def test_air_and_drying_go_to_the_last_hour_of_the_saw(job: JobRecord, schedule: CureSchedule) -> None:
    """The warmest hour and the fastest drying are those of the data sheet, of the hours of the work."""
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    air = pour_weather(with_tasks(before_the_pour(schedule), job))
    assert air is not None
    assert saw is not None
    assert saw.not_before is not None
    late = saw.not_before + timedelta(hours=9)
    dates = tuple(
        replace(each, likely=saw.not_before, not_after=late) if each is saw else each
        for each in schedule.milestones
    )
    longer = pour_weather(with_tasks(before_the_pour(schedule, milestones=dates, joints=None), job))
    assert longer is not None
    weather, history = schedule.weather, schedule.history
    first, last = (
        np.datetime64(each.astimezone(UTC).replace(tzinfo=None)) for each in (schedule.placement_start, late)
    )
    within = (weather.time >= first) & (weather.time <= last - np.timedelta64(30, "m"))
    assert longer.warmest_c == weather.air_c[within].max()
    assert longer.drying >= air.drying > 0
    assert longer.drying in history.evaporation


@pytest.mark.parametrize(("air_c", "is_said"), [(26.0, False), (28.0, True), (40.0, True)])
def test_people_get_shade_and_water_in_the_heat(
    job: JobRecord, schedule: CureSchedule, air_c: float, is_said: bool
) -> None:
    """8 CCR 3395: shade where the air is above 80 degF, which is 26.7 degC."""
    weather = replace(schedule.weather, air_c=np.full(len(schedule.weather.air_c), air_c))
    wording = Wording(job, before_the_pour(schedule, weather=weather))
    sheet = CrewSheet(wording)
    said = [each for each in sheet.rows("dangers") if each.what == wording.say("crew.heat")]
    assert bool(said) == is_said
    assert (wording.say("crew.material.shade-water") in sheet.load) == is_said


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", ["ticket_limit", "usual_limit"])
def test_the_time_limit_of_the_trucks_is_on_the_sheet(
    job: JobRecord, schedule: CureSchedule, language: str, name: str
) -> None:
    """The schedule has it until the pour is over, by what sets it."""
    limited = before_the_pour(schedule, figures=(Figure(name, 115.0, "min"),))
    wording = Wording(job, limited, language=language)
    [row] = (
        each for each in CrewSheet(wording).rows("dangers") if each.when == wording.say("crew.trucks.when")
    )
    assert row.what == wording.say(f"crew.trucks.{name}", limit=wording.quantities.figure(limited.figures[0]))
    assert "115" in row.what
    took = Figure("time_to_discharge", 130.0, "min")
    late = Caution("late-discharge", (took, Figure("limit", 115.0, "min")))
    slow = Wording(job, replace(limited, cautions=(late,)), language=language)
    [row] = (each for each in CrewSheet(slow).rows("dangers") if each.when == slow.say("crew.trucks.when"))
    assert row.detail == slow.say("crew.trucks.planned", took=slow.quantities.figure(took))
    none = CrewSheet(Wording(job, before_the_pour(schedule), language=language))
    assert wording.say("crew.trucks.when") not in {each.when for each in none.rows("dangers")}


def test_a_late_load_is_the_crews_to_look_at_until_the_slab_has_set(
    job: JobRecord, schedule: CureSchedule
) -> None:
    took = (Figure("time_to_discharge", 115.0, "min"), Figure("limit", 90.0, "min"))
    late = Caution("late-discharge", (*took, Figure("ticket_limit", 90.0, "min")))
    [final] = (each for each in schedule.milestones if each.kind == MilestoneKind.FINAL_SET)
    for issued, is_said in (
        (schedule.placement_end - timedelta(minutes=1), False),  # it is still to come
        (schedule.placement_end, True),
        (final.not_before, False),
    ):
        wording = Wording(job, replace(schedule, issued_at=issued, cautions=(late,)))
        values = {"time_to_discharge": "115\N{NO-BREAK SPACE}min", "limit": "90\N{NO-BREAK SPACE}min"}
        title, text = (
            wording.say(f"caution.late-discharge.{each}", **values) for each in ("title", "text-ticket")
        )
        rows = [each for each in CrewSheet(wording).rows("dangers") if each.what == title]
        assert bool(rows) == is_said
        assert [each.detail for each in rows] == [text] * is_said


def test_what_the_owner_reads_is_as_the_care_sheet_prints_it(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    printed = {each.title: each.when.lower() for each in CareSheet(wording, {}).main}
    rows = CrewSheet(wording).rows("owner")[1:]
    for_the_crew = {each.what.removesuffix("."): each.when.lower() for each in rows}
    assert for_the_crew
    assert for_the_crew.items() <= printed.items()
    assert list(for_the_crew) == [title for title in printed if title in for_the_crew]


def test_a_frost_that_blankets_keep_off_is_a_danger_while_they_lie(
    job: JobRecord, schedule: CureSchedule
) -> None:
    start = schedule.placement_start
    bare = Blanket(0.0, -8.6, None, start.replace(hour=22, minute=50))
    covered = Blanket(1.2, 4.8, start + timedelta(hours=60), None)
    protection = Protection((bare, covered), 0.35, 1.2, start + timedelta(hours=60), 28.0, 17.0, 3.0)
    cold = replace(before_the_pour(schedule), protection=protection)
    (frost,) = (each for each in CrewSheet(Wording(job, cold)).rows("dangers") if "blankets" in each.what)
    assert "17\N{NO-BREAK SPACE}°F" in frost.detail  # -8.6 degC, rounded
    assert "10:30 pm" in frost.when
    for each in (
        replace(protection, laid=0.0),
        replace(protection, blankets=(replace(bare, freezes_from=None), covered)),
        replace(protection, until=cold.issued_at),
    ):
        rows = CrewSheet(Wording(job, replace(cold, protection=each))).rows("dangers")
        assert not [row for row in rows if "blankets" in row.what]


def test_who_lays_a_sheet_reads_until_when_the_top_may_be_bare(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """The hours of the data sheet: too dry from, and frost without a cover, if it comes in the first day."""
    finished = schedule.placement_end.replace(hour=14, minute=0)
    laid, dry = finished.replace(hour=22), finished.replace(hour=20)
    task = SurfaceTask(
        work="cover",
        start=finished,
        not_after=dry,
        cover_from=laid,
        until=laid + timedelta(hours=1),
        finish_recorded=True,
        choices=(SurfaceChoice("lay", laid, laid + timedelta(hours=1), 1.0, 0.0),),
        figures=(),
        source="a rule",
        mark="common practice",
    )
    for frost, is_said in (
        (finished.replace(hour=23, minute=10), True),
        (finished + timedelta(days=3), False),
    ):
        bare = Blanket(0.0, -8.6, None, frost)
        cold = before_the_pour(
            schedule,
            surface=task,
            curing_method="plastic sheet",
            protection=Protection((bare,), 0.35, 0.0, None, 28.0, None, 3.0),
        )
        wording = Wording(job, cold)
        row = CrewSheet(wording).rows("surface")[0]
        assert wording.speak.hour(dry) in row.detail
        assert (wording.speak.hour(frost.replace(minute=0)) in row.detail) == is_said


def crowded(schedule: CureSchedule) -> CureSchedule:
    """Dangers at every hour, a week of frosts, and warnings."""
    start = schedule.placement_start
    alerts = tuple(Alert("wind", LONG, start, start + timedelta(hours=9), LONG) for _ in range(5))
    dangers = [risk(code, schedule, 3.0 * hour) for hour in range(6) for code in OF_RISK]
    nights = [risk("frost", schedule, 20.0 + 24.0 * night) for night in range(7)]
    weather = replace(schedule.weather, alerts=alerts)
    return before_the_pour(schedule, *dangers, *nights, weather=weather)


def crowd(job: JobRecord) -> JobRecord:
    site = job.site.model_copy(update={"name": LONG, "address": f"{LONG}, {LONG}"})
    item = job.walkthrough[0].model_copy(update={"item": LONG, "ok": False, "note": LONG})
    return job.model_copy(update={"site": site, "walkthrough": (item,) * 20})


@pytest.mark.parametrize(
    ("language", "paper", "units"), [("en", "letter", "us"), ("es", "letter", "us"), ("es", "a4", "si")]
)
def test_it_is_one_page_whatever_the_job_brings(
    job: JobRecord, schedule: CureSchedule, language: str, paper: Paper, units: Any
) -> None:
    wording = Wording(crowd(job), crowded(schedule), language=language, units=units)
    assert CrewSheet(wording).left_out
    with pikepdf.open(io.BytesIO(sheet_pdf(crew_sheet_html(wording, paper=paper)))) as pdf:
        assert len(pdf.pages) == 1


def heights_of(html: str) -> tuple[list[float], float, int]:
    """Return the height of each row and the space below the last line, in pt, and the number of pages."""
    document = _layout(html)
    rows: list[float] = []
    last = 0.0

    def walk(box: Any) -> None:
        nonlocal last
        if type(box).__name__ == "MarginBox":
            return
        if box.element_tag in {"tr", "p"} and hasattr(box, "width"):
            last = max(last, box.border_box_y() + box.border_height())
            rows.extend([box.border_height() * 0.75] * (box.element_tag == "tr"))
        for child in getattr(box, "children", ()):
            walk(child)

    page = document.pages[-1]
    walk(page._page_box)
    return rows, (page.height - last) * 0.75 - 13.0 * MM, len(document.pages)


@pytest.mark.parametrize("paper", PAGE_ROOMS)
@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("is_crowded", [False, True])
def test_the_page_is_measured_as_the_engine_lays_it_out(
    job: JobRecord, schedule: CureSchedule, language: str, paper: Paper, is_crowded: bool
) -> None:
    """No row is higher than measured, and few are lower: the page is full where something is left out."""
    slab = crowded(schedule) if is_crowded else before_the_pour(schedule)
    wording = Wording(crowd(job) if is_crowded else job, slab, language=language)
    sheet = CrewSheet(wording, PAGE_ROOMS[paper])
    measured = [
        sheet._row_height(row, with_detail=bool(row.detail)) for each in sheet.sections for row in each.rows
    ]
    rows, free, pages = heights_of(crew_sheet_html(wording, paper=paper))
    assert pages == 1
    assert all(real <= high + 0.1 for real, high in zip(rows, measured, strict=True))
    assert sum(measured) - sum(rows) <= 3 * LINE  # the engine breaks at hyphens, too
    assert bool(sheet.left_out) == is_crowded
    assert not is_crowded or free <= 8 * LINE


def test_a_detail_that_does_not_fit_makes_room_for_less_urgent_lines(
    job: JobRecord, schedule: CureSchedule
) -> None:
    wording = Wording(job, before_the_pour(schedule))
    whole = CrewSheet(wording)
    long = replace(whole.whole[0].rows[0], detail=" ".join([LONG] * 200), detail_rank=1)
    first, *others = whole.whole
    whole.whole = (replace(first, rows=(long, *first.rows[1:])), *others)
    kept = [row for each in whole.sections for row in each.rows]
    assert kept[0].what == long.what
    assert not kept[0].detail
    assert len(kept) == sum(len(each.rows) for each in whole.whole)
    assert whole.left_out == wording.say("crew.left-out-details", n=1)


def test_details_left_out_are_called_details(job: JobRecord, schedule: CureSchedule) -> None:
    """All visits stand there: the note does not say that some are left out."""
    wording = Wording(job, crowded(schedule))
    seen = set()
    for room in range(150, 10, -1):
        sheet = CrewSheet(wording, replace(PAGE_ROOMS["letter"], height=room * LINE))
        count, details = sheet._cut[1], any(row.detail for each in sheet.sections for row in each.rows)
        whole, kept = (sum(len(each.rows) for each in part) for part in (sheet.whole, sheet.sections))
        key = "crew.left-out-details" if kept == whole else "crew.left-out"
        assert sheet.left_out == (wording.say(key, n=count) if count else "")
        seen.add(key if count else "")
        assert details or kept < whole
    assert seen == {"", "crew.left-out-details", "crew.left-out"}


@pytest.mark.parametrize("language", languages())
def test_the_call_that_the_owner_is_promised_stays_where_details_go(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """As long as the visit is on the sheet, so is the call before it, and once."""
    wording = Wording(job, schedule, language=language)
    call = wording.say("event.walk-through.hour-crew")
    assert wording.say("event.walk-through.hour") in "".join(
        each.description for each in owner_events(wording)
    )
    dropped = False
    for room in range(80, 20, -1):
        sheet = CrewSheet(wording, replace(PAGE_ROOMS["letter"], height=room * LINE))
        rows = (row for part in sheet.sections for row in part.rows if row.kind == "walk-through")
        for row in rows:
            assert row.text.count(call) == 1
            dropped = dropped or not row.detail
    assert dropped


def test_what_does_not_fit_is_left_out_by_rank(job: JobRecord, schedule: CureSchedule) -> None:
    """With less and less room, no line stays while a more urgent one goes."""
    wording = Wording(job, crowded(schedule))
    counts = []
    for room in (60.0, 40.0, 25.0, 14.0):
        sheet = CrewSheet(wording, replace(PAGE_ROOMS["letter"], height=room * LINE))
        kept = {(each.code, row.when, row.what) for each in sheet.sections for row in each.rows}
        ranks = {(each.code, row.when, row.what): row.rank for each in sheet.whole for row in each.rows}
        most = max((ranks[each] for each in kept), default=0)
        assert all(each in kept for each, rank in ranks.items() if rank < most)
        counts.append(len(kept))
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] < counts[0]


def test_things_are_loaded_in_the_order_of_their_use(schedule: CureSchedule, job: JobRecord) -> None:
    """The windbreak stands before the fog, and that before the retarder, whichever hour comes first."""
    hours = {"evaporation-retarder": 1.0, "fog": 2.0, "windbreak": 3.0, "rain-on-fresh": 0.5}
    risks = tuple(risk(code, schedule, at) for code, at in hours.items())
    coat = SurfaceChoice(
        "compound", schedule.placement_end, schedule.placement_end + timedelta(hours=1), 1.0, 0.0
    )
    dangerous = replace(
        schedule,
        issued_at=schedule.placement_start,
        risks=risks,
        surface=replace(coated(schedule), choices=(coat,)),
        tasks=(),
    )
    codes = [each.code for each in materials_to_load(dangerous, job)]
    used = ["windbreak", "fog-nozzle", "evaporation-retarder", "rain-plastic-wide", "compound", "saw"]
    assert [each for each in codes if each in used] == used


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(
    ("left_h", "ending_of"), [(1.5, "by"), (0.5, "short"), (0.05, "late"), (-0.4, "late")]
)
def test_a_coat_that_cannot_be_done_in_time_begins_with_the_oldest_part(
    job: JobRecord, schedule: CureSchedule, language: str, left_h: float, ending_of: str
) -> None:
    """Half an hour is left at the time of issue, and the crew needs an hour.

    An hour that is the time of issue in print, or past, is no deadline: the crew does not wait.
    """
    start = schedule.placement_end
    coat = SurfaceChoice("compound", start, start + timedelta(hours=3), 1.0, 0.0)
    late = start + timedelta(hours=2)
    task = replace(coated(schedule), not_after=late, choices=(coat,))
    issued = replace(schedule, issued_at=late - timedelta(hours=left_h), surface=task, tasks=())
    words = Wording(job, with_tasks(issued, job), language=language).surface.to_come
    assert words is not None
    say = load_translations(language).say
    key = f"surface.way.coat-{ending_of}"
    ending = say(key, spray="|", dry="|").rpartition("|")[2]
    assert words.choices[0].line.rstrip().find(ending.strip()) > 0


def coated(schedule: CureSchedule) -> SurfaceTask:
    end = schedule.placement_end
    return SurfaceTask(
        "compound", end, None, None, end + timedelta(hours=1), True, (), (), "invented", "computed"
    )


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_pour_over_midnight_names_each_day_once(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "Pour: Tuesday, August 18, Tue Aug 18, 11:00 pm to ..."."""
    late = schedule.placement_start.replace(hour=23)
    overnight = replace(
        schedule, placement_start=late, placement_end=late + timedelta(hours=2), issued_at=late, tasks=()
    )
    sheet = CrewSheet(Wording(job, overnight, language=language))
    long, short = sheet.speak.day(late), sheet.speak.short_day(late)
    assert sheet.pour.count(short) == 1
    assert long not in sheet.pour
    assert sheet.speak.short_day(late + timedelta(hours=2)) in sheet.pour
    assert CrewSheet(Wording(job, schedule, language=language)).pour.count(long) == 1


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_cut_through_the_compound_is_sprayed_again(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Common practice, no source: the saw opens the coat. Not where the compound waits."""
    curing = job.curing.model_copy(update={"method": "curing compound"})
    end = schedule.placement_end
    for how, is_on in (("compound", True), ("compound-after-rain", False)):
        way = SurfaceChoice(how, end, end + timedelta(hours=1), 1.0, 0.0)
        coat = before_the_pour(
            schedule, curing_method="curing compound", surface=replace(coated(schedule), choices=(way,))
        )
        record = job.model_copy(update={"curing": curing})
        wording = Wording(record, coat, language=language)
        (saw,) = (each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS)
        assert (wording.say("milestone.words.saw-coated") in saw.description) == is_on
        assert Material("compound") in materials_to_load(coat, record)


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_last_pass_before_first_set_is_the_crews_to_check(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Its hour is wrong, or the top was closed over bleed water: the crew reads it, not only the office."""
    age = Figure("age", 3.0, "h"), Figure("first_set_early", 5.0, "h"), Figure("first_set", 6.0, "h")
    at = schedule.placement_end
    for outcome, is_said in ((SET_CONTRADICTED, True), ("set-narrowed", False)):
        record = Measurement("finishing", "", at, age[:1], age[1:], outcome)
        wording = Wording(job, replace(schedule, measurements=(record,)), language=language)
        said = [
            each
            for each in CrewSheet(wording).rows("dangers")
            if each.what == wording.say("crew.closed-early")
        ]
        assert len(said) == is_said
        assert all(each.detail == wording.say("crew.closed-early-text") and each.rank == 1 for each in said)


@pytest.mark.parametrize("is_dated", [True, False])
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(("how", "lifts"), [("sheet-overnight", True), ("fog-cover", False)])
def test_who_saws_may_step_on_it_and_lifts_the_sheet_that_lies(
    job: JobRecord, schedule: CureSchedule, language: str, how: str, lifts: bool, is_dated: bool
) -> None:
    """Seen: nobody steps on it before seven, and the joints are cut before midnight, with plastic on.

    Where no hour of the saw could be computed, a trial cut decides, and the cover waits for it as well.
    """
    end = schedule.placement_end
    way = SurfaceChoice(how, end, end + timedelta(hours=1), 1.0, 0.0)
    laid, until = end + timedelta(hours=14), end + timedelta(hours=20)
    task = replace(coated(schedule), work="damp", cover_from=laid, until=until, choices=(way,))
    hours: dict[str, Any] = {"not_after": end + timedelta(hours=10)}
    if not is_dated:
        hours = {"not_before": None, "not_after": None}
    sawn = tuple(
        replace(each, **hours) if each.kind == MilestoneKind.SAW_JOINTS else each
        for each in schedule.milestones
    )
    wording = Wording(job, before_the_pour(schedule, surface=task, milestones=sawn), language=language)
    note = wording.surface.to_come.note if wording.surface.to_come else ""
    assert (wording.say("surface.saw-sheet") in note) == lifts
    assert (wording.say("surface.saw") in note) != lifts
    keeps_on = {"en": "fold it back along the line only", "es": "dóblela solo en la línea"}[language]
    assert (keeps_on in note) != lifts  # seen: to saw before it is covered left the top bare for hours
    assert {"en": "and to saw.", "es": "y para cortar."}[language] in note


@pytest.mark.parametrize("language", ["en", "es"])
def test_under_the_cover_of_a_slab_without_joints_nobody_saws(
    job: JobRecord, schedule: CureSchedule, language: str
) -> None:
    """Seen: "nobody steps on it but to try a cut and to saw" on a slab with tendons that must not be cut."""
    end = schedule.placement_end
    way = SurfaceChoice("sheet-overnight", end, end + timedelta(hours=1), 1.0, 0.0)
    task = replace(
        coated(schedule),
        work="damp",
        cover_from=end + timedelta(hours=14),
        until=end + timedelta(hours=20),
        choices=(way,),
    )
    kept = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.SAW_JOINTS)
    unsawn = job.model_copy(update={"slab": job.slab.model_copy(update={"joints": "none"})})
    wording = Wording(unsawn, before_the_pour(schedule, surface=task, milestones=kept), language=language)
    note = wording.surface.to_come.note if wording.surface.to_come else ""
    assert {"en": "Nobody steps on it before", "es": "Nadie la pisa antes de"}[language] in note
    assert not re.search(r"\bsaw|\bcut|cort", note, re.IGNORECASE)


def windows(schedule: CureSchedule, early: timedelta) -> tuple[SawWindow, ...]:
    """The hours of a conventional saw, and of an early-entry saw that may cut so much earlier."""
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    assert saw is not None
    assert saw.likely is not None
    assert saw.not_after is not None
    opens = saw.likely - early
    return (
        SawWindow("early-entry", opens, opens, opens + timedelta(hours=3)),
        SawWindow("conventional", saw.likely, saw.not_before, saw.not_after),
    )


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(("joints", "depth"), [("sawn", "32"), ("early-entry", "25")])
def test_who_saws_reads_which_saw_and_how_deep(
    job: JobRecord, schedule: CureSchedule, joints: str, depth: str, language: str
) -> None:
    """The saw of the record: one of another kind cuts at other hours, and to another depth."""
    record = job.model_copy(update={"slab": job.slab.model_copy(update={"joints": joints})})
    of_saw = windows(schedule, timedelta(hours=2))[joints == "sawn" :]
    planned = before_the_pour(schedule, joints=Joints(of_saw, None, 0.032, 0.025, 4.0, None))
    wording = Wording(record, planned, units="si", language=language)
    kind = "conventional" if joints == "sawn" else "early-entry"
    line = wording.say(f"saw.cut-{kind}", depth=f"{depth}\N{NO-BREAK SPACE}mm")
    (saw,) = (each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS)
    sheet = CrewSheet(wording)
    (row,) = (each for each in sheet.rows("visits") if each.kind == MilestoneKind.SAW_JOINTS)
    assert line in saw.description
    assert line in row.detail
    assert wording.say(f"saw.name.{kind}") in sheet.load


@pytest.mark.parametrize(
    ("early", "issued", "key"),
    [(2, -8, "or-early-entry"), (2, -1, "or-early-entry-now"), (2, 1.5, ""), (0, -8, "")],
)
def test_an_early_entry_saw_has_its_own_hours_where_they_are_earlier(
    job: JobRecord, schedule: CureSchedule, early: int, issued: float, key: str
) -> None:
    """Its trial cut is two hours sooner here, and it is too late three hours after that."""
    of_saw = windows(schedule, timedelta(hours=early))
    trial = half_hour_down(of_saw[1].opens or schedule.placement_end)
    planned = replace(
        schedule,
        joints=Joints(of_saw, None, 0.032, 0.025, 4.0, None),
        issued_at=trial + timedelta(hours=issued),
        tasks=(),
    )
    wording = Wording(job, with_tasks(planned, job))
    (saw,) = (each for each in crew_events(wording) if each.kind == MilestoneKind.SAW_JOINTS)
    opens, closes = (
        wording.speak.moment(trial + timedelta(hours=hours)).text for hours in (-early, 3 - early)
    )
    depth = wording.quantities.measure(0.025, "thickness", 3)
    lines = {
        each: wording.say(f"saw.{each}", opens=opens, closes=closes, depth=depth)
        for each in ("or-early-entry", "or-early-entry-now")
    }
    assert [each for each, line in lines.items() if line in saw.description.splitlines()] == [
        *filter(None, [key])
    ]
    assert wording.say("saw.name.early-entry") not in saw.title


@pytest.mark.parametrize("language", languages())
def test_whom_the_crew_calls_is_in_the_head(job: JobRecord, schedule: CureSchedule, language: str) -> None:
    """The name and the number of the record; one of them where the other is missing; else nothing."""
    for name, phone in (
        ("Lee Park", "336-555-0142"),
        ("Lee Park", None),
        (None, "336-555-0142"),
        (None,) * 2,
    ):
        owner = job.owner.model_copy(update={"name": name, "phone": phone})
        sheet = CrewSheet(Wording(job.model_copy(update={"owner": owner}), schedule, language=language))
        html = crew_sheet_html(sheet.wording)
        known = [each for each in (name, phone) if each]
        assert sheet.client == (sheet.say("crew.client", who=", ".join(known)) if known else "")
        assert sheet.client in html
        assert all((each in html) == (each in known) for each in ("Lee Park", "336-555-0142"))
