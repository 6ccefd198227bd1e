"""Which dates of a schedule an owner reads."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import printed_time

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
    if _is_covered_later(schedule) or uncovered_in_cold_until(schedule) is not None:
        without.add(MilestoneKind.PROTECTION_ENDS)
    if not is_heated:
        without.add(MilestoneKind.DEICING_SALT)
    return tuple(each for each in OWNER_KINDS if each not in without)


def uncovered_in_cold_until(schedule: CureSchedule) -> datetime | None:
    """Return when cold protection ends for which no cover is planned, as printed.

    Nobody stops then what nobody does; the owner only calls where a forecast gets colder by then. None where
    covers or blankets are planned, frost is ahead, or the date is past the estimate.
    """
    protected = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    printed = None if protected is None else printed_time(protected, schedule.placement_end)
    if printed is None or schedule.curing_method == "insulating blanket":
        return None
    issued, ends = schedule.issued_at.astimezone(UTC), printed.instant.astimezone(UTC)
    is_covered = any(each.end is None or each.end.astimezone(UTC) > issued for each in frost_covers(schedule))
    freezes = any(
        each.code == "frost" and each.start.astimezone(UTC) < ends and schedule.is_ahead(each.end)
        for each in schedule.risks
    )
    return None if is_covered or freezes else printed.instant


def forecast_to_call_at(schedule: CureSchedule, until: datetime) -> float:
    """Return the forecast air at or below which the owner calls: colder than any that the dates count on.

    Args:
        schedule: Its air, from the time of issue on.
        until: When cold protection ends.

    Returns:
        [degC]
    """
    rules = general_rules()
    time_s = schedule.weather.time.astype("datetime64[s]").astype("int64")
    ahead = (time_s >= schedule.issued_at.timestamp()) & (time_s <= until.timestamp())
    coldest = float(schedule.air_c[ahead].min()) if ahead.any() else rules["frost.call-from"]
    return min(rules["frost.call-from"], coldest - rules["frost.call-step"])


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
