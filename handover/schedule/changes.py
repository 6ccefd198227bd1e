"""Changes from one issue of a job to the next: the dates that moved, and the causes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from functools import cached_property
from math import isclose, nan
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.practice.rules import practice as general_practice
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import RAIN, SAME_BLANKET, Change, Figure, MilestoneKind, PrintedTime
from handover.schedule.printed_times import printed_time, trial_cut

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.practice.rules import Practice
    from handover.schedule.model import Cause, CureSchedule, Measurement, Milestone, Visit, WateringDay

SETS = (MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET)
"""Dates that are not compared: nobody waits for them once the slab is finished, and no owner's document has
them."""

SAW_LAST = "saw-joints-last"

WATERING = "watering"
FROST = "frost"
SPELLS = (FROST, RAIN)
"""Risks that come and go: a stretch of weather that harms the slab."""

TIMER = "timer"
"""The program of a timer, which is set again."""

BLANKET_NEED = "blanket"
"""The cover against frost, where more resistance is needed than before."""

UNEXPLAINED = (*SPELLS, BLANKET_NEED, TIMER)
"""Changes that are no move of a date, so that no input is found that moved it."""

_MEASURED: dict[str, Cause] = {
    "ticket": "ticket",
    "standard-cylinder": "cylinder",
    "field-cylinder": "cylinder",
    "temperature-log": "log",
    "finishing": "surface",
    "scratch": "surface",
    "infrared": "surface",
}
_SKIPPED: dict[str, tuple[Cause, Cause]] = {"rain": ("rain", "no-rain"), "frost": ("frost", "no-frost")}
_READ_BACK = 1e-4  # a stored schedule is rounded to six figures


def changes(
    earlier: CureSchedule, later: CureSchedule, practice: Practice | None = None
) -> tuple[Change, ...]:
    """Return the changes from one schedule of a job to the next, in order of time.

    A date that was past when the later one was issued, and still is, does not change any more. Every other
    date that reads differently is returned, with another precision too: "the week of December 21" is not
    "January 2027", though that is what it rounds up to. The documents decide whether its words differ. Visits
    count if they moved by at least the amounts in `practice` under "change". The causes are what differs
    between the two schedules; which of them moved a date is found by `handover.schedule.reasons`, from the
    inputs.

    Args:
        earlier: As issued, or read back from its schedule.json.
        later: Of the same job.
        practice: Rules; those that ship with the package if left out.
    """
    found = _Comparison(earlier, later, practice or general_practice())
    return tuple(sorted(found.all(), key=lambda each: min((*each.after, *each.before)).astimezone(UTC)))


@dataclass(frozen=True)
class _Comparison:
    """Two schedules of one job, side by side."""

    earlier: CureSchedule
    later: CureSchedule
    practice: Practice

    def all(self) -> Iterator[Change]:
        dates = tuple(self._dates())
        yield from dates
        waterings = self._waterings({each.kind: each for each in dates if self._exceeds_threshold(each)})
        again = None if self.later.timer_reset == self.earlier.timer_reset else self.later.timer_reset
        if (
            again is not None
        ):  # one line for the hours of all days; days without water, or with it again, stay
            yield Change(TIMER, (), (again,))
            waterings = (each for each in waterings if not (each.before and each.after))
        yield from waterings
        for code in SPELLS:
            yield from self._spells(code)
        yield from self._blanket()

    # ---- dates

    def _dates(self) -> Iterator[Change]:
        for kind in MilestoneKind:
            if kind not in SETS:
                was, now = self.earlier.milestone(kind), self.later.milestone(kind)
                one, other = (
                    None if each is None else _as_printed(each, schedule)
                    for each, schedule in ((was, self.earlier), (now, self.later))
                )
                if _reads_differently(one, other):
                    yield from self._date(kind, one, other)
                if kind == MilestoneKind.SAW_JOINTS:  # of this one the end is compared as well
                    yield from self._ends(
                        SAW_LAST, getattr(was, "not_after", None), getattr(now, "not_after", None)
                    )

    def _date(self, kind: str, one: PrintedTime | None, other: PrintedTime | None) -> Iterator[Change]:
        """Yield the change of a date that reads differently, each time as its issue prints it."""
        before, after = (None if each is None else each.instant for each in (one, other))
        was, now = (None if each is None else each.precision for each in (one, other))
        for each in self._change(kind, before, after):
            yield replace(each, precision=now or was, precision_before=was if now and was != now else None)

    def _ends(self, kind: str, before: datetime | None, after: datetime | None) -> Iterator[Change]:
        if _differs(before, after):
            yield from self._change(kind, before, after)

    def _change(self, kind: str, before: datetime | None, after: datetime | None) -> Iterator[Change]:
        """Yield the change of a date, unless it is past in both issues."""
        if not self._past_dates(*filter(None, (before, after))):
            causes = self._causes()
            if kind == MilestoneKind.CURING_ENDS and self._dries_sooner(before, after, causes):
                causes = ("repeated-frost",)
            yield Change(kind, _one(before), _one(after), causes)

    def _is_moved(self, before: datetime | None, after: datetime | None) -> bool:
        """Return whether a time moved by enough to count."""
        if before is None or after is None:
            return before is not after
        first, last = sorted((before.astimezone(UTC), after.astimezone(UTC)))
        soon = first <= self.later.placement_end.astimezone(UTC) + self._hours("change.soon-until")
        return last - first >= self._hours("change.soon" if soon else "change.later")

    def _past_dates(self, *instants: datetime) -> bool:
        issued = self.later.issued_at.astimezone(UTC)
        return all(each.astimezone(UTC) <= issued for each in instants)

    def _hours(self, rule: str) -> timedelta:
        return timedelta(hours=self.practice[rule])

    # ---- days of watering

    def _exceeds_threshold(self, change: Change) -> bool:
        """Return whether a date moved to another day, or by enough to count."""
        before, after = _only(change.before), _only(change.after)
        return self._is_moved(before, after) or (before and before.date()) != (after and after.date())

    def _waterings(self, dates: dict[str, Change]) -> Iterator[Change]:
        """Yield the days whose visits differ, except those that a moved date already explains."""
        explained = {each.date() for each in _both(dates.get(MilestoneKind.FIRST_WATER))}
        ends = [each.date() for each in _both(dates.get(MilestoneKind.CURING_ENDS))]
        days = {each.date: each for each in self.earlier.watering}
        fresh = {each.date: each for each in self.later.watering}
        for day in sorted(days.keys() | fresh.keys()):
            if day not in explained and not (ends and min(ends) <= day):
                yield from self._watering(days.get(day), fresh.get(day))

    def _watering(self, before: WateringDay | None, after: WateringDay | None) -> Iterator[Change]:
        old, new = self._to_come(before), self._to_come(after)
        same = len(old) == len(new) and not any(map(self._is_moved, old, new))
        if not same:
            yield Change(WATERING, old, new, self._causes_of_day(before, after))

    def _to_come(self, day: WateringDay | None) -> tuple[datetime, ...]:
        visits: Iterable[Visit] = day.visits if day else ()
        return tuple(sorted(each.start for each in visits if not self._past_dates(each.end)))

    def _causes_of_day(self, before: WateringDay | None, after: WateringDay | None) -> tuple[Cause, ...]:
        was, now = before and before.skipped_because, after and after.skipped_because
        if was != now:
            if now in _SKIPPED:
                return (_SKIPPED[now][0],)
            if was in _SKIPPED:
                return (_SKIPPED[was][1],)
        return self._causes()

    # ---- frost, and rain on the fresh slab

    def _spells(self, code: str) -> Iterator[Change]:
        """Yield the beginnings of a risk that is new, and those of one that is not expected any more.

        Spells that touch are one span. One that lasts on into new days, or begins in others, is the same.
        """
        before, after = self._spans(self.earlier, code), self._spans(self.later, code)
        for start, end in before:
            if not any(_overlap(self._whole_days(start, end), span) for span in after):
                yield Change(code, _one(self._at_site(start)), ())
        for start, end in after:
            same = [first for first, last in before if _overlap((start, end), (first, last))]
            if not same or (start < min(same) and self._is_moved(start, min(same))):
                yield Change(code, (), _one(self._at_site(start)))

    def _spans(self, schedule: CureSchedule, code: str) -> list[tuple[datetime, datetime]]:
        """Return the union of the hours of a risk that are not past, as spans in UTC, in order."""
        ahead = [each for each in schedule.risks if each.code == code and not self._past_dates(each.end)]
        spans: list[tuple[datetime, datetime]] = []
        for start, end in sorted((each.start.astimezone(UTC), each.end.astimezone(UTC)) for each in ahead):
            if spans and start <= spans[-1][1]:
                spans[-1] = (spans[-1][0], max(spans[-1][1], end))
            else:
                spans.append((start, end))
        return spans

    def _whole_days(self, start: datetime, end: datetime) -> tuple[datetime, datetime]:
        """Return a span widened to whole days of the site: "not on Tuesday any more" means all of Tuesday."""
        first, last = (self._at_site(each).date() for each in (start, end))
        zone = ZoneInfo(self.later.timezone)
        begins, over = (
            datetime.combine(each, time(), zone).astimezone(UTC) for each in (first, last + timedelta(days=1))
        )
        return begins, over

    def _at_site(self, instant: datetime) -> datetime:
        return instant.astimezone(ZoneInfo(self.later.timezone))

    # ---- blankets

    def _blanket(self) -> Iterator[Change]:
        """Yield that the cover against frost needs more resistance, while one is still to lie."""
        lies = self._covered_from
        was, now = (each.protection for each in (self.earlier, self.later))
        if lies is None or was is None or now is None or not was.enough:
            return  # a frost that is new names its blanket
        if now.enough is None or now.enough > was.enough * (1.0 + SAME_BLANKET):
            figures = (
                Figure("blanket", _or_nan(now.enough), "m2K/W"),
                Figure("blanket_before", was.enough, "m2K/W"),
                Figure("at_edges", _or_nan(now.enough_at_edges), "m2K/W"),
                Figure("at_edges_before", _or_nan(was.enough_at_edges), "m2K/W"),
            )
            yield Change(BLANKET_NEED, (), _one(self._at_site(lies)), figures=figures)

    @property
    def _covered_from(self) -> datetime | None:
        """Return from when the first cover lies that is not off at the time of issue; None: none does."""
        ends = self.later.milestone(MilestoneKind.PROTECTION_ENDS)
        if (laid := self.later.blankets_on) is not None:
            off = None if ends is None else ends.not_before
            return laid if off is None or self.later.is_ahead(off) else None
        covers = frost_covers(self.later)
        return next(
            (each.start for each in covers if each.end is None or self.later.is_ahead(each.end)), None
        )

    # ---- causes

    def _dries_sooner(
        self, before: datetime | None, after: datetime | None, causes: tuple[Cause, ...]
    ) -> bool:
        """Return whether moist curing ends sooner so that the slab is dry when it freezes again and again."""
        if after is None or not self.later.dries_before_frost:
            return False
        is_sooner = before is None or after.timestamp() < before.timestamp()
        return is_sooner and (not self.earlier.dries_before_frost or causes in ((), ("forecast",)))

    def _causes(self) -> tuple[Cause, ...]:
        """Return what differs between the two: measurements, else the record, else the weather."""
        if self._newly_measured:
            return self._newly_measured
        if self._record_changed:
            return ("record",)
        return () if self._same_weather else ("forecast",)

    @property
    def _same_weather(self) -> bool:
        one, other = self.earlier.weather, self.later.weather
        columns = ("air_c", "relative_humidity", "wind_ms", "shortwave_wm2", "precipitation_mm")
        return len(one.time) == len(other.time) and all(
            np.allclose(getattr(one, each), getattr(other, each), rtol=_READ_BACK, atol=_READ_BACK)
            for each in columns
        )

    @cached_property
    def _newly_measured(self) -> tuple[Cause, ...]:
        known = self.earlier.measurements
        fresh = [
            each for each in self.later.measurements if not any(_same_measurement(each, old) for old in known)
        ]
        return tuple(dict.fromkeys(_MEASURED[each.kind] for each in fresh))

    @property
    def _record_changed(self) -> bool:
        """Return whether the record's slab, mix or placement changed."""
        one, other = self.earlier, self.later
        numbers = ("area_m2", "thickness_m", "specified_strength_mpa")
        mix = ("water_cementitious", "cementitious", "activation_energy", "ultimate_hydration")
        texts = ("placement_start", "placement_end", "finished", "curing_method", "timezone")
        old, new = ({each.name: each.value for each in schedule.figures} for schedule in (one, other))
        return (
            any(getattr(one, each) != getattr(other, each) for each in texts)
            or any(not _close(getattr(one, each), getattr(other, each)) for each in numbers)
            or any(not _close(old.get(each, 0.0), new.get(each, 0.0)) for each in mix)
        )


