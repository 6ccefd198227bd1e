"""What owner and crew have to do: one list, in which each decision and each hour is made once.

Calendars and sheets read the list; `handover.documents` has the words of each kind. It follows from schedule
and record alone: a schedule of an earlier version, which has no list, gets the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from itertools import chain, zip_longest
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules
from handover.schedule.cover_times import (
    FOGGING,
    STRIPPING,
    first_visit,
    frost_covers,
    is_covered_between_waterings,
    is_hose_by_crew,
    is_rain_kept_off,
    is_sheet_in_doubt,
    is_soft,
    is_walkable,
    left_on_until_water,
    may_water_freeze,
    pipes_by,
    sheet_after_blankets,
    start_of_brought_cover,
    uncovered_from,
    walk_through,
    washing_rains,
    ways_left,
)
from handover.schedule.model import (
    BURLAP,
    COVER_FOR_COAT,
    PONDING,
    RAIN,
    SHEET,
    CoverSpan,
    MilestoneKind,
    Task,
)
from handover.schedule.owner_dates import is_cold, owner_kinds
from handover.schedule.printed_times import (
    COVERING,
    SLEEPING_HOUR,
    before_the_night,
    by_day,
    danger_hours,
    evening_of,
    for_people,
    half_hour_down,
    last_cut,
    printed_time,
    rain_cover_off,
    trial_cut,
    warmest_down,
    warmest_up,
)
from handover.schedule.remaining_watering import remaining_watering
from handover.schedule.salt_season import first_cold, has_salt_season
from handover.schedule.timer import LOOKING, is_by_timer, timer_tasks

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.cover_times import FrostCover
    from handover.schedule.model import (
        CureSchedule,
        Party,
        PrintedTime,
        Risk,
        SurfaceChoice,
        SurfaceTask,
        Visit,
    )

PERMISSION = general_rules().duration("visit.permission")
"""Length of a task that has only a beginning: from then on something is allowed."""

SAWING = general_rules().duration("visit.sawing")
RUBBING = general_rules().duration("visit.rubbing")
WALKING = general_rules().duration("visit.walk-through")
"""Time for each kind of work."""

MORNING = general_rules().clock_time("day.morning")
EARLIEST_START = general_rules().clock_time("start.earliest")
"""Before this hour a crew works at night."""

PERMISSIONS = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.CURING_ENDS,
)
"""Printed with the hour."""

DISTANT = (MilestoneKind.SEAL, MilestoneKind.HEATING, MilestoneKind.FLOOR_COVERING)
"""Printed with the day only."""

WATERING = "watering"
"""Kind of the owner's waterings, of their looks at a cover, and of their work with a timer."""

RAIN_DAY = "rain-day"
"""Kind of a day on which rain should water the slab; if it stays dry, the owner does."""

NO_SALT = "no-salt"
SURFACE = "surface"
RAIN_COVER = "rain-cover"
RAIN_COVER_OFF = "rain-cover-off"
LOOK_COAT = "look-coat"
LOOK_JOINTS = "look-joints"
LAY_HOSE = "lay-hose"
BUILD_RIM = "build-rim"
PIPES_FROST = "pipes-frost"
RUB_EDGES = "rub-edges"
WALK_THROUGH = "walk-through"
FROST_COVER = "frost-cover"
COVER_NOT_WATER = "cover-not-water"
COVERS = (FROST_COVER, COVER_NOT_WATER)
BRING_BLANKETS = "bring-blankets"
BRING_COVER = "bring-cover"
BY_CREW = "by-crew"
BLANKETS_ON = "blankets-on"
BLANKETS_OFF = "blankets-off"
"""Kinds that are no date of the schedule."""

UNDATED = "undated"
"""How joints are sawn whose hour could not be computed: by trial cuts."""

OWNER_SETS = ("set-timer", "set-timer-ahead")
"""How an owner sets a timer: at a run, or ahead of it."""

RESET_TIMER = "reset-timer"
"""How an owner sets a timer again: its program is another one than in the issue before."""

BY_WALKING, BY_EDGES = "by-walking", "by-edges"
"""Why crew and owner meet from an hour on: walking is allowed from then on, or the edges are done."""

IN_DOUBT = "in-doubt"
"""How work is done of which nobody knows whether it was done: the person there looks."""

BENEATH_COVER = "under-cover"
"""How work is done, and its note, where a cover is lifted for it and laid back."""

UNWATCHED = "unwatched"
"""Note of a cover that nobody looks after while it lies: by the record, nobody is there."""

RESPIRATOR = "respirator"
"""Note of joints that nobody saws without one."""

NEXT = "next"
"""Note of the cover against frost that lies on the slab before the next watering."""

AFTER_RAIN, AFTER_COVER = "compound-after-rain", "compound-after-cover"
COVER_FIRST = {AFTER_COVER, COVER_FOR_COAT}
"""Ways in which a cover against frost goes on before any compound."""

WAIT = {AFTER_RAIN, *COVER_FIRST}
"""Ways in which nothing is sprayed right after the last pass."""

INSULATING_BLANKET = "insulating blanket"
SHEET_LAY = "sheet-lay"
SHEET_BLANKETS = "sheet-blankets"

_COVERS_FROM = ("fog-cover",)
"""Ways that end with a cover that is laid once a step leaves no mark."""

