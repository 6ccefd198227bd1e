"""When a slab is covered against frost: at dusk, but not before finishing ends."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule, Risk

COVERING = general_rules().duration("visit.covering")
"""Time to cover a slab, or to lift its covers."""

DUSK = general_rules().clock_time("day.dusk")
"""Hour by which the slab is covered against the frost of the night."""

NO_FROST_RULE = "first-water.no-frost"
"""The condition of frost for first water."""


_LIES_WHILE_CURING = ("plastic sheet", "wet burlap", "ponding", "insulating blanket")
"""Methods whose cover lies on the slab until curing ends; after blankets that is plastic."""


def covers_off(method: str, *, frost_days: bool) -> tuple[MilestoneKind, ...]:
    """Return the dates that must all be past before nothing covers the slab any more.

    Args:
        method: Of curing.
        frost_days: Whether covers replace the water on days when it may freeze.
    """
    while_curing = frost_days or method in _LIES_WHILE_CURING
    return (MilestoneKind.PROTECTION_ENDS, *((MilestoneKind.CURING_ENDS,) if while_curing else ()))


def is_covered_at(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether a cover still lies on the slab at an instant, by its cautious dates."""
    against_frost = schedule.protection is not None and schedule.protection.enough != 0
    kinds = covers_off(schedule.curing_method, frost_days=schedule.covered_for_frost)
    lying = [each for each in kinds if against_frost or each != MilestoneKind.PROTECTION_ENDS]
    off = [each for each in map(schedule.milestone, lying) if each is not None]
    return any(each.not_before is None or each.not_before > when for each in off)


@dataclass(frozen=True)
class FrostCover:
    """A cover to lay: its start in UTC, and its frosts in order of time."""

    start: datetime
    frosts: tuple[Risk, ...]


def frost_covers(schedule: CureSchedule) -> tuple[FrostCover, ...]:
    """Return the covers to lay, in order of time: one for all frosts of a night."""
    frosts = sorted(
        (each for each in schedule.risks if each.code == "frost"), key=lambda each: each.start.astimezone(UTC)
    )
    nights = groupby(frosts, key=lambda each: covered_from(schedule, each.start))
    return tuple(FrostCover(start, tuple(night)) for start, night in nights)


def first_cover(schedule: CureSchedule) -> datetime:
    """Return when a slab that is not watered because of frost is first covered, in the zone of the site.

    That is before the first frost; without one, before water would be due.
    """
    first = schedule.milestone(MilestoneKind.FIRST_WATER)
    gates = (first.because.governing, *first.because.others) if first else ()
    due = [each.not_before for each in gates if each.not_before and each.rule != NO_FROST_RULE]
    frosts = [risk.start for risk in schedule.risks if risk.code == "frost"]
    begins = min(frosts) if frosts else max(due, default=schedule.finished or schedule.placement_end)
    return covered_from(schedule, begins).astimezone(ZoneInfo(schedule.timezone))


def covered_from(schedule: CureSchedule, frost: datetime) -> datetime:
    """Return when to cover the slab before a frost, in UTC."""
    ready = (schedule.finished or schedule.placement_end).astimezone(UTC)
    first = frost.astimezone(ZoneInfo(schedule.timezone))
    return min(max(_dusk_before(first), ready), first.astimezone(UTC))


def _dusk_before(frost: datetime) -> datetime:
    """Return the last dusk that is an hour or more before the frost, in UTC."""
    latest = (frost.astimezone(UTC) - COVERING).astimezone(frost.tzinfo)
    day = latest.date() - timedelta(days=latest.time() < DUSK)
    return datetime.combine(day, DUSK, frost.tzinfo).astimezone(UTC)
