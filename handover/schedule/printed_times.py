"""The printed instants: rounded once and never to the early side, for every document alike."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule, Joints, Milestone

HALF_HOUR_S = 1800
MORNING = general_rules().clock_time("day.morning")
"""The hour of "the morning of": a milestone reached later in the day is printed for the next day."""
WARMEST = general_rules().clock_time("day.warmest")
"""The hour at which covers that kept a slab warm come off."""
WAKING_HOUR = general_rules().clock_time("day.waking")
SLEEPING_HOUR = general_rules().clock_time("day.sleeping")
"""Dates at night wait for this hour of the morning."""
EXACT_PERIOD = general_rules().duration("change.soon-until")
"""For this long after placement, a date is printed to the half hour; later, only its day."""

AT_ANY_HOUR = (
    MilestoneKind.INITIAL_SET,
    MilestoneKind.FINAL_SET,
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
)
"""Dates that may be at night; all others wait for the morning."""


@dataclass(frozen=True)
class PrintedTime:
    """An instant as printed, with its hour or only as the morning of its day."""

    instant: datetime
    exact: bool


def half_hour_up(when: datetime) -> datetime:
    """Return the first half hour of the local clock that is not before `when`, in the same zone."""
    offset = when.utcoffset()
    if offset is None:
        raise ValueError("a time without a zone")
    local = when.astimezone(UTC).timestamp() + offset.total_seconds()
    ahead = -local % HALF_HOUR_S
    return (when.astimezone(UTC) + timedelta(seconds=ahead)).astimezone(when.tzinfo)


def half_hour_down(when: datetime) -> datetime:
    """Return the last half hour of the local clock that is not after `when`, in the same zone."""
    up = half_hour_up(when)
    behind = timedelta(seconds=HALF_HOUR_S) if up.astimezone(UTC) > when.astimezone(UTC) else timedelta()
    return (up.astimezone(UTC) - behind).astimezone(when.tzinfo)


def morning_up(when: datetime) -> datetime:
    """Return the first morning (8:00 local) that is not before `when`, in the same zone."""
    morning = datetime.combine(when.date(), MORNING, when.tzinfo)
    if morning.astimezone(UTC) >= when.astimezone(UTC):
        return morning
    return datetime.combine(when.date() + timedelta(days=1), MORNING, when.tzinfo)


def warmest_up(when: datetime) -> datetime:
    """Return the first warmest hour of a day that is not before `when`, in the same zone."""
    warmest = datetime.combine(when.date(), WARMEST, when.tzinfo)
    if warmest.astimezone(UTC) >= when.astimezone(UTC):
        return warmest
    return datetime.combine(when.date() + timedelta(days=1), WARMEST, when.tzinfo)


def warmest_down(when: datetime) -> datetime:
    """Return the last warmest hour of a day that is not after `when`, in the same zone."""
    warmest = datetime.combine(when.date(), WARMEST, when.tzinfo)
    if warmest.astimezone(UTC) <= when.astimezone(UTC):
        return warmest
    return datetime.combine(when.date() - timedelta(days=1), WARMEST, when.tzinfo)


def by_day(when: datetime) -> datetime:
    """Return the first instant that is not before `when` and not at night, in the same zone."""
    if WAKING_HOUR <= when.time() < SLEEPING_HOUR:
        return when
    day = when.date() + timedelta(days=when.time() >= SLEEPING_HOUR)
    return datetime.combine(day, WAKING_HOUR, when.tzinfo)


def round_up(when: datetime, placed: datetime) -> PrintedTime:
    """Return a time that must not be printed too early: to the half hour at first, then to the morning."""
    if when - placed <= EXACT_PERIOD:
        return PrintedTime(half_hour_up(when), exact=True)
    return PrintedTime(morning_up(when), exact=False)


def printed_not_before(when: datetime, kind: str, placed: datetime) -> PrintedTime:
    """Return an earliest date of a kind as printed; most kinds wait for daytime."""
    if kind in {MilestoneKind.FIRST_WATER, MilestoneKind.SAW_JOINTS}:  # with an end, to the half hour
        return PrintedTime(half_hour_up(when), exact=True)
    if kind == MilestoneKind.PROTECTION_ENDS:  # at the warmest hour
        return PrintedTime(half_hour_up(when), exact=True)
    waits = kind in set(MilestoneKind) - set(AT_ANY_HOUR)
    return round_up(by_day(when) if waits else when, placed)


def in_stages(milestone: Milestone, joints: Joints | None) -> bool:
    """Return whether the slab is sawn part by part, because no hour fits all of it."""
    windows = joints.windows if joints else ()
    return milestone.kind == MilestoneKind.SAW_JOINTS and bool(windows) and windows[-1].part != "whole"


def trial_cut(milestone: Milestone) -> datetime | None:
    """Return the hour of the first trial cut as printed; None for another date or one past the estimate.

    It is rounded down, because a trial cut does no harm, and is not past the last hour.
    """
    if milestone.kind != MilestoneKind.SAW_JOINTS or milestone.not_before is None:
        return None
    hours = [each for each in (milestone.likely, milestone.not_after) if each]
    return half_hour_down(min(hours, key=datetime.timestamp)) if hours else None


def last_cut(milestone: Milestone, joints: Joints | None) -> datetime | None:
    """Return the last hour of sawing as printed: of the part placed last where the slab is sawn in stages."""
    last = joints.windows[-1].closes if joints and in_stages(milestone, joints) else milestone.not_after
    return half_hour_down(last) if last else None


def saw_meets_water(schedule: CureSchedule) -> bool:
    """Return whether a watering overlaps the remaining hours of sawing."""
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    if saw is None or saw.not_before is None or saw.not_after is None:
        return False
    placed = schedule.placement_end
    ends = last_cut(saw, schedule.joints)
    if ends is None or ends <= schedule.issued_at:
        return False
    begins = trial_cut(saw) or placed
    visits = (each for day in schedule.watering for each in day.visits if each.litres)
    return any(begins < each.end and each.start < ends for each in visits)
