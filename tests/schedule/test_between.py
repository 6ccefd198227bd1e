"""The cover between waterings: the least that keeps the slab wet, and the waterings under it.

By principles: a cover loses no more than an open slab, and nobody waters a covered slab more often. What an
open film and a cover hold is that of the rules.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.wording import Wording
from handover.practice.rules import practice
from handover.schedule.loading import materials_to_load
from handover.schedule.plan import plan_cure
from handover.schedule.tasks import with_tasks
from handover.service.inputs import questions

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

AT_WORK = ("06:30-07:30", "18:00-20:00")
LIMIT_H = practice()["water.dry-too-long"]


@pytest.mark.parametrize("method", ["sprinkler", "hose by hand", "soaker hose"])
def test_a_slab_that_would_be_dry_all_day_is_covered_between_waterings(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    schedule = plan_cure(job(curing={"method": method, "available": AT_WORK}), weather(26.0, 38.0), as_of)
    assert schedule.between is not None
    assert schedule.between.open_dry_hours >= LIMIT_H
    assert schedule.between.dry_hours < LIMIT_H
    assert max(day.dry_hours for day in schedule.watering) == schedule.between.dry_hours
    assert all(day.visits for day in schedule.watering)
    assert "wet-dry" not in {each.code for each in schedule.cautions}


def test_a_timer_or_a_slab_that_stays_wet_needs_no_cover(job: Job, weather: Weather, as_of: datetime) -> None:
    timed = plan_cure(job(curing={"timer": True, "available": AT_WORK}), weather(), as_of)
    assert timed.between is None
    none = weather().wind_ms * 0.0
    calm = {"wind_ms": none, "relative_humidity": none + 1.0, "shortwave_wm2": none, "cloud": none + 1.0}
    damp = weather(14.0, 16.0, **calm)
    assert plan_cure(job(curing={"available": AT_WORK}), damp, as_of).between is None


def test_burlap_is_chosen_only_where_it_suffices(job: Job, weather: Weather, as_of: datetime) -> None:
    """Burlap dries like an open film and holds more; a sheet dries a tenth as fast, for worse days."""
    found = []
    for highest in (18.0, 22.0, 26.0, 30.0, 34.0, 38.0):
        schedule = plan_cure(job(curing={"available": AT_WORK}), weather(highest - 10.0, highest), as_of)
        cover = schedule.between
        found.append("" if cover is None else cover.cover)
        if cover is not None and cover.cover == "wet burlap":
            assert cover.dry_hours < LIMIT_H
    assert found == sorted(found, key=["", "wet burlap", "plastic sheet"].index)
    assert found[-1] == "plastic sheet"


def test_a_cover_that_lies_stays_in_milder_weather(job: Job, weather: Weather, as_of: datetime) -> None:
    """The owner has it, and no other one; to a timer it gives way."""
    record, mild, hot = job(curing={"available": AT_WORK}), weather(12.0, 22.0), weather(28.0, 38.0)
    assert plan_cure(record, mild, as_of).between != plan_cure(record, hot, as_of).between
    stays = plan_cure(record, mild, as_of, cover="plastic sheet").between
    assert stays is not None
    assert stays.cover == "plastic sheet"
    drier = plan_cure(record, hot, as_of, cover="wet burlap")
    assert drier.between is not None
    assert drier.between.cover == "wet burlap"
    assert drier.between.dry_hours > LIMIT_H  # in this heat a sheet would be planned
    wording = Wording(record, drier)
    [dry] = [each for each in wording.warnings.notices if each.code == "wet-dry"]
    assert "plastic over it" in dry.text
    timed = job(curing={"timer": True, "available": AT_WORK})
    assert plan_cure(timed, mild, as_of, cover="plastic sheet").between is None


COLOUR = ({"coloured": True}, {"finish": "stamped"}, {"finish": "stamped", "coloured": False})


@pytest.mark.parametrize("slab", COLOUR)
def test_no_cover_lies_on_a_coloured_or_stamped_slab(
    job: Job, weather: Weather, as_of: datetime, slab: dict[str, object]
) -> None:
    """Concrete Construction, Curing flatwork: no plastic on coloured surfaces; covers must not stain."""
    record = job(slab=slab, curing={"method": "sprinkler", "available": AT_WORK})
    schedule = plan_cure(record, weather(26.0, 38.0), as_of)
    assert record.slab.covers == ()
    assert schedule.between is None
    assert schedule.surface is None or schedule.surface.cover_from is None
    codes = {each.code for each in schedule.cautions}
    assert {"coloured", "wet-dry"} <= codes
    (asked,) = questions(schedule)
    assert asked.field == "curing.method"
    dry = next(each for each in schedule.cautions if each.code == "wet-dry")
    days = {each.name: ceil(each.value / 24.0) for each in dry.figures if each.name.startswith("curing_time")}
    assert days["curing_time"] >= days["curing_time_wet"]
    assert f"takes {days['curing_time']} days" in asked.problem
    assert f"no watering, {days['curing_time_wet']} days" in asked.expected
    for language in ("en", "es"):
        words = Wording(record, schedule, language=language)
        spoken = " ".join([*(each.text for each in words.cautions), CareSheet(words, {}).if_weather_turns])
        assert words.say("between.line.plastic-sheet", dry="")[:20] not in spoken


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_timer_is_a_choice_only_where_it_leaves_fewer_dry_hours(
    job: Job, weather: Weather, as_of: datetime, language: str
) -> None:
    """Seen: 7 dry hours a day as planned, and "a hose timer (dry for 10 h a day)" as the way out."""
    record = job(slab={"coloured": True}, curing={"method": "sprinkler", "available": AT_WORK})
    schedule = plan_cure(record, weather(26.0, 38.0), as_of)
    dry = next(each for each in schedule.cautions if each.code == "wet-dry")
    planned = next(each.value for each in dry.figures if each.name == "dry_hours")
    for by_timer, is_choice in ((planned + 1.0, False), (planned - 0.5, True), (0.0, True)):
        figures = tuple(
            replace(each, value=by_timer) if each.name == "dry_with_timer" else each for each in dry.figures
        )
        cautions = tuple(replace(dry, figures=figures) if each is dry else each for each in schedule.cautions)
        other = replace(schedule, cautions=cautions)
        (asked,) = questions(other)
        assert ("timer" in asked.expected) is is_choice
        words = Wording(record, other, language=language)
        said = {each.text for each in words.warnings.notices}
        hours = words.speak.length(timedelta(hours=ceil(planned)))
        key = "caution.wet-dry.text-no-cover" if is_choice else "caution.wet-dry.text-no-timer"
        assert words.say(key, dry_hours=hours) in said


@pytest.mark.parametrize("finished", [12, 16])
def test_the_crew_gets_ways_that_leave_no_mark(
    job: Job, weather: Weather, as_of: datetime, finished: int
) -> None:
    """Clear compound, or fog within an evening; neither a sheet nor burlap, in wind or calm."""
    for wind in (2.0, 9.0):
        series = weather(27.0, 38.0)
        windy = weather(27.0, 38.0, wind_ms=series.wind_ms * 0 + wind)
        placed = {"finished": as_of.replace(hour=finished)}
        record = job(slab={"coloured": True}, placement=placed, curing={"available": AT_WORK})
        task = plan_cure(record, windy, as_of).surface
        assert task is not None
        assert task.choices[0].how == "clear-compound"
        assert {each.how for each in task.choices} <= {"clear-compound", "fog"}


def test_a_plain_slab_takes_both_covers(job: Job) -> None:
    assert job(slab={"finish": "broomed"}).slab.covers == ("wet burlap", "plastic sheet")


@pytest.mark.parametrize(("cover", "keeps_off"), [("plastic sheet", True), ("wet burlap", False)])
def test_rain_waters_what_it_can_reach(
    job: Job, weather: Weather, as_of: datetime, cover: str, keeps_off: bool
) -> None:
    """Identity: a sheet lets no rain through, and nobody takes it off for rain; burlap lets it through."""
    record, dry = job(curing={"available": AT_WORK}), weather(26.0, 38.0)
    rain = np.full(len(dry.seconds), 5.0)
    wet = weather(26.0, 38.0, precipitation_mm=rain, precipitation_probability=np.ones(len(rain)))
    schedule = plan_cure(record, wet, as_of, cover=cover)
    assert schedule.between is not None
    assert schedule.between.cover == cover
    assert all(day.visits for day in schedule.watering) is keeps_off
    waterings = schedule.tasks_of("owner", "watering")
    assert waterings
    assert {each.if_rain for each in waterings} == {"water" if keeps_off else "skip"}
    said = " ".join(day.note for day in Wording(record, schedule).visits.days)
    assert ("If it stays dry" in said) is not keeps_off


def test_plastic_lies_over_burlap_that_would_dry_between_waterings(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Fewer visits keep it wet all day; the papers handle both covers, and the burlap always stays."""
    record = job(curing={"method": "wet burlap", "available": AT_WORK})
    mild = plan_cure(record, weather(6.0, 9.0, relative_humidity=np.full(14 * 24, 0.95)), as_of)
    hot = with_tasks(plan_cure(record, weather(26.0, 38.0), as_of), record)
    assert mild.between is None
    assert hot.between is not None
    assert hot.between.cover == "plastic sheet"
    assert hot.between.open_dry_hours >= LIMIT_H > hot.between.dry_hours
    assert "wet-dry" not in {each.code for each in hot.cautions}
    visits = Wording(record, hot).visits
    acts = [visits.visit(each).action for day in hot.watering for each in day.visits]
    assert acts
    assert all("the plastic back over the burlap" in each for each in acts)
    [strip] = hot.tasks_of("crew", "strip-edge-forms")
    assert strip.cover == "wet burlap"
    codes = [each.code for each in materials_to_load(hot, record)]
    assert "burlap-plastic" in codes
    assert "plastic" not in codes


