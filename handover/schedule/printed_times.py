"""The printed instants: rounded once and never to the early side, for every document alike."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules
from handover.schedule.model import (
    EARLY_ENTRY,
    FORMS_AFTER_COVER,
    REPEATED_FROST,
    MilestoneKind,
    PrintedTime,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from handover.schedule.model import CureSchedule, Joints, Milestone, Precision

HALF_HOUR_S = 1800
_MIDDLE_OF_MONTH = 16
MORNING = general_rules().clock_time("day.morning")
"""The hour of "the morning of": a milestone reached later in the day is printed for the next day."""
WARMEST = general_rules().clock_time("day.warmest")
"""The hour at which covers that kept a slab warm come off."""
WAKING_HOUR = general_rules().clock_time("day.waking")
SLEEPING_HOUR = general_rules().clock_time("day.sleeping")
"""Dates at night wait for this hour of the morning."""
EVENING = general_rules().clock_time("day.evening")
"""Dates for people that fall at this hour or later wait for the morning."""
COVERING = general_rules().duration("visit.covering")
"""Time to cover a slab, or to lift its covers."""
EXACT_PERIOD = general_rules().duration("change.soon-until")
"""For this long after placement, a date is printed to the half hour; later, only its day."""

WEEK_FROM = general_rules().duration("print.week-from")
HALF_MONTH_FROM = general_rules().duration("print.half-month-from")
"""Spreads, likely date to cautious one, from which a date is printed as a week or half a month."""
HALF_MONTH_AFTER = general_rules().duration("print.half-month-after")
"""So long after placement, every use is printed as half a month."""
WEATHER_REACH = general_rules()["print.weather-reach"]

ORDERED_USES = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
)
"""Uses of which each is printed no earlier than the one before."""
WAITING_FOR = (
    (MilestoneKind.FINAL_SET, MilestoneKind.FIRST_WATER),
    (MilestoneKind.FINAL_SET, MilestoneKind.SAW_JOINTS),
    (MilestoneKind.FROST_SAFE, MilestoneKind.PROTECTION_ENDS),
    (MilestoneKind.FROST_SAFE, MilestoneKind.CURING_ENDS),
)
"""A date and one that waits for it, printed to the half hour where the first may be rounded to a morning."""

USES = (
    *ORDERED_USES,
    MilestoneKind.FREEZE_THAW,
    MilestoneKind.SEAL,
    MilestoneKind.HEATING,
    MilestoneKind.FLOOR_COVERING,
    MilestoneKind.DEICING_SALT,
)
"""Dates from which something is allowed; at the others something is done, on a day."""

AT_THE_WARMEST_HOUR = (REPEATED_FROST, FORMS_AFTER_COVER)
"""Conditions that are met at the warmest hour of a day: what waits for them is printed with it."""

AT_ANY_HOUR = (
    MilestoneKind.INITIAL_SET,
    MilestoneKind.FINAL_SET,
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
)
"""Dates that may be at night; all others are for people, and wait for the morning."""


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


def danger_hours(start: datetime, end: datetime) -> tuple[datetime, datetime]:
    """Return the hours of a danger as printed: to the half hours around it, never shorter than it is.

    Returns:
        Start and end, each in its own zone; a danger of an instant lasts half an hour.
    """
    last = max(end, start + timedelta.resolution, key=datetime.timestamp)
    return half_hour_down(start), half_hour_up(last)


def morning_up(when: datetime) -> datetime:
    """Return the first morning (8:00 local) that is not before `when`, in the same zone."""
    morning = datetime.combine(when.date(), MORNING, when.tzinfo)
    if morning.astimezone(UTC) >= when.astimezone(UTC):
        return morning
    return datetime.combine(when.date() + timedelta(days=1), MORNING, when.tzinfo)


def evening_of(when: datetime) -> date | None:
    """Return the day of whose evening a night is, if an instant is at night; None by day."""
    if WAKING_HOUR <= when.time() < SLEEPING_HOUR:
        return None
    return when.date() - timedelta(days=when.time() < WAKING_HOUR)


def before_the_night(when: datetime, earliest: datetime) -> datetime:
    """Return when work begins that must be done by an hour: not at night, but the evening before.

    Args:
        when: The hour, aware.
        earliest: The crew finishes the slab: it is there then, be it at night.

    Returns:
        In the zone of `when`.
    """
    evening = evening_of(when)
    if evening is None:
        return when
    sleeping = datetime.combine(evening, SLEEPING_HOUR, when.tzinfo).astimezone(UTC)
    last = max(sleeping - COVERING, earliest.astimezone(UTC))
    return min(when.astimezone(UTC), last).astimezone(when.tzinfo)


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


def rain_cover_off(rain_end: datetime, *, marks: bool) -> datetime:
    """Return when plastic against rain comes off: by day; where it marks the top, at once."""
    over = half_hour_up(rain_end)
    return over if marks else by_day(over)


def for_people(when: datetime) -> datetime:
    """Return the first half hour that is not before `when`, and not in the evening or at night, in its zone.

    So late nobody begins to use a slab; a date that falls then is printed for the next morning.
    """
    printed = half_hour_up(when)
    if printed.time() < EVENING:
        return by_day(printed)
    return datetime.combine(printed.date() + timedelta(days=1), WAKING_HOUR, when.tzinfo)


def monday_up(when: datetime) -> datetime:
    """Return the morning of the first Monday that is not before `when`, in the same zone."""
    morning = morning_up(when)
    return _morning_of(morning.date() + timedelta(days=-morning.weekday() % 7), when)


def half_month_up(when: datetime) -> datetime:
    """Return the first morning of a 1st or a 16th that is not before `when`, in the same zone."""
    day = morning_up(when).date()
    while day.day not in {1, _MIDDLE_OF_MONTH}:
        day += timedelta(days=1)
    return _morning_of(day, when)


def _morning_of(day: date, when: datetime) -> datetime:
    return datetime.combine(day, MORNING, when.tzinfo)


def round_up(when: datetime, placed: datetime) -> PrintedTime:
    """Return a time that must not be printed too early: to the half hour at first, then to the morning."""
    if when - placed <= EXACT_PERIOD:
        return PrintedTime(half_hour_up(when), "half-hour")
    return PrintedTime(morning_up(when), "day")


def printed_not_before(when: datetime, kind: str, placed: datetime) -> PrintedTime:
    """Return an earliest date of a kind as printed to the hour or day; most kinds wait for daytime."""
    if kind in {MilestoneKind.FIRST_WATER, MilestoneKind.SAW_JOINTS}:  # with an end, to the half hour
        return PrintedTime(half_hour_up(when), "half-hour")
    if kind == MilestoneKind.PROTECTION_ENDS:  # at the warmest hour
        return PrintedTime(half_hour_up(when), "half-hour")
    waits = kind in set(MilestoneKind) - set(AT_ANY_HOUR)
    return round_up(for_people(when) if waits else when, placed)


def frost_safe_under_blankets(schedule: CureSchedule, off: datetime | None) -> PrintedTime | None:
    """Return from when a slab under enough blankets from the start stands a first frost, as printed.

    Args:
        schedule: Its `protection.until` is that time, before it is rounded.
        off: When the covers come off by dates that count no blankets; None: past the estimate.

    Returns:
        None without such a time, and where it is printed for no day before that of `off`.
    """
    under = None if schedule.protection is None else schedule.protection.until
    if under is None:
        return None
    printed = printed_not_before(under, MilestoneKind.FROST_SAFE, schedule.placement_end)
    zone = ZoneInfo(schedule.timezone)
    if off is not None and printed.instant.astimezone(zone).date() >= off.astimezone(zone).date():
        return None
    return printed


def round_to(precision: Precision, when: datetime, kind: str, placed: datetime) -> datetime:
    """Return an earliest date of a kind, rounded up to a precision."""
    coarse = {"week": monday_up, "half-month": half_month_up}
    if precision in coarse:
        return coarse[precision](for_people(when))
    return printed_not_before(when, kind, placed).instant


def printed_time(milestone: Milestone, placed: datetime) -> PrintedTime | None:
    """Return the date of a milestone as printed; None past the estimate.

    A schedule has it; one that an earlier version wrote has not.
    """
    when, kind = milestone.not_before, milestone.kind
    if when is None:
        return None
    if milestone.printed is not None:
        return milestone.printed
    if milestone.because.governing.rule in AT_THE_WARMEST_HOUR:  # a morning later it may have frozen
        return PrintedTime(half_hour_up(when), "half-hour", _may_move(milestone, when, placed))
    printed = printed_not_before(when, kind, placed)
    precision = _coarse_precision(milestone, when, placed) or printed.precision
    return PrintedTime(round_to(precision, when, kind, placed), precision, _may_move(milestone, when, placed))


def print_dates(milestones: Iterable[Milestone], placed: datetime) -> tuple[Milestone, ...]:
    """Return milestones with their printed dates; none is printed before one that must come first."""
    printed = {each.kind: replace(each, printed=printed_time(each, placed)) for each in milestones}
    for first, second in WAITING_FOR:
        if first in printed and second in printed:
            printed[first] = _printed_by(printed[second], printed[first])
    uses = (printed[kind] for kind in ORDERED_USES if kind in printed)
    latest: PrintedTime | None = None
    for use in uses:
        own = use.printed
        if (
            own is not None
            and latest is not None
            and own.instant.astimezone(UTC) < latest.instant.astimezone(UTC)
        ):
            own = replace(latest, may_move=own.may_move or latest.may_move)
            printed[use.kind] = replace(use, printed=own)
        latest = own or latest
    return tuple(printed.values())


def _printed_by(waiting: Milestone, first: Milestone) -> Milestone:
    """Return a milestone that is not printed after one that waits for it only because it is rounded more."""
    own, other = first.printed, waiting.printed
    if own is None or other is None or first.not_before is None:
        return first
    instants = (each.astimezone(UTC) for each in (first.not_before, other.instant, own.instant))
    met, printed, rounded = instants
    if not met <= printed < rounded:
        return first
    return replace(first, printed=replace(other, may_move=own.may_move))


def _coarse_precision(milestone: Milestone, when: datetime, placed: datetime) -> Precision | None:
    """Return "week" or "half-month" for a use that is known no better, by its spread and its distance."""
    if milestone.kind not in USES:
        return None
    spread = HALF_MONTH_FROM if milestone.likely is None else when - milestone.likely
    if when - placed >= HALF_MONTH_AFTER or spread >= HALF_MONTH_FROM:
        return "half-month"
    return "week" if spread >= WEEK_FROM else None


def _may_move(milestone: Milestone, when: datetime, placed: datetime) -> bool:
    """Return whether weather past the forecast may move a date: not one that is a time alone."""
    if milestone.basis != "typical":
        return False
    because = milestone.because
    if because.governing.likely != because.governing.not_before:
        return True
    near = placed + (when - placed) * WEATHER_REACH
    return any(
        each.not_before is None or (each.likely != each.not_before and each.not_before >= near)
        for each in because.others
    )


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


def early_entry_hours(schedule: CureSchedule) -> tuple[datetime, datetime] | None:
    """Return the first and the last hour of an early-entry saw that may come in place of a conventional one.

    Both as printed. None where it need not come sooner, comes too late, or where no hours fit the whole slab.
    """
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    trial = None if saw is None else trial_cut(saw)
    windows = () if schedule.joints is None else schedule.joints.windows
    if trial is None or all(each.saw == EARLY_ENTRY for each in windows):
        return None
    for each in windows:
        if each.saw == EARLY_ENTRY and each.part == "whole" and each.opens and each.closes:
            opens, closes = half_hour_down(each.opens), half_hour_down(each.closes)
            if opens < min(trial, closes) and schedule.is_ahead(closes):
                return opens, closes
    return None


def saw_meets_water(schedule: CureSchedule) -> bool:
    """Return whether a watering overlaps the remaining hours of sawing."""
    visits = (each for day in schedule.watering for each in day.visits if each.litres)
    return any(is_sawn_within(schedule, each.start, each.end) for each in visits)


def is_sawn_within(schedule: CureSchedule, start: datetime, end: datetime) -> bool:
    """Return whether the remaining hours of sawing, from the trial cut on, overlap a span."""
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    if saw is None or saw.not_before is None or saw.not_after is None:
        return False
    ends = last_cut(saw, schedule.joints)
    if ends is None or ends <= schedule.issued_at:
        return False
    begins = trial_cut(saw) or schedule.placement_end
    return begins < end and start < ends
