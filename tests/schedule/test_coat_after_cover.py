"""Curing compound in frost: no cover goes on a wet coat, and nobody sprays under a cover.

UFGS 03301A: a coat is open to harm for 3 h after it is applied. That a blanket harms a wet coat, and that
plastic under blankets keeps the water in until it is sprayed, is common practice without a source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.charts.timeline import time_line
from handover.documents.events import crew_events
from handover.documents.wording import Wording
from handover.schedule.coat_after_cover import coat_begins, spray_after_covers, sprayed_by
from handover.schedule.cover_times import frost_covers
from handover.schedule.loading import Material, materials_to_load
from handover.schedule.model import CureSchedule, MilestoneKind, Risk, SurfaceChoice
from handover.schedule.plan import plan_cure
from handover.schedule.tasks import LOOK_COAT, with_tasks

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

DRYING = timedelta(hours=3)


def planned(
    job: Job, weather: Weather, as_of: datetime, air: tuple[float, float], **slab: Any
) -> tuple[JobRecord, CureSchedule]:
    finished = as_of + timedelta(hours=4.5)  # half past four: dusk is nearer than the coat is dry
    record = job(curing={"method": "curing compound"}, placement={"finished": finished}, slab=slab)
    return record, plan_cure(record, weather(*air), finished, members=20)


def way_of(schedule: CureSchedule) -> SurfaceChoice:
    assert schedule.surface is not None
    (way,) = schedule.surface.choices
    return way


@pytest.mark.parametrize("air", [(-12.0, -2.0), (-6.0, 4.0), (-3.0, 9.0), (6.0, 16.0)])
def test_a_coat_is_sprayed_and_dry_before_a_cover_or_after_it(
    job: Job, weather: Weather, as_of: datetime, air: tuple[float, float]
) -> None:
    _, schedule = planned(job, weather, as_of, air)
    way = way_of(schedule)
    if way.how == "cover-for-compound":
        assert any(each.start <= way.start.astimezone(UTC) for each in frost_covers(schedule))
        return
    for cover in frost_covers(schedule):
        dry_before = way.until.astimezone(UTC) + DRYING <= cover.start
        off_before = cover.end is not None and cover.end <= way.start
        assert dry_before or off_before


def test_in_a_lasting_frost_the_compound_waits_under_plastic_and_blankets(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    record, schedule = planned(job, weather, as_of, (-6.0, 4.0))
    assert way_of(schedule).how != "compound"
    assert "plastic" in {each.code for each in materials_to_load(schedule, record)}
    coloured, other = planned(job, weather, as_of, (-6.0, 4.0), coloured=True)
    assert "plastic" not in {each.code for each in materials_to_load(other, coloured)}


def test_a_cover_that_stays_until_curing_ends_replaces_the_compound(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    _, schedule = planned(job, weather, as_of, (-6.0, 4.0))
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert schedule.surface is not None
    assert ends is not None
    assert schedule.finished is not None
    spraying = SurfaceChoice("compound", schedule.finished, schedule.finished + timedelta(hours=1), 1.0, 0.0)
    early = tuple(
        replace(each, not_before=schedule.finished + timedelta(hours=6)) if each is ends else each
        for each in schedule.milestones
    )
    task = replace(schedule.surface, choices=(spraying,))
    late = spray_after_covers(replace(schedule, surface=task, milestones=early))
    assert way_of(late).how == "cover-for-compound"


def test_in_mild_weather_nothing_changes(job: Job, weather: Weather, as_of: datetime) -> None:
    _, schedule = planned(job, weather, as_of, (12.0, 22.0))
    assert way_of(schedule).how == "compound"
    assert spray_after_covers(schedule) is schedule


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_window_of_a_coat_ends_early_enough_to_dry_before_the_cover(
    job: Job, weather: Weather, as_of: datetime, language: str
) -> None:
    """Common practice: who cannot spray by then lays plastic under the blankets, and sprays after them."""
    finished = as_of + timedelta(hours=1)
    record = job(curing={"method": "curing compound"}, placement={"finished": finished})
    mild = plan_cure(record, weather(6.0, 16.0), finished)
    assert mild.surface is not None
    night = finished + timedelta(hours=9)
    frost = Risk("frost", night, night + timedelta(hours=6), night)
    cold = spray_after_covers(replace(mild, risks=(frost,), tasks=()))
    cover = frost_covers(cold)[0].start
    assert way_of(cold).how == "compound"
    assert cold.surface is not None
    assert cold.surface.not_after is not None
    assert cold.surface.not_after.astimezone(UTC) + DRYING <= cover
    assert cold.surface.not_after >= way_of(cold).until
    assert "drying_time" in {each.name for each in cold.surface.figures}
    words = Wording(record, with_tasks(cold, record), language=language)
    assert words.surface.task is not None
    last = words.speak.hour(sprayed_by(cover.astimezone(as_of.tzinfo)))
    assert last in words.surface.task.note
    assert words.speak.hour(cover.astimezone(as_of.tzinfo)) in words.surface.task.note
    plain = Wording(record, mild, language=language).surface.task
    assert plain is not None
    assert plain.note == ""


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("coloured", [False, True])
def test_no_paper_says_that_a_coat_is_on_the_slab_while_it_waits(
    job: Job, weather: Weather, as_of: datetime, language: str, *, coloured: bool
) -> None:
    record, schedule = planned(job, weather, as_of, (-6.0, 4.0), coloured=coloured)
    begins = coat_begins(schedule)
    assert begins is not None
    words = Wording(record, schedule, language=language)
    care = CareSheet(words, {})
    said, sprayed = words.say("watering.none-compound"), words.speak.moment(begins).text
    assert sprayed in care.how
    assert sprayed in care.last_words
    noted = zip(schedule.watering, words.visits.days, strict=True)
    notes = {day.date: each.note for day, each in noted}
    assert [date for date, note in notes.items() if note == said and date < begins.date()] == []
    assert said in {note for date, note in notes.items() if date >= begins.date()}
    assert words.say("chart.time-line.cover") in time_line(words).svg
    later = Wording(record, replace(schedule, issued_at=begins + timedelta(hours=2)), language=language)
    assert sprayed not in CareSheet(later, {}).how


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_slab_that_is_never_sprayed_has_the_words_of_its_cover(
    job: Job, weather: Weather, as_of: datetime, language: str
) -> None:
    record, schedule = planned(job, weather, as_of, (-6.0, 4.0))
    assert schedule.surface is not None
    never = replace(way_of(schedule), how="cover-for-compound")
    covered = replace(schedule, surface=replace(schedule.surface, choices=(never,)))
    words = Wording(record, covered, language=language)
    assert covered.cure_mode == "cover"
    assert words.dates.title(MilestoneKind.CURING_ENDS) == words.say(
        "milestone.curing-ends--plastic-sheet.title"
    )
    assert words.say("watering.none-compound") not in {day.note for day in words.visits.days}
    assert CareSheet(words, {}).how == CareSheet(words, {}).text("how/plastic-sheet")


@pytest.mark.parametrize(
    ("begins_h", "lasts_h", "looked_at"),
    [(2.0, 1.0, True), (3.9, 1.0, True), (4.1, 2.0, False), (-3.0, 1.0, False)],
    ids=["while it is wet", "before it is dry", "once it is dry", "before it is sprayed"],
)
def test_the_crew_looks_at_a_coat_that_rain_may_have_washed_off(
    job: Job, weather: Weather, as_of: datetime, begins_h: float, lasts_h: float, *, looked_at: bool
) -> None:
    """UFGS 03301A: rain within 3 h after it was applied, within an hour of the last pass: spray again."""
    record, schedule = planned(job, weather, as_of, (14.0, 22.0))
    assert schedule.surface is not None
    start = schedule.surface.start + timedelta(hours=begins_h)
    rain = Risk("rain-on-fresh", start, start + timedelta(hours=lasts_h), start)
    rained = with_tasks(replace(schedule, risks=(rain,), tasks=()), record)
    [*looks] = rained.tasks_of("crew", LOOK_COAT)
    assert bool(looks) == looked_at
    if not looks:
        return
    [look] = looks
    assert (look.start.hour, look.start.minute) == (8, 0)
    assert timedelta() <= look.start - rain.end < timedelta(days=1)
    late = with_tasks(replace(rained, issued_at=look.start - timedelta(hours=1), tasks=()), record)
    assert Material("compound") in materials_to_load(late, record)
    for language in ("en", "es"):
        words = Wording(record, late, language=language)
        [event] = [each for each in crew_events(words) if each.kind == LOOK_COAT]
        assert "3" in event.description
        assert words.speak.moment(look.start).text in " ".join(CareSheet(words, {}).crew)