_LAYS = ("lay", SHEET_LAY)
"""Ways to treat the surface for which the crew comes back to lay a cover."""


def with_tasks(schedule: CureSchedule, job: JobRecord) -> CureSchedule:
    """Return a schedule with the list of its tasks, if it has none yet, or covers without their span."""
    whole = all(each.span is not None for each in schedule.tasks if each.kind in COVERS)
    return schedule if schedule.tasks and whole else replace(schedule, tasks=plan_tasks(schedule, job))


def plan_tasks(schedule: CureSchedule, job: JobRecord) -> tuple[Task, ...]:
    """Return what owner and crew have to do, in order of time; nothing for a date past the estimate.

    Args:
        schedule: The whole schedule; its own list of tasks is not read.
        job: Its record.
    """
    planner = _Planner(schedule, job)
    of_crew = map(planner.from_first_issue_on, planner.of_crew())
    return tuple(sorted(chain(planner.of_owner(), of_crew), key=_place))


def is_over(schedule: CureSchedule, task: Task) -> bool:
    """Return whether it is too late for a task at the time of issue.

    Edge forms can come off at any time; joints without an hour are listed until the slab bears feet.
    """
    lasts = task.kind == MilestoneKind.STRIP_EDGE_FORMS or task.how == UNDATED
    return not lasts and not schedule.is_ahead(task.until or task.end)


def is_begun(schedule: CureSchedule, task: Task) -> bool:
    """Return whether a task has begun, and is not over, at the time of issue."""
    return not schedule.is_ahead(task.start) and not is_over(schedule, task)


def from_issue_on(schedule: CureSchedule, task: Task) -> datetime:
    """Return from when work goes on at the time of issue, or begins early: no hour before it began."""
    issued = half_hour_down(schedule.issued_at.astimezone(task.start.tzinfo))
    return issued if schedule.is_ahead(task.start) else max(issued, task.start)


def is_pond(schedule: CureSchedule) -> bool:
    """Return whether water is to stand on the slab until curing ends: not on a slope, nor without water."""
    is_level = not schedule.has_caution("steep")
    return schedule.curing_method == PONDING and is_level and first_visit(schedule) is not None


def is_pond_filled_by(schedule: CureSchedule, when: datetime) -> bool:
    """Return whether a pond has had its first water by an instant; before that, none can be let off."""
    first = first_visit(schedule)
    return first is not None and _utc(first.start) < _utc(when)


def is_sawing_over(schedule: CureSchedule) -> bool:
    """Return whether the hours of sawing are past at the time of issue; a slab that is not sawn has none."""
    return _is_over_by(schedule, schedule.tasks_of("crew", MilestoneKind.SAW_JOINTS))


def are_joints_in_doubt(schedule: CureSchedule) -> bool:
    """Return whether nobody knows if the joints were cut: from their last hour on, until curing ends."""
    return _are_in_doubt(schedule, schedule.tasks_of("crew", MilestoneKind.SAW_JOINTS))


def _are_in_doubt(schedule: CureSchedule, sawing: Iterable[Task]) -> bool:
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    is_cured = ends is not None and ends.not_before is not None and not schedule.is_ahead(ends.not_before)
    return not is_cured and _is_over_by(schedule, sawing)


def _is_over_by(schedule: CureSchedule, sawing: Iterable[Task]) -> bool:
    is_sawn = schedule.milestone(MilestoneKind.SAW_JOINTS) is not None
    return is_sawn and all(is_over(schedule, each) for each in sawing)


def next_cover(schedule: CureSchedule) -> Task | None:
    """Return the cover against frost that lies on the slab before the next watering, as the owner has it."""
    return next((each for each in cover_tasks(schedule) if NEXT in each.notes), None)


def cover_tasks(schedule: CureSchedule) -> tuple[Task, ...]:
    """Return the laying of each cover once, in order of time: the owner has those of the crew too."""
    return schedule.tasks_of("owner", *COVERS)


def staying_cover(schedule: CureSchedule) -> Task | None:
    """Return the crew's cover that stays until a date; None where each comes off for the next water."""
    covers = (each for each in cover_tasks(schedule) if is_laid_by_crew(each))
    return next((each for each in covers if each.span is not None and each.span.off is not None), None)


def is_to_lie(schedule: CureSchedule, cover: Task) -> bool:
    """Return whether a cover still lies at the time of issue, or is laid later."""
    end = None if cover.span is None else cover.span.end
    return end is None or end > schedule.issued_at


def unwatched_covers(schedule: CureSchedule) -> tuple[Task, ...]:
    """Return the laying of each cover of blankets that nobody looks after, without those that are off."""
    ends = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    off = None if ends is None else ends.not_before
    curing = schedule.tasks_of("crew", BLANKETS_ON) if off is None or schedule.is_ahead(off) else ()
    against_frost = (each for each in cover_tasks(schedule) if is_to_lie(schedule, each))
    return tuple(each for each in (*curing, *against_frost) if UNWATCHED in each.notes)


def is_laid_by_crew(cover: Task) -> bool:
    """Return whether the crew lays a cover, be it the crew's task or the same one seen by the owner."""
    return cover.by == "crew" or cover.how == BY_CREW


