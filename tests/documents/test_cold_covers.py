"""A slab in frost: one span of each cover, no watering under it, and what the crew does when it saws."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.events import crew_events, owner_events
from handover.documents.wording import Wording
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.model import Protection, Risk

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = ("en", "es")


@pytest.fixture
def frozen(schedule_with: Callable[..., CureSchedule], cold_schedule: CureSchedule) -> CureSchedule:
    """A sprinkler, and frost on every day of curing."""
    schedule = schedule_with(milestones=cold_schedule.milestones)
    dry = tuple(replace(day, visits=(), skipped_because="frost") for day in schedule.watering)
    frost = schedule.placement_end.replace(hour=23)
    nights = tuple(
        Risk("frost", frost + timedelta(days=day), frost + timedelta(days=day, hours=6), frost)
        for day in range(3)
    )
    milestones = tuple(each for each in schedule.milestones if each.kind != Kind.FIRST_WATER)
    needed = Protection((), 0.35, 0.0, None, largest_drop_k=28.0, drop_k=None, edges=3.0)
    return replace(schedule, watering=dry, risks=nights, milestones=milestones, protection=needed)


def test_frost_every_night_is_one_cover(job: JobRecord, frozen: CureSchedule) -> None:
    """Laid by the crew after the trowel; it stays on until curing ends, in both calendars."""
    [cover] = frost_covers(frozen)
    ends = frozen.milestone(Kind.CURING_ENDS)
    assert ends is not None
    assert cover.end == ends.not_before
    assert cover.by_crew
    assert frozen.finished is not None
    assert frozen.finished <= cover.start <= frozen.risks[0].start
    wording = Wording(job, frozen)
    for events in (owner_events(wording), crew_events(wording)):
        [event] = [each for each in events if each.kind == "frost-cover"]
        assert event.start == cover.start
        assert wording.visits.cover_end(cover) in event.description
    assert wording.cover is not None
    assert wording.cover.start == cover.start
    assert wording.visits.cover_end(cover) in wording.cover.when


def test_the_order_of_days_and_risks_changes_no_cover(frozen: CureSchedule) -> None:
    backwards = replace(frozen, watering=frozen.watering[::-1], risks=frozen.risks[::-1])
    assert frost_covers(backwards) == frost_covers(frozen)


def test_a_cover_for_some_nights_comes_off_with_the_next_watering(schedule: CureSchedule) -> None:
    days = list(schedule.watering)
    days[3] = replace(days[3], visits=(), skipped_because="frost")
    some = replace(schedule, watering=tuple(days), risks=())
    [cover] = frost_covers(some)
    later = [visit.start for day in days[4:] for visit in day.visits]
    assert cover.end == min(later)
    assert cover.start.date() <= days[3].date


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_taught_to_water_a_slab_under_covers(
    job: JobRecord, frozen: CureSchedule, schedule: CureSchedule, language: str
) -> None:
    frosty, mild = (CareSheet(Wording(job, each, language=language), {}) for each in (frozen, schedule))
    assert frosty.how != mild.how
    assert frosty.text_by_method("call") != mild.text_by_method("call")
    if language == "en":
        assert "dark and shiny" in mild.how
        assert "dark and shiny" not in frosty.how


@pytest.mark.parametrize("language", LANGUAGES)
def test_blankets_are_lifted_along_the_line_of_the_saw(
    job: JobRecord, schedule_with: Any, schedule: CureSchedule, language: str
) -> None:
    blanketed = schedule_with(method="insulating blanket")
    for each, lifts in ((blanketed, True), (replace(schedule, risks=()), False)):
        wording = Wording(job, each, language=language)
        [saw] = [event for event in crew_events(wording) if event.kind == Kind.SAW_JOINTS]
        assert (wording.say("milestone.words.saw-under-cover") in saw.description) == lifts


@pytest.mark.parametrize("language", LANGUAGES)
def test_once_covers_replace_all_water_that_is_left_no_watering_is_taught(
    job: JobRecord, schedule: CureSchedule, cold_schedule: CureSchedule, language: str
) -> None:
    """A slab was watered for some days; then frost until curing ends. That is not over, and no water."""
    first, *others = schedule.watering
    watered = replace(first, visits=first.visits[:1])
    dry = tuple(replace(day, visits=(), skipped_because="frost") for day in others)
    issued = watered.visits[-1].end + timedelta(hours=3)
    later = replace(
        schedule, watering=(watered, *dry), milestones=cold_schedule.milestones, issued_at=issued, risks=()
    )
    wording = Wording(job, later, language=language)
    care = CareSheet(wording, {})
    assert wording.visits.covered_until
    assert wording.visits.covered_until in care.without_days
    assert wording.say("sheet.watering-over") not in care.without_days
    assert care.how == CareSheet(Wording(job, replace(later, watering=dry), language=language), {}).how
    assert not care.wet
