"""The looks at the sheets of several slabs of one site: on the same days, in their most frequent rhythm.

Each slab is looked at every day at first, then every second day. By themselves two of them may be looked at
in turns, so that somebody comes every day. Together, a day on which one look is due has a look at each sheet,
and the next one is due as long after it as by itself. No slab is looked at less often than by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from handover.schedule.cover_times import frost_covers
from handover.schedule.look_rhythm import LookRhythm
from handover.schedule.model import NO_LOOK, SHEET, CureSchedule

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from handover.schedule.cover_times import FrostCover
    from handover.schedule.model import Visit, WateringDay


def look_together(schedules: Sequence[CureSchedule], as_of: datetime) -> tuple[CureSchedule, ...]:
    """Return the schedules of slabs of one site with the looks at their sheets on the same days.

    The days are those of the plans from their beginning, so that papers which are joined again keep them.

    Args:
        schedules: As issued.
        as_of: Time of issue, aware; what is past by then stays as it is.
    """
    found = list(schedules)
    slabs = {at: _Looks(each) for at, each in enumerate(schedules) if each.curing_method == SHEET}
    while len(slabs) > 1:
        planned = _plan(slabs)
        without = {at for at, days in planned.items() if days is None}
        if not without:
            for at, days in planned.items():
                found[at] = slabs[at].with_days(days or {}, as_of)
            break
        slabs = {at: each for at, each in slabs.items() if at not in without}
    return tuple(found)


def _plan(slabs: Mapping[int, _Looks]) -> dict[int, dict[date, WateringDay] | None]:
    """Return the days of each slab; None for one that a day leaves without the look that is due."""
    planned: dict[int, dict[date, WateringDay] | None] = {at: {} for at in slabs}
    rhythms = {at: LookRhythm() for at in slabs}
    for day in sorted({each for slab in slabs.values() for each in slab.days}):
        own = {at: slab.days[day] for at, slab in slabs.items() if day in slab.days}
        is_due = {at: _is_due(each, rhythms[at]) for at, each in own.items()}
        for at, each in own.items():
            new = slabs[at].looked_at(each, rhythms[at]) if any(is_due.values()) else _rest(each)
            days = planned[at]
            if days is None or (is_due[at] and not new.visits):
                planned[at] = None
                continue
            days[day] = new
            rhythms[at] = rhythms[at].after(day) if new.visits else rhythms[at]
    return planned


def _is_due(day: WateringDay, rhythm: LookRhythm) -> bool:
    """Return whether a look is due on a day on which one may be; the first one is that of the slab itself."""
    return rhythm.is_due(day.date) if rhythm.first is not None else bool(day.visits)


def _rest(day: WateringDay) -> WateringDay:
    """Return a day without its look."""
    return replace(day, visits=(), skipped_because=NO_LOOK) if day.visits else day


def _is_open(day: WateringDay) -> bool:
    """Return whether a look may be on a day: frost and rain leave the cover alone."""
    return bool(day.visits) or day.skipped_because == NO_LOOK


@dataclass(frozen=True)
class _Looks:
    """The looks at the sheet of one slab, by its own schedule."""

    schedule: CureSchedule

    @cached_property
    def days(self) -> dict[date, WateringDay]:
        """The days on which a look may be."""
        return {each.date: each for each in self.schedule.watering if _is_open(each)}

    @cached_property
    def covers(self) -> tuple[FrostCover, ...]:
        """The covers against frost."""
        return frost_covers(self.schedule)

    @cached_property
    def visits(self) -> list[Visit]:
        """Its own looks, in order of time."""
        return [each for day in self.days.values() for each in day.visits]

    def looked_at(self, day: WateringDay, rhythm: LookRhythm) -> WateringDay:
        """Return a day with a look, at the hours of its nearest one; without, where that does not fit.

        Before its first look by itself a slab has none: nobody steps there yet.
        """
        if day.visits or rhythm.first is None:
            return day
        near = min(self.visits, key=lambda each: abs(each.start.date() - day.date))
        start, end = (datetime.combine(day.date, each.time(), each.tzinfo) for each in (near.start, near.end))
        look = replace(near, start=start, end=end)
        fits = any(each.start <= start and end <= each.end for each in day.water_hours)
        if not fits or any(each.meets(look) for each in self.covers):
            return day
        return replace(day, visits=(look,), skipped_because=None)

    def with_days(self, days: Mapping[date, WateringDay], as_of: datetime) -> CureSchedule:
        """Return the schedule with some days in place of those that are ahead."""
        watering = (
            days[each.date] if each.date in days and _is_ahead(each, days[each.date], as_of) else each
            for each in self.schedule.watering
        )
        return replace(self.schedule, watering=tuple(watering))


def _is_ahead(own: WateringDay, new: WateringDay, as_of: datetime) -> bool:
    """Return whether no look of a day, by itself or together, has begun by an instant."""
    return all(each.start.astimezone(UTC) > as_of.astimezone(UTC) for each in (*own.visits, *new.visits))