def is_held_clear(schedule: CureSchedule, cover: Task) -> bool:
    """Return whether the crew holds a cover clear of the slab at first, on boards: it has not likely set."""
    return cover.by == "crew" and is_soft(schedule, cover.start)


def covers_at(cover: Task, when: datetime) -> bool:
    """Return whether a cover lies on the slab at an instant; one whose end is not known does."""
    end = None if cover.span is None else cover.span.end
    return _utc(cover.start) <= _utc(when) and (end is None or _utc(when) < _utc(end))


def cover_lifts(schedule: CureSchedule, cover: Task) -> tuple[Task, ...]:
    """Return the crew's work still to come for which it lifts a cover for a while, and lays it back."""
    work = schedule.tasks_of("crew", BUILD_RIM, MilestoneKind.SAW_JOINTS)
    lifting = (
        each for each in work if BENEATH_COVER in (each.how, *each.notes) and not is_over(schedule, each)
    )
    return tuple(each for each in lifting if covers_at(cover, each.start))


def covered_since(earlier: CureSchedule, when: datetime) -> datetime | None:
    """Return when the cover that lies on the slab at an instant was laid, as an earlier issue planned it.

    None where none was to lie there by then.
    """
    planned = (
        each for each in cover_tasks(earlier) if covers_at(each, when) and _utc(each.end) <= _utc(when)
    )
    return max((each.start for each in planned), key=_utc, default=None)


def waterings_ahead(schedule: CureSchedule) -> tuple[Task, ...]:
    """Return the owner's waterings, looks and work with a timer that are not over, in order of time."""
    return tuple(each for each in schedule.tasks_of("owner", WATERING) if schedule.is_ahead(each.end))


def next_watering(schedule: CureSchedule) -> Task | None:
    """Return the owner's next watering, look or work with a timer, or that of now; None: no more."""
    return next(iter(waterings_ahead(schedule)), None)


def later_watering(schedule: CureSchedule) -> Task | None:
    """Return the owner's next watering or look that has not begun; None without one, and with a timer."""
    waterings = (each for each in schedule.tasks_of("owner", WATERING) if not each.how)
    return next((each for each in waterings if schedule.is_ahead(each.start)), None)


