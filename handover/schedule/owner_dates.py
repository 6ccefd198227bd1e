"""Which dates of a schedule an owner reads."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from datetime import datetime

    from handover.schedule.model import CureSchedule

OWNER_KINDS = (
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
    MilestoneKind.STRIP_EDGE_FORMS,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.FROST_SAFE,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.FREEZE_THAW,
    MilestoneKind.CURING_ENDS,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.HEATING,
    MilestoneKind.FLOOR_COVERING,
    MilestoneKind.SEAL,
    MilestoneKind.DEICING_SALT,
)
"""The dates that an owner reads; initial and final set concern the crew alone."""

COLD_CAUTIONS = {"frost", "cold-weather", "heaters", "room-heat"}
"""Cautions of the cold."""


def is_cold(schedule: CureSchedule) -> bool:
    """Return whether the slab is placed or cures in the cold: only then does an owner read about frost."""
    return any(each.code in COLD_CAUTIONS for each in schedule.cautions)


def may_freeze(schedule: CureSchedule) -> bool:
    """Return whether a schedule knows of frost: before the slab is safe from it, or in the weeks after."""
    dates = map(schedule.milestone, (MilestoneKind.PROTECTION_ENDS, MilestoneKind.FREEZE_THAW))
    return is_cold(schedule) or schedule.protection is not None or any(dates)


def owner_kinds(schedule: CureSchedule, *, is_heated: bool) -> tuple[MilestoneKind, ...]:
    """Return the kinds of date that the owner's documents show.

    Args:
        schedule: The schedule.
        is_heated: Whether winters of the place are cold enough for salt and heating.
    """
    # The end of cold protection says more than the strength for a first frost.
    frost = is_cold(schedule) and schedule.milestone(MilestoneKind.PROTECTION_ENDS) is None
    without = set() if frost else {MilestoneKind.FROST_SAFE}
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    if ends is not None and ends.not_before is not None and _ends_with_protection(schedule, ends.not_before):
        # Everything comes off at once: blankets are named by their own date, others by the end of curing.
        blankets = schedule.curing_method == "insulating blanket"
        without.add(MilestoneKind.CURING_ENDS if blankets else MilestoneKind.PROTECTION_ENDS)
    if _is_covered_later(schedule):
        without.add(MilestoneKind.PROTECTION_ENDS)
    if not is_heated:
        without.add(MilestoneKind.DEICING_SALT)
    return tuple(each for each in OWNER_KINDS if each not in without)


def _is_covered_later(schedule: CureSchedule) -> bool:
    """Return whether a cover against frost lies on the slab past the end of cold protection."""
    protected = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    if protected is None or protected.not_before is None:
        return False
    ends = protected.not_before.astimezone(UTC)
    return any(each.end is None or each.end.astimezone(UTC) > ends for each in frost_covers(schedule))


def _ends_with_protection(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether a cover comes off with the blankets, because the slab must dry before frosts."""
    protected = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    return schedule.dries_before_frost and protected is not None and protected.not_before == when
