"""Curing compound and covers against frost: no cover goes on a wet coat, and nobody sprays under a cover."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import COVER_FOR_COAT, Figure, MilestoneKind, SurfaceChoice
from handover.schedule.printed_times import COVERING, by_day, half_hour_down, half_hour_up
from handover.schedule.tasks import AFTER_COVER, COVER_FIRST

if TYPE_CHECKING:
    from handover.schedule.cover_times import FrostCover
    from handover.schedule.model import CureSchedule, SurfaceTask

DRYING = general_rules().duration("compound.dry")


def spray_after_covers(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule whose compound is sprayed and dry before a cover against frost goes on, or after it.

    Where a cover goes on before the coat is dry, a sheet under it keeps the water in, and the compound waits
    until the cover is off. It is not sprayed at all where the cover stays until curing ends.
    """
    task = schedule.surface
    if task is None or task.work != "compound":
        return schedule
    spraying = task.choices[0]
    covers = (each for each in frost_covers(schedule) if _is_in_the_way(each, spraying, spraying.start))
    first = next(covers, None)
    if first is None:
        return _sprayed_in_time(schedule, task)
    zone = ZoneInfo(schedule.timezone)
    laid = max(first.start, task.start.astimezone(UTC)).astimezone(zone)
    begins = _after_covers(spraying, schedule)
    way = SurfaceChoice(COVER_FOR_COAT, laid, laid + COVERING, COVERING / timedelta(hours=1), 0.0)
    if begins is not None:
        until = begins + _length(spraying)
        way = SurfaceChoice(AFTER_COVER, begins, until, spraying.crew_hours, 0.0)
    waiting = replace(task, choices=(way,), cover_from=laid, not_after=None, until=way.until)
    return replace(schedule, surface=waiting)


def _sprayed_in_time(schedule: CureSchedule, task: SurfaceTask) -> CureSchedule:
    """Return a schedule whose compound is sprayed early enough to dry before the next cover against frost."""
    cover = cover_on_coat(schedule)
    if cover is None:
        return schedule
    last = sprayed_by(cover)
    late = last if task.not_after is None else min(task.not_after, last, key=datetime.timestamp)
    drying = Figure("drying_time", DRYING / timedelta(hours=1), "h")
    figures = (*(each for each in task.figures if each.name != drying.name), drying)
    return replace(schedule, surface=replace(task, not_after=late, figures=figures))


def sprayed_by(cover: datetime) -> datetime:
    """Return by when a compound is sprayed, to the half hour, so that it is dry when a cover goes on."""
    return half_hour_down(cover - DRYING)


def cover_on_coat(schedule: CureSchedule) -> datetime | None:
    """Return when a cover against frost goes on, within a day of the spraying of the compound; else None.

    In the zone of the site.
    """
    task = schedule.surface
    if task is None or task.work != "compound" or task.choices[0].how in COVER_FIRST:
        return None
    sprayed = task.choices[0].start.astimezone(UTC)
    starts = (each.start for each in frost_covers(schedule))
    first = next((each for each in starts if sprayed < each <= sprayed + timedelta(days=1)), None)
    return None if first is None else first.astimezone(ZoneInfo(schedule.timezone))


def coat_begins(schedule: CureSchedule) -> datetime | None:
    """Return when a compound that waits under a cover against frost is sprayed; None: it does not wait."""
    task = schedule.surface
    way = None if task is None else task.choices[0]
    return way.start if way is not None and way.how == AFTER_COVER else None


def _length(choice: SurfaceChoice) -> timedelta:
    return choice.until.astimezone(UTC) - choice.start.astimezone(UTC)


def _is_in_the_way(cover: FrostCover, spraying: SurfaceChoice, start: datetime) -> bool:
    """Return whether a cover lies on the slab while compound is sprayed from an instant on, or dries."""
    begins = start.astimezone(UTC)
    dry = begins + _length(spraying) + DRYING
    return cover.start < dry and (cover.end is None or begins < cover.end.astimezone(UTC))


def _after_covers(spraying: SurfaceChoice, schedule: CureSchedule) -> datetime | None:
    """Return when the compound can be sprayed by day and dry; None: not before curing ends."""
    zone, begins = ZoneInfo(schedule.timezone), spraying.start
    for each in frost_covers(schedule):
        if not _is_in_the_way(each, spraying, begins):
            continue
        if each.end is None:
            return None
        begins = by_day(half_hour_up(each.end.astimezone(zone)))
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    is_over = ends is not None and ends.not_before is not None and ends.not_before <= begins
    return None if is_over else begins