@dataclass(frozen=True, eq=False)
class _Planner:
    """The tasks of one schedule. Sums are in UTC, where they are right across a clock change."""

    schedule: CureSchedule
    job: JobRecord

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.schedule.timezone)

    @cached_property
    def covers(self) -> tuple[FrostCover, ...]:
        return frost_covers(self.schedule)

    @cached_property
    def by_timer(self) -> bool:
        return is_by_timer(self.schedule, self.job)

    @cached_property
    def is_heated(self) -> bool:
        return has_salt_season(self.job.site)

    @cached_property
    def if_frost(self) -> str | None:
        """What the owner does in place of water if it may freeze; nothing where no cold is near."""
        if self.schedule.cure_mode != "wet" or not is_cold(self.schedule):
            return None
        return "drain" if self.schedule.curing_method == PONDING else "cover"

    def of_owner(self) -> Iterator[Task]:
        yield from self._timer() if self.by_timer else self._waterings()
        yield from self._rain_days()
        yield from self._permissions()
        yield from self._distant()
        yield from self._no_salt()
        yield from self._covers("owner")
        yield from self._walk_through("owner")
        yield from self._sheet_in_doubt("owner")

    def of_crew(self) -> Iterator[Task]:
        yield from self._rain_covers()
        yield from self._rain_covers_off()
        yield from self._surface()
        yield from self._look_at_coat()
        yield from self._hose()
        yield from self._rim()
        yield from self._pipes()
        yield from self._sawing()
        yield from self._undated_sawing()
        yield from self._joints_in_doubt()
        yield from self._edges()
        yield from self._walk_through("crew")
        yield from self._covers("crew")
        yield from self._bring_cover()
        yield from self._bring_blankets()
        yield from self._blankets()
        yield from self._covers_off()

    def from_first_issue_on(self, task: Task) -> Task:
        """Return work of the crew that can still be done, but whose hours a first issue would tell too late.

        It begins with the issue then, by day. A later issue leaves it where the first one put it.
        """
        if is_over(self.schedule, task):
            return task
        length = _utc(task.end) - _utc(task.start)
        start = self._from_first_issue_on(task.start, length)
        return replace(task, start=start, end=(_utc(start) + length).astimezone(self.zone))

    def _from_first_issue_on(self, start: datetime, length: timedelta) -> datetime:
        """Return when work begins; what would be over by a first issue begins with it, by day."""
        if not self.schedule.is_first_issue or self.schedule.is_ahead(_utc(start) + length):
            return start
        return by_day(half_hour_down(self.schedule.issued_at.astimezone(self.zone)))

    # ---- the owner's

    def _waterings(self) -> Iterator[Task]:
        in_rain = "water" if is_rain_kept_off(self.schedule) else "skip"
        filling = first_visit(self.schedule) if is_pond(self.schedule) else None  # no rain fills a pond
        for day in self.schedule.watering:
            for number, visit in enumerate(sorted(day.visits, key=lambda each: _utc(each.start)), 1):
                lifts = any(each.off is None and each.end == visit.start for each in self.covers)
                yield self._task(
                    WATERING,
                    "owner",
                    visit.start,
                    visit.duration,
                    because=WATERING,
                    occasion=f"{day.date} {number}",
                    litres=visit.litres or None,
                    notes=("cover-off",) if lifts else (),
                    if_rain=in_rain
                    if visit.litres and self.job.slab.gets_rain and visit is not filling
                    else None,
                    if_frost=self.if_frost,
                    if_nobody="call",
                )

    def _rain_days(self) -> Iterator[Task]:
        """Look out on each day without a watering because of rain: if it stays dry, the slab needs water."""
        if self.schedule.cure_mode != "wet":
            return
        for day in self.schedule.watering:
            if day.skipped_because == "rain" and not day.visits:
                noon = datetime.combine(day.date, MORNING, self.zone)
                yield self._on_day(RAIN_DAY, "owner", noon, because=WATERING, occasion=str(day.date))

    def _timer(self) -> Iterator[Task]:
        """Set the timer once, where the crew does not; then look at the slab, once a day at most.

        It is set again only where an issue changes its program.
        """
        work = timer_tasks(self.schedule, self.job)
        looks, watched, again = work.looks, work.watched is not None, self.schedule.timer_reset
        if again is not None:
            yield self._of_timer(RESET_TIMER, again, number=0)
            looks = tuple(each for each in looks if _utc(each) != _utc(again))
        if work.set_by is not None:
            yield self._of_timer("set-timer" if watched else "set-timer-ahead", work.set_by)
        elif looks and again is None and self._is_first_run_ahead():
            yield self._of_timer("first-run", looks[0], *(["cover-off"] if watched else []))
            looks = looks[1:]
        for look in looks:
            second = work.set_by is not None and work.set_by.date() == look.astimezone(self.zone).date()
            yield self._of_timer("look-timer", look, number=1 + second)

    def _is_first_run_ahead(self) -> bool:
        """Return whether no run of the timer has begun at the time of issue: the next one is its first."""
        first = first_visit(self.schedule)
        return first is not None and _utc(first.start) >= _utc(self.schedule.issued_at)

    def _of_timer(self, how: str, start: datetime, *notes: str, number: int = 1) -> Task:
        return self._task(
            WATERING,
            "owner",
            start,
            LOOKING,
            because=WATERING,
            how=how,
            occasion=f"{start.astimezone(self.zone).date()} {number}",
            notes=notes,
            if_rain="run" if self.job.slab.gets_rain else None,
            if_frost=self.if_frost,
            if_nobody="call",
        )

    def _permissions(self) -> Iterator[Task]:
        shown = owner_kinds(self.schedule, is_heated=self.is_heated)
        for kind, printed in self._printed_dates(kind for kind in PERMISSIONS if kind in shown):
            yield self._task(kind, "owner", printed.instant, PERMISSION, because=kind)

    def _distant(self) -> Iterator[Task]:
        for kind, printed in self._printed_dates(DISTANT):
            yield self._on_day(kind, "owner", printed.instant, because=kind)

    def _no_salt(self) -> Iterator[Task]:
        """A reminder, once the cold has begun, that salt must stay off: for some time, or for good."""
        if not self.is_heated:
            return
        salt = MilestoneKind.DEICING_SALT
        begins = first_cold(self.schedule.placement_end.astimezone(self.zone), self.job.site.latitude)
        cold = max(begins, self.schedule.issued_at.astimezone(self.zone))
        if any(each.kind == salt for each in self.schedule.refusals):
            yield self._on_day(NO_SALT, "owner", cold, because=salt, how="never")
        for _, allowed in self._printed_dates([salt]):
            if _utc(cold) < _utc(allowed.instant):
                yield self._on_day(NO_SALT, "owner", cold, because=salt)

    # ---- the crew's

    def _surface(self) -> Iterator[Task]:
        """Keep the finished surface damp until the first water, or lay the cover, or spray the compound."""
        task, left = self.schedule.surface, ways_left(self.schedule)
        if is_sheet_in_doubt(self.schedule):
            yield from self._sheet_in_doubt("crew")
            return
        if task is None or not left:
            return
        usual, start = left[0], _surface_start(self.schedule, task, left[0])
        end = max(_utc(usual.until), min(_utc(start) + COVERING, _utc(task.until)))
        work = self._task(
            SURFACE,
            "crew",
            start,
            end - _utc(start),
            because=f"surface-{task.work}",
            litres=usual.litres or None,
        )
        yield replace(work, notes=tuple(self._night(start))) if is_return(self.schedule, work) else work

    def _look_at_coat(self) -> Iterator[Task]:
        """Look at the compound on the morning after likely rain within its drying time, and spray again."""
        rain = rain_on_coat(self.schedule)
        if rain is None:
            return
        ended = rain.end.astimezone(self.zone)
        day = ended.date() + timedelta(days=ended.time() >= MORNING)
        start = datetime.combine(day, MORNING, self.zone)
        until = start + timedelta(days=1)
        yield self._task(LOOK_COAT, "crew", start, COVERING, because=RAIN, until=until)

    def _hose(self) -> Iterator[Task]:
        """Lay the soaker hose before the first water, where the owner may not step on the slab by then."""
        first = first_visit(self.schedule)
        if first is not None and is_hose_by_crew(self.schedule):
            yield self._task(
                LAY_HOSE,
                "crew",
                self._before_water(first),
                COVERING,
                because=str(MilestoneKind.FIRST_WATER),
                how="timer" if self.by_timer else "",
                until=first.end,
            )

    def _rim(self) -> Iterator[Task]:
        """Build the rim of a pond before its first water."""
        first = first_visit(self.schedule)
        if first is not None and self.schedule.curing_method == PONDING:
            start = self._rim_start(first)
            yield self._task(
                BUILD_RIM,
                "crew",
                start,
                COVERING,
                because=str(MilestoneKind.FIRST_WATER),
                how=self._rim_how(start),
                until=first.start,
            )

    def _rim_start(self, first: Visit) -> datetime:
        """Return when the rim is built: just before the water, or where a cover lies then, at a warm hour.

        A cover against frost lies until the first water: it is lifted for the rim, which is by daylight, too.
        """
        start = self._before_water(first)
        if not any(each.covers_at(_utc(start)) for each in self.covers):
            return start
        warmest = warmest_down(_utc(first.start).astimezone(self.zone) - COVERING)
        return max(warmest, self.schedule.finishing_ends, key=_utc)

    def _rim_how(self, start: datetime) -> str:
        """Return whether the crew lifts a cover for the rim, or comes back for it; empty: neither."""
        if any(each.covers_at(_utc(start)) for each in self.covers):
            return BENEATH_COVER
        finished = self.schedule.finishing_ends
        return "later" if start.astimezone(self.zone).date() > finished.astimezone(self.zone).date() else ""

    def _before_water(self, first: Visit) -> datetime:
        """Return when the crew begins what has to be done before the first water.

        A cover that it lays as soon as a step leaves no mark goes over it; else it is done just before the
        water, but not at night.
        """
        task = self.schedule.surface
        laid = task is not None and task.work == "damp" and task.choices[0].how in _COVERS_FROM
        if task is not None and laid and task.cover_from is not None:
            return min(_utc(task.cover_from), _utc(first.start) - COVERING)
        start = (_utc(first.start) - COVERING).astimezone(self.zone)
        return before_the_night(start, self.schedule.finishing_ends)

    def _pipes(self) -> Iterator[Task]:
        """Leave no water in the heating pipes that may freeze, before the first frost."""
        by = pipes_by(self.schedule)
        if by is not None:
            yield self._task(PIPES_FROST, "crew", _utc(by) - COVERING, COVERING, because="pipes-freeze")

    def _rain_covers(self) -> Iterator[Task]:
        """Cover the fresh slab before likely rain, once the pour has begun, as far as it is not over."""
        rains = [
            each for each in self.schedule.risks if each.code == RAIN and self.schedule.is_ahead(each.end)
        ]
        for number, rain in enumerate(rains, 1):
            start = max(_utc(rain.start) - COVERING, _utc(self.schedule.placement_start))
            length = max(_utc(rain.start) - start, COVERING)
            yield self._task(RAIN_COVER, "crew", start, length, because=RAIN, occasion=str(number))

    def _rain_covers_off(self) -> Iterator[Task]:
        """Take the plastic off that kept rain from the fresh slab: by day; where it marks the top, at once.

        It stays for the next rain that comes soon, and where something is to lie on the slab: the sheet that
        cures it, a cover until its first water, one against frost. Who sprays after the rain takes it off.
        """
        rains = [each for each in self.schedule.risks if each.code == RAIN]
        for rain, following in zip_longest(rains, rains[1:]):
            start = rain_cover_off(rain.end.astimezone(self.zone), marks=not self.job.slab.covers)
            goes_on = following is not None and _utc(following.start) <= _utc(start) + 2 * COVERING
            if goes_on or self._is_covered_after_rain(start):
                continue
            occasion, night = cover_occasion(rain.end, self.zone), tuple(self._night(start))
            yield self._task(
                RAIN_COVER_OFF, "crew", start, COVERING, because=RAIN, occasion=occasion, notes=night
            )

    def _is_covered_after_rain(self, when: datetime) -> bool:
        """Return whether a cover lies on the slab at an instant, or waits for the work that takes it off."""
        if self.schedule.curing_method in (SHEET, INSULATING_BLANKET) or any(
            each.covers_at(_utc(when)) for each in self.covers
        ):
            return True
        task, first = self.schedule.surface, first_visit(self.schedule)
        if task is None:
            return False
        if left_on_until_water(self.schedule) is not None and first is not None:
            return _utc(when) <= _utc(first.start)
        return task.choices[0].how in WAIT or (task.work != "damp" and _utc(when) < _utc(task.until))

    def _sawing(self) -> Iterator[Task]:
        """Saw from the hour of the first trial cut to the last hour before it is too late."""
        saw = self.schedule.milestone(MilestoneKind.SAW_JOINTS)
        for kind, printed in self._printed_dates([MilestoneKind.SAW_JOINTS]):
            trial = trial_cut(saw) if saw else None
            last = last_cut(saw, self.schedule.joints) if saw and trial else None
            start = _utc(trial or printed.instant)
            end = _utc(last) if last else _utc(printed.instant) + SAWING
            end = end if start < end else start + SAWING
            notes = tuple(self._saw_notes(start, end))
            frost = self._saw_in_frost(start, end)
            yield self._task(kind, "crew", start, end - start, because=kind, notes=notes, if_frost=frost)

    def _saw_in_frost(self, start: datetime, end: datetime) -> str | None:
        freezes = self.job.slab.exposure != "indoors" and may_water_freeze(self.schedule, start, end)
        return "dry" if freezes else None

    def _saw_notes_always(self) -> Iterator[str]:
        if self.job.slab.heated:
            yield "over-pipes"
        if self.schedule.joints is not None and self.schedule.joints.protection_factor:
            yield RESPIRATOR

    def _saw_notes(self, start: datetime, end: datetime) -> Iterator[str]:
        yield from self._saw_notes_always()
        room = self.schedule.room
        is_assumed = room is not None and room.state != "stated"
        until = end + timedelta(days=1) if is_assumed else end  # in a cold room it sets hours later
        if self._is_under_blankets(start, until):
            yield BENEATH_COVER

    def _is_under_blankets(self, start: datetime, end: datetime) -> bool:
        """Return whether blankets cover the slab in some of the hours from `start` to `end`."""
        if self.schedule.curing_method == INSULATING_BLANKET:
            return True
        return any(each.start < end and (each.end is None or start < _utc(each.end)) for each in self.covers)

    def _undated_sawing(self) -> Iterator[Task]:
        """Try a cut where no hour could be computed: from final set on, or all day if that is not known.

        Not any more once the slab bears feet.
        """
        kind, dates = MilestoneKind.SAW_JOINTS, self.schedule.milestone
        saw, final, walk = dates(kind), dates(MilestoneKind.FINAL_SET), dates(MilestoneKind.FOOT_TRAFFIC)
        if saw is None or saw.not_before is not None:
            return
        if walk is not None and walk.not_before is not None and not self.schedule.is_ahead(walk.not_before):
            return
        if is_walkable(self.schedule, self.schedule.issued_at):  # without a date, under a cover
            return
        always = tuple(self._saw_notes_always())
        set_at = final.likely if final is not None and final.not_before is not None else None
        if set_at is not None:
            start = half_hour_down(set_at)
            end = _utc(start) + SAWING
            notes = (*self._saw_notes(_utc(start), end), *self._night(start))
            frost = self._saw_in_frost(_utc(start), end)
            yield self._task(
                kind, "crew", start, SAWING, because=kind, how=UNDATED, notes=notes, if_frost=frost
            )
        else:
            day = max(self.schedule.placement_end, self.schedule.issued_at, key=_utc)
            yield self._on_day(kind, "crew", day, because=kind, how=UNDATED, notes=always)

    def _joints_in_doubt(self) -> Iterator[Task]:
        """Look whether the joints were cut, by day, where nobody knows it; it can wait until curing ends."""
        if not _are_in_doubt(self.schedule, (*self._sawing(), *self._undated_sawing())):
            return
        ends = self.schedule.milestone(MilestoneKind.CURING_ENDS)
        start = by_day(half_hour_down(self.schedule.issued_at.astimezone(self.zone)))
        end = _utc(start) + SAWING
        yield self._task(
            LOOK_JOINTS,
            "crew",
            start,
            SAWING,
            because=MilestoneKind.SAW_JOINTS,
            notes=tuple(self._saw_notes(_utc(start), end)),
            if_frost=self._saw_in_frost(_utc(start), end),
            until=None if ends is None else ends.not_before,
        )

    def _edges(self) -> Iterator[Task]:
        """Strip the forms; then, where the walk-through left a defect, patch and rub the edges."""
        for kind, printed in self._printed_dates([MilestoneKind.STRIP_EDGE_FORMS]):
            start = self._from_first_issue_on(printed.instant, STRIPPING)
            cover = self._cover_over_edge(printed.instant)
            yield self._task(kind, "crew", start, STRIPPING, because=kind, cover=cover)
            if any(each.ok is False for each in self.job.walkthrough):
                bare = _utc(start) + STRIPPING
                yield self._task(RUB_EDGES, "crew", bare, RUBBING, because=WALK_THROUGH)

    def _cover_over_edge(self, start: datetime) -> str | None:
        """Return what cures the slab over an edge whose forms are stripped; None once curing has ended."""
        ends, between = self.schedule.milestone(MilestoneKind.CURING_ENDS), self.schedule.between
        if ends is not None and ends.not_before is not None and _utc(start) >= _utc(ends.not_before):
            return None
        if self.schedule.curing_method == BURLAP:
            return BURLAP
        lies = start_of_brought_cover(self.schedule)
        is_to_come = lies is not None and _utc(start) < lies
        if between is not None and not is_to_come and is_covered_between_waterings(self.schedule, start):
            return between.cover
        return SHEET if sheet_after_blankets(self.schedule) else self.schedule.curing_method

    def _blankets(self) -> Iterator[Task]:
        """Lay the blankets that cure the slab, and lift them when cold protection ends."""
        if self.schedule.curing_method != INSULATING_BLANKET:
            return
        if (start := self.schedule.blankets_on) is not None:
            notes = (*self._night(start), *self._watch_notes)
            yield self._task(BLANKETS_ON, "crew", start, COVERING, because="frost", notes=notes)
        yield from self._lifting(MilestoneKind.PROTECTION_ENDS, "")

    @property
    def _watch_notes(self) -> tuple[str, ...]:
        return (UNWATCHED,) if self.job.curing.is_unattended else ()

    def _bring_cover(self) -> Iterator[Task]:
        """Bring the cover that lies between the waterings, where the crew did not leave it on the slab."""
        if (due := self.schedule.cover_due) is None or self.schedule.between is None:
            return
        start = (_utc(due) - COVERING).astimezone(self.zone)
        start = before_the_night(start, self.schedule.finishing_ends)
        cover = self.schedule.between.cover
        yield self._task(BRING_COVER, "crew", start, COVERING, because=WATERING, cover=cover, until=due)

    def _bring_blankets(self) -> Iterator[Task]:
        """Bring the blankets of the first cover that the owner lays; those that the crew laid are there."""
        first = next(iter(self.covers), None)
        if first is None or first.by_crew:
            return
        before = first.start - COVERING
        start = before if self.schedule.is_ahead(before) else first.start
        laid = first.start + COVERING
        yield self._task(BRING_BLANKETS, "crew", start, COVERING, because="frost", until=max(laid, start))

    def _covers_off(self) -> Iterator[Task]:
        """Lift the covers that the crew laid; where people may walk by the next watering, the owner does."""
        for each in self.covers:
            if not each.by_crew or each.end is None:
                continue
            occasion = cover_occasion(each.start, self.zone)
            if each.off is not None:
                yield from self._lifting(each.off, occasion)
            elif not is_walkable(self.schedule, each.end):
                start = _utc(each.end) - COVERING
                yield self._task(
                    BLANKETS_OFF,
                    "crew",
                    start,
                    COVERING,
                    because=WATERING,
                    how="before-water",
                    occasion=occasion,
                )

    def _lifting(self, off: MilestoneKind, occasion: str) -> Iterator[Task]:
        for _, printed in self._printed_dates([off]):
            start = printed.instant if printed.exact else warmest_up(printed.instant.astimezone(self.zone))
            after = self._after_blankets(off)
            yield self._task(
                BLANKETS_OFF, "crew", start, COVERING, because=off, occasion=occasion, cover=after
            )

    def _after_blankets(self, off: MilestoneKind) -> str | None:
        """Return what lies on the slab after the blankets that cure it, until curing ends; None: nothing."""
        ends, lifted = self.schedule.milestone(MilestoneKind.CURING_ENDS), self.schedule.milestone(off)
        if self.schedule.curing_method != INSULATING_BLANKET or self.schedule.dries_before_frost:
            return None
        if ends is None or lifted is None or lifted.not_before is None:
            return None
        goes_on = ends.not_before is None or _utc(ends.not_before) > _utc(lifted.not_before)
        return SHEET if goes_on else None

    # ---- both

    def _sheet_in_doubt(self, by: Party) -> Iterator[Task]:
        """Look at once whether the sheet lies that the crew was to draw over the slab before it left."""
        task = self.schedule.surface
        if task is not None and is_sheet_in_doubt(self.schedule):
            start = half_hour_down(self.schedule.issued_at.astimezone(self.zone))
            because = f"surface-{task.work}"
            nobody = "call" if by == "owner" else None
            yield self._task(SURFACE, by, start, COVERING, because=because, how=IN_DOUBT, if_nobody=nobody)

    def _walk_through(self, by: Party) -> Iterator[Task]:
        """Meet about open items: when curing ends, or earlier where that is weeks ahead.

        It has an hour on a day on which a cover comes off or goes on, walking is allowed, or the crew works
        on the edges: nobody is there sooner. Work until the evening puts it off to the next day.
        """
        when = walk_through(self.schedule)
        while when is not None:
            day = when.astimezone(self.zone).date()
            ready = {each: how for each, how in self._seen_from() if each.date() == day}
            start = for_people(max([when.astimezone(self.zone), *ready], key=_utc))
            if start.date() > day:
                when = uncovered_from(self.schedule, start)
                continue
            if ready or self._is_hidden_on(day):
                how = ready.get(start, "")
                yield self._task(WALK_THROUGH, by, start, WALKING, because=WALK_THROUGH, how=how)
            else:
                yield self._on_day(WALK_THROUGH, by, when, because=WALK_THROUGH)
            return

    def _seen_from(self) -> Iterator[tuple[datetime, str]]:
        """Yield each hour before which nobody looks at the slab together, and why: a use of the day of it.

        Walking that is allowed from the morning on, and a cover that the owner lifts, need no hour.
        """
        for each in self._edges():
            yield each.end, BY_EDGES
        for _, printed in self._printed_dates([MilestoneKind.FOOT_TRAFFIC]):
            allowed = printed.instant.astimezone(self.zone)
            if allowed.time() > MORNING:
                yield allowed, BY_WALKING
        for each in (*self._blankets(), *self._covers_off()):
            if each.kind == BLANKETS_OFF:
                yield each.end, ""

    def _is_hidden_on(self, day: date) -> bool:
        """Return whether a cover against frost comes off or goes on on a day."""
        hides = (each for cover in self.covers for each in (cover.start, cover.end) if each is not None)
        return any(each.astimezone(self.zone).date() == day for each in hides)

    def _covers(self, by: Party) -> Iterator[Task]:
        """Cover the slab before it may freeze, once for each span of a cover.

        The owner has the crew's covers as well: they call where nobody comes.
        """
        coming = self._next_cover()
        for each in self.covers:
            if by == "crew" and not each.by_crew:
                continue
            notes = (*((NEXT,) if each is coming else ()), *self._watch_notes)
            how = BY_CREW if by == "owner" and each.by_crew else ""
            night = tuple(self._night(each.start)) if by == "crew" else ()
            kind = FROST_COVER if each.frosts else COVER_NOT_WATER
            yield self._cover(kind, by, each, how, (*night, *notes))

    def _cover(self, kind: str, by: Party, cover: FrostCover, how: str, notes: tuple[str, ...]) -> Task:
        """Return the laying of a cover; in place of water the slab is safe from frost, its water is not."""
        occasion = cover_occasion(cover.start, self.zone)
        nobody = "call" if by == "owner" else None
        return self._task(
            kind,
            by,
            cover.start,
            COVERING,
            because="frost",
            how=how,
            occasion=occasion,
            span=self._span(cover),
            notes=notes,
            if_nobody=nobody,
        )

    def _span(self, cover: FrostCover) -> CoverSpan:
        """Return how long a cover lies, at the site's clock."""
        end, frosts = cover.end, cover.frosts
        hours = danger_hours(frosts[0].start, frosts[-1].end) if frosts else (None, None)
        first, last = (None if each is None else each.astimezone(self.zone) for each in hours)
        return CoverSpan(
            end=None if end is None else end.astimezone(self.zone),
            off=None if cover.off is None else str(cover.off),
            frost_start=first,
            frost_end=last,
        )

    def _next_cover(self) -> FrostCover | None:
        """Return the cover that lies on the slab before the next watering; without one, within a day."""
        issued = _utc(self.schedule.issued_at)
        cover = next((each for each in self.covers if each.end is None or each.end > issued), None)
        visits = [_utc(visit.start) for day in remaining_watering(self.schedule).days for visit in day.visits]
        latest = min(visits, default=None)
        if latest is None and self.schedule.cure_mode != "wet":
            latest = issued + timedelta(days=1)
        return cover if cover is not None and (latest is None or cover.start <= latest) else None

    # ---- when

    def _printed_dates(self, kinds: Iterable[MilestoneKind]) -> Iterator[tuple[MilestoneKind, PrintedTime]]:
        """Yield each date of these kinds as printed; none past the estimate."""
        for kind in kinds:
            found = self.schedule.milestone(kind)
            printed = None if found is None else printed_time(found, self.schedule.placement_end)
            if printed is not None:
                yield kind, printed

    def _night(self, start: datetime) -> Iterator[str]:
        """Yield that the crew works at night."""
        local = start.astimezone(self.zone)
        if evening_of(local) is not None and not EARLIEST_START <= local.time() < SLEEPING_HOUR:
            yield "night"

    def _task(self, kind: str, by: Party, start: datetime, length: timedelta, **more: Any) -> Task:
        begin, end = _utc(start).astimezone(self.zone), (_utc(start) + length).astimezone(self.zone)
        return Task(str(kind), by, begin, end, **more)

    def _on_day(self, kind: str, by: Party, when: datetime, **more: Any) -> Task:
        """Return a task of a whole day: the local day of an instant."""
        day = when.astimezone(self.zone).date()
        first, last = (datetime.combine(each, time(), self.zone) for each in (day, day + timedelta(days=1)))
        return Task(str(kind), by, first, last, all_day=True, **more)