def test_burlap_goes_on_dry_only_where_the_bare_top_may_freeze(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Common practice, no source: water in burlap that freezes harms the top that it lies on."""
    record = job(curing={"method": "wet burlap"})
    for coldest, word, other in ((12.0, "damp burlap", "dry burlap"), (-6.0, "dry burlap", "damp burlap")):
        schedule = with_tasks(plan_cure(record, weather(coldest, coldest + 8.0), as_of), record)
        words = Wording(record, schedule).surface.task
        assert words is not None
        said = " ".join(words.lines)
        assert word in said
        assert other not in said


def test_a_cover_that_nobody_knew_of_is_brought_before_the_next_watering(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """At the pour the crew leaves it on the slab; a first issue after that comes too late for that."""
    record = job(curing={"method": "sprinkler", "available": AT_WORK})
    at_once = plan_cure(record, weather(26.0, 38.0), as_of)
    assert at_once.surface is not None
    assert at_once.cover_due is None
    assert not at_once.tasks_of("crew", "bring-cover")
    later = as_of + timedelta(days=1.2)
    first = plan_cure(record, weather(26.0, 38.0), later)
    assert first.between is not None
    ahead = [visit for day in first.watering for visit in day.visits if visit.start > later]
    assert first.cover_due == ahead[0].start
    (brings,) = first.tasks_of("crew", "bring-cover")
    assert later < brings.start < brings.end <= brings.until == first.cover_due
    known = {"revision": 2, "cover": first.between.cover}
    again = plan_cure(record, weather(26.0, 38.0), later, brought_by=first.cover_due, **known)
    assert again.tasks_of("crew", "bring-cover") == (brings,)
    assert plan_cure(record, weather(26.0, 38.0), later, **known).cover_due is None
    changed = plan_cure(record, weather(26.0, 38.0), later, revision=2)  # the issue before had no cover
    assert changed.cover_due == first.cover_due


@pytest.mark.parametrize("hours", range(0, 24, 2))
def test_a_cover_is_due_only_when_the_crew_can_have_brought_it_by_day(
    job: Job, weather: Weather, as_of: datetime, hours: int
) -> None:
    """A first issue in the night, or minutes before a watering, leaves an hour of the day to bring it."""
    issued = as_of + timedelta(days=1, hours=hours, minutes=10)
    plan = plan_cure(job(curing={"method": "sprinkler", "available": AT_WORK}), weather(26.0, 38.0), issued)
    (brings,) = plan.tasks_of("crew", "bring-cover")
    assert plan.cover_due is not None
    assert brings.until == plan.cover_due
    assert issued - timedelta(minutes=30) <= brings.start < brings.end <= plan.cover_due
    assert time(7) <= brings.start.time() <= time(20)  # day.waking; an hour before day.sleeping