def _as_printed(milestone: Milestone, schedule: CureSchedule) -> PrintedTime | None:
    """Return a date as the papers print it: of the joints, the hour of the first trial cut."""
    trial = trial_cut(milestone)
    if trial is not None:
        return PrintedTime(trial, "half-hour")
    return printed_time(milestone, schedule.placement_end)


def _reads_differently(one: PrintedTime | None, other: PrintedTime | None) -> bool:
    """Return whether a date is printed otherwise: at another time, or to another precision."""
    if one is None or other is None:
        return one is not other
    return one.precision != other.precision or _differs(one.instant, other.instant)


def _or_nan(value: float | None) -> float:
    """Return a number; one that is not known as not a number."""
    return nan if value is None else value


def _one(instant: datetime | None) -> tuple[datetime, ...]:
    return () if instant is None else (instant,)


def _overlap(one: tuple[datetime, datetime], other: tuple[datetime, datetime]) -> bool:
    return one[0] < other[1] and other[0] < one[1]


def _only(instants: tuple[datetime, ...]) -> datetime | None:
    return instants[0] if instants else None


def _differs(before: datetime | None, after: datetime | None) -> bool:
    if before is None or after is None:
        return before is not after
    return before.astimezone(UTC) != after.astimezone(UTC)


def _both(change: Change | None) -> tuple[datetime, ...]:
    return () if change is None else (*change.before, *change.after)


def _same_measurement(one: Measurement, other: Measurement) -> bool:
    return (
        (one.kind, one.name, one.at) == (other.kind, other.name, other.at)
        and [each.name for each in one.measured] == [each.name for each in other.measured]
        and all(
            _close(mine.value, theirs.value)
            for mine, theirs in zip(one.measured, other.measured, strict=True)
        )
    )


def _close(one: float, other: float) -> bool:
    return isclose(one, other, rel_tol=_READ_BACK)