def is_return(schedule: CureSchedule, work: Task) -> bool:
    """Return whether the crew comes back for its work on the surface, which begins after it may have left.

    Who fogs is still there; the last pass finds the crew there, too.
    """
    task, left = schedule.surface, ways_left(schedule)
    if task is None or not left or left[0].how in FOGGING:
        return False
    return _utc(work.start) - _utc(task.start) >= COVERING


def rain_on_coat(schedule: CureSchedule) -> Risk | None:
    """Return the last likely rain that may wash off the compound, sprayed right after the last pass.

    None where there is none, or where a cover against frost goes on before any compound. The plan sprays
    after such rain; but who sprayed before it must look.
    """
    task = schedule.surface
    if task is None or task.work != "compound" or task.choices[0].how in COVER_FIRST:
        return None
    return max(washing_rains(task.start, schedule.risks), key=lambda each: _utc(each.end), default=None)


def cover_occasion(start: datetime, zone: ZoneInfo) -> str:
    """Return by what the tasks of one cover differ from those of another: the hour at which it is laid."""
    return f"{start.astimezone(zone):%Y-%m-%d %H}"


def _place(task: Task) -> tuple[datetime, Party, str, str]:
    """Return the place of a task in the list."""
    return _utc(task.start), task.by, task.kind, task.occasion


def _surface_start(schedule: CureSchedule, task: SurfaceTask, usual: SurfaceChoice) -> datetime:
    """Return when the work at the surface begins: at the last pass, or when the cover is laid.

    Fog that goes on at the time of issue begins in the half hour of the issue, if that is later.
    """
    if usual.how in WAIT:
        return usual.start
    if usual.how in FOGGING and not schedule.is_ahead(task.start):
        issued = half_hour_down(schedule.issued_at.astimezone(task.start.tzinfo))
        return max(task.start, issued, key=_utc)
    return (task.cover_from if usual.how in _LAYS else None) or task.start


def _utc(when: datetime) -> datetime:
    return when.astimezone(UTC)
