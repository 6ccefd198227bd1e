"""The watering plan: visits that keep the surface wet, day by day, until curing ends.

A surface, a cloth or a pond holds a little water, which evaporates at the rate of each hour. The visits of
the day that dries the slab most are chosen for the least dry time, then for the least water: an exact search
over slots of half an hour, the water held (in steps), and the visits already made. Their hours are the
timetable of all days, because a person keeps the same hours; a day that needs fewer visits leaves some out. A
timer has short runs at one interval, and runs all of them every day, because it is set once.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import combinations
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.practice.rules import general_rules
from handover.schedule.ensemble import CENTRAL
from handover.schedule.look_rhythm import LookRhythm
from handover.schedule.model import NO_LOOK, MilestoneKind, Visit, WaterHours, WateringDay
from handover.schedule.rain import under_rain_cover
from handover.schedule.slab_simulation import DryHours
from handover.schedule.timer import attended_windows
from handover.weather.daylight import sun_height

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from handover.jobs.record import JobRecord
    from handover.jobs.time_windows import TimeWindow
    from handover.practice.rules import CuringMethod, Practice
    from handover.schedule.basis import BasisOf
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation


SLOT_H = general_rules()["visit.slot"]
_SLOT = timedelta(hours=SLOT_H)
SAME_H = general_rules()["visit.same-hours"]
_APART_SLOTS = round(general_rules()["visit.apart"] / SLOT_H)
"""The fewest slots between two visits to a pond."""
_APART = tuple(round(general_rules()[f"water.timer-apart-{end}"] / SLOT_H) for end in ("least", "most"))
"""The fewest and the most slots between the starts of two runs of a timer."""
_LEVELS, _POND_LEVELS = 40, 1000  # of the water held; a pond loses a small part of it in a slot
_DRY = 1e4  # the least time dry comes first, whatever the water
_SKIPPED = {"curing compound": "compound", "insulating blanket": "cover"}


@dataclass(frozen=True)
class Slots:
    """Half hours of one local day within the curing time, shape (s,) each.

    Attributes:
        start_s: UTC seconds.
        of_day: Number of the half hour since midnight, by the clock on the wall.
        lost: Water a wet surface loses. [mm]
        rain: Water that rain brings and that may be counted on. [mm]
        open: Whether somebody can be there.
        light: Whether it is by daylight; indoors always.
        frost: Whether it may freeze before the water has dried.
        shows: Loss in a slot that water from the pores can replace. [mm]
    """

    start_s: Floats
    of_day: NDArray[np.int_]
    lost: Floats
    rain: Floats
    open: NDArray[np.bool_]
    light: NDArray[np.bool_]
    frost: NDArray[np.bool_]
    shows: float

    @property
    def allowed_slots(self) -> NDArray[np.bool_]:
        """Whether water may be put on, shape (s,)."""
        return self.open & ~self.frost


def slots_of_days(simulation: Simulation, dates: Dates) -> dict[date, Slots]:
    """Return the half hours of each day from first water to the end of curing.

    Days without an open slot (first water late at night, curing over before breakfast) are left out, and so
    is the morning on which a pond is drained. Where the surface takes no water before the plan ends, it may
    freeze on all days from the pour on.
    """
    starts, ends = curing_span(simulation, dates)
    is_frozen = simulation.method is not None and starts >= ends
    if is_frozen:
        starts = simulation.job.placement.end
    safe = dates.not_before(MilestoneKind.FROST_SAFE)
    slots_of = {day: _slots(day, simulation, starts, ends, safe) for day in _local_days(starts, ends)}
    if is_frozen:
        slots_of = {day: _all_frost(slots) for day, slots in slots_of.items()}
    elif simulation.method is not None and simulation.method.tops_up:
        slots_of = _until_drained(slots_of, ends.date())
    return {day: slots for day, slots in slots_of.items() if slots.open.any()}


def _until_drained(slots_of: dict[date, Slots], last: date) -> dict[date, Slots]:
    """Return the days before the morning on which a pond is drained; nobody tops it up then.

    That morning stays where no day before it allows any water.
    """
    before = {day: slots for day, slots in slots_of.items() if day != last}
    return before if any(slots.allowed_slots.any() for slots in before.values()) else slots_of


def _all_frost(slots: Slots) -> Slots:
    return replace(slots, frost=np.ones(len(slots.start_s), dtype=bool))


def plan_watering(
    simulation: Simulation,
    slots_of: Mapping[date, Slots],
    basis: BasisOf,
    *,
    under: CuringMethod | None = None,
) -> tuple[WateringDay, ...]:
    """Return the watering of each day of curing, with a cover between the visits.

    Args:
        simulation: The simulated job.
        slots_of: The half hours of each day, see `slots_of_days`.
        basis: What the weather of an instant rests on.
        under: How the surface holds water under the cover; None: it is open.
    """
    method = simulation.method
    if method is not None and under is not None:
        method = replace(method, store_mm=under.store_mm, loss=under.loss)
    if simulation.job.curing.timer:
        slots_of = _from_attended(_frost_of_timer(slots_of, simulation), simulation)
    is_look = method is not None and method.looks
    # Rain does not wet what lies under a sheet, and a timer runs on in it: nobody turns it off and on again.
    if is_look or (under is not None and under.looks) or simulation.job.curing.timer:
        slots_of = {day: replace(each, rain=np.zeros_like(each.rain)) for day, each in slots_of.items()}
    timetable = _timetable(slots_of, simulation, method) if method and slots_of else None
    held = (
        method.store_mm if method is not None and is_look else 0.0
    )  # the crew lays a sheet on fresh concrete
    planned: list[WateringDay] = []
    kept: dict[int, frozenset[int]] = {}
    looks = LookDays(simulation)
    for day, slots in slots_of.items():
        begun_mm = held
        visits: NDArray[np.bool_] = np.zeros(len(slots.start_s), dtype=bool)
        dry_h = 0.0
        if timetable is not None:
            begun = is_look or any(each.visits for each in planned)
            forced = None if begun else _first_visit(slots, simulation)
            visits, held, dry_h = timetable.visits_of(_from_first(slots, forced), held, forced, kept=kept)
            kept |= timetable.hours_by_number(slots, visits)
            if not visits.any() and _needs_water(slots, timetable.method) and slots.allowed_slots.any():
                continue  # the last hours of curing, after or before the usual ones
        rests = is_look and bool(visits.any()) and not looks.is_due(day)
        if is_look and visits.any():
            visits = np.zeros_like(visits) if rests else looks.slot(slots)
            looks = looks if rests else looks.after(day)
        put_mm = _put_on(slots, visits, method, simulation)
        if method is not None and method.tops_up:
            put_mm, held = _fill(slots, put_mm, begun_mm, method)
        planned.append(_day(day, slots, visits, dry_h, simulation, basis, put_mm))
        if rests:
            planned[-1] = replace(planned[-1], skipped_because=NO_LOOK)
    return tuple(planned)


@dataclass(frozen=True)
class LookDays:
    """The looks at a cover, in their rhythm, at an hour that a person keeps.

    Attributes:
        simulation: Of the slab.
        rhythm: Of the looks so far.
    """

    simulation: Simulation
    rhythm: LookRhythm = field(default_factory=LookRhythm)

    def after(self, day: date) -> LookDays:
        """Return the looks with one more."""
        return replace(self, rhythm=self.rhythm.after(day))

    def is_due(self, day: date) -> bool:
        """Return whether somebody looks on a day."""
        return self.rhythm.is_due(day)

    def slot(self, slots: Slots) -> NDArray[np.bool_]:
        """Return the slot of the look of a day, shape (s,)."""
        return _first_of(self._suitable(slots))

    def _suitable(self, slots: Slots) -> NDArray[np.bool_]:
        """Return the slots in the light of the day; else those before people sleep; else those allowed."""
        practice, clock = self.simulation.practice, slots.of_day * SLOT_H
        awake = slots.allowed_slots & (clock >= practice["day.waking"])
        awake &= clock + SLOT_H <= practice["day.sleeping"]
        return next((each for each in (awake & slots.light, awake) if each.any()), slots.allowed_slots)


def _first_of(slots: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the first of some slots alone, shape (s,)."""
    first: NDArray[np.bool_] = (np.cumsum(slots) == 1) & slots
    return first


def _put_on(
    slots: Slots, visits: NDArray[np.bool_], method: CuringMethod | None, simulation: Simulation
) -> Floats:
    """Return the water that runs in each slot, in mm, shape (s,); a look at a cover brings none."""
    put = np.zeros(len(slots.lost))
    if method is not None and not method.looks:
        put[visits] = rate_of(simulation.job, method) * run_hours(simulation)
    return put


def _fill(slots: Slots, runs_mm: Floats, held_mm: float, method: CuringMethod) -> tuple[Floats, float]:
    """Return the water of each slot that a pond has room for, in mm, shape (s,), and what it holds then.

    Args:
        slots: The day.
        runs_mm: Water that would run in each slot, shape (s,). [mm]
        held_mm: Water in the pond at the start of the day. [mm]
        method: How much the pond holds.
    """
    put = np.zeros(len(runs_mm))
    gained = slots.rain - slots.lost * method.loss
    for index, (runs, gain) in enumerate(zip(runs_mm, gained, strict=True)):
        put[index] = np.clip(method.store_mm - held_mm - gain, 0.0, runs)
        held_mm = float(np.clip(held_mm + gain + put[index], 0.0, method.store_mm))
    return put, held_mm


def _frost_of_timer(slots_of: Mapping[date, Slots], simulation: Simulation) -> dict[date, Slots]:
    """Return the days of a timer, whose runs are at the same hours each day, because it is set once.

    An hour at which it may freeze on one day has no run on any day. Days that would leave no hour, or none at
    which somebody is there to set it, are days of frost: the timer is off, and the slab covered.
    """
    of_day = range(round(24 / SLOT_H))
    there = _hours_present(simulation)
    common = np.ones(len(of_day), dtype=bool)
    off = set()
    for day, slots in sorted(slots_of.items(), key=lambda each: int(each[1].frost.sum())):
        safe = common & ~np.isin(of_day, slots.of_day[slots.frost])
        if (safe & there).any() and slots.allowed_slots.any():
            common = safe
        else:
            off.add(day)
    return {
        day: replace(slots, frost=slots.frost | ~common[slots.of_day] | (day in off))
        for day, slots in slots_of.items()
    }


def _hours_present(simulation: Simulation) -> NDArray[np.bool_]:
    """Return whether somebody is there in each half hour since midnight, shape (48,)."""
    zone, day = simulation.job.zone, simulation.job.placement.end.date()
    start = datetime.combine(day, time(), zone)
    return _presence([start + number * _SLOT for number in range(round(24 / SLOT_H))], simulation)


def _from_attended(slots_of: Mapping[date, Slots], simulation: Simulation) -> dict[date, Slots]:
    """Return the days of a timer: its first run is at an hour when somebody is there.

    They lift the crew's cover, set the timer and see whether it wets the whole top.
    """
    found: dict[date, Slots] = {}
    days = iter(slots_of.items())
    for day, slots in days:
        there = _presence(_on_the_clock(slots.start_s, simulation.job.zone), simulation)
        usable = there & slots.allowed_slots & ~under_rain_cover(slots.start_s, SLOT_H * HOUR_S, simulation)
        if there.any():  # else the day is left out
            found[day] = replace(slots, open=slots.open & np.logical_or.accumulate(usable))
        if usable.any():
            break
    return {**found, **dict(days)}


def _from_first(slots: Slots, forced: NDArray[np.bool_] | None) -> Slots:
    """Return the first day without what dries before its first watering: until then the crew covers it."""
    if forced is None or not forced.any():
        return slots
    return replace(slots, lost=np.where(np.arange(len(slots.lost)) < forced.argmax(), 0.0, slots.lost))


def driest_day(watering: Iterable[WateringDay]) -> float:
    """Return the most dry hours of a day; days of possible frost are covered and have none."""
    return max((day.dry_hours for day in watering), default=0.0)


def dry_hours(simulation: Simulation, dates: Dates, watering: Sequence[WateringDay]) -> DryHours | None:
    """Return the hours in which a plan leaves the surface dry, on days that have too many; None: no day.

    On days of possible frost the slab is covered, and until the first watering the crew keeps it damp.
    """
    method, limit = simulation.method, simulation.practice["water.dry-too-long"]
    if method is None or method.looks or driest_day(watering) < limit:
        return None
    starts, ends = curing_span(simulation, dates)
    safe = dates.not_before(MilestoneKind.FROST_SAFE)
    use = rate_of(simulation.job, method) * run_hours(simulation)
    held, starts_s, dry = 0.0, [], []
    first_s = next((day.visits[0].start.timestamp() for day in watering if day.visits), np.inf)
    for day in watering:
        slots = _slots(day.date, simulation, starts, ends, safe)
        slots = replace(slots, lost=np.where(slots.start_s < first_s, 0.0, slots.lost))
        visits = [(each.start.timestamp(), each.end.timestamp()) for each in day.visits]
        wet = [any(begin <= slot < end for begin, end in visits) for slot in slots.start_s]
        held, dry_h = _follow(_moves(slots, method, use), wet, held, method)
        counts = day.dry_hours >= limit and day.skipped_because != "frost"
        starts_s.append(slots.start_s)
        dry.append(np.array(dry_h) / SLOT_H * counts)
    return DryHours(np.concatenate(starts_s), SLOT_H * HOUR_S, np.concatenate(dry))


@dataclass(frozen=True)
class Timetable:
    """The hours of the day at which water is put on.

    Attributes:
        runs: The hours of each visit: the half hours since midnight that it takes, in order.
        method: How the surface holds water.
        rate_mm_h: Application rate.
        is_set_once: Whether a timer keeps it: it runs as a whole.
        run_h: Time within a slot for which water runs. [h]
    """

    runs: tuple[tuple[int, ...], ...]
    method: CuringMethod
    rate_mm_h: float
    is_set_once: bool
    run_h: float = SLOT_H

    def visits_of(
        self,
        slots: Slots,
        held_mm: float,
        forced: NDArray[np.bool_] | None = None,
        *,
        kept: Mapping[int, frozenset[int]] = MappingProxyType({}),
    ) -> tuple[NDArray[np.bool_], float, float]:
        """Choose the visits of a day: the fewest that leave it hardly longer dry than all of them.

        A visit is left out where it saves less time dry than a slot has. A day without enough rain has at
        least one visit, at another hour if the weather allows none of the usual ones. A person keeps the
        hours of the last day with as many visits, unless that leaves the surface dry for much longer.

        Args:
            slots: The day.
            held_mm: Water on the surface at the start of the day.
            forced: Slots in which water runs in any case, shape (s,), or None.
            kept: The half hours since midnight with water of the last day with so many visits.

        Returns:
            Slots watered (s,), water held at the end [mm], hours dry.
        """
        must = np.zeros(len(slots.lost), dtype=bool) if forced is None else forced
        usual = self._usual(slots)
        runs = [run for run in usual if (run <= slots.allowed_slots).all() and not _touches(run, must)]
        needed = _needs_water(slots, self.method)
        if needed and usual and not runs and not must.any():  # it may freeze at all of them
            run_mm_h = self.rate_mm_h * self.run_h / SLOT_H  # on average over a slot
            lit = replace(slots, open=slots.open & slots.light)
            return plan_day(lit if lit.allowed_slots.any() else slots, self.method, run_mm_h, 1, held_mm)
        most = len(runs) if self.is_set_once else self.method.most - int(must.any())
        choices = _choices(runs, must, most, whole=self.is_set_once, required=needed)
        moves = _moves(slots, self.method, self.rate_mm_h * self.run_h)
        outcomes = []
        for chosen in choices:
            held, dry_h = _follow(moves, chosen, held_mm, self.method)
            outcomes.append((chosen, held, float(sum(dry_h))))
        least = min(dry_h for _, _, dry_h in outcomes)
        best = next(each for each in outcomes if each[2] <= least + SLOT_H)
        same = kept.get(len(self._begins(best[0])))
        usual_hours = (each for each in outcomes if frozenset(slots.of_day[each[0]].tolist()) == same)
        return next((each for each in usual_hours if each[2] <= least + SAME_H), best)

    @staticmethod
    def _begins(visits: NDArray[np.bool_]) -> NDArray[np.int_]:
        """Return the slots in which the visits of a day begin."""
        return np.flatnonzero(visits & ~np.concatenate([[False], visits[:-1]]))

    def hours_by_number(self, slots: Slots, visits: NDArray[np.bool_]) -> dict[int, frozenset[int]]:
        """Return the half hours since midnight with water by the number of visits; nothing without any."""
        number = len(self._begins(visits))
        return {number: frozenset(slots.of_day[visits].tolist())} if number else {}

    def _usual(self, slots: Slots) -> list[NDArray[np.bool_]]:
        """Return the visits that are wholly within a day, shape (s,) each: not on its first or last hours."""
        found = [np.isin(slots.of_day, run) for run in self.runs]
        return [run for hours, run in zip(self.runs, found, strict=True) if run.sum() == len(hours)]


def _needs_water(slots: Slots, method: CuringMethod) -> bool:
    """Return whether likely rain falls short of what a day evaporates."""
    return bool(slots.rain.sum() < (slots.lost * method.loss).sum())


def _touches(run: NDArray[np.bool_], must: NDArray[np.bool_]) -> bool:
    """Return whether a visit would run into another."""
    wide = must.copy()
    wide[1:] |= must[:-1]
    wide[:-1] |= must[1:]
    return bool((run & wide).any())


def _choices(
    runs: Sequence[NDArray[np.bool_]], must: NDArray[np.bool_], most: int, *, whole: bool, required: bool
) -> Iterator[NDArray[np.bool_]]:
    """Yield the slots to water in by every choice of visits, the fewest visits and the least water first.

    They are at most so many, beside those in which water must run.
    """
    least = min(int(required and not must.any()), len(runs))
    sizes = [len(runs)] if whole else range(least, min(most, len(runs)) + 1)
    for size in sizes:
        for choice in sorted(combinations(runs, size), key=lambda some: sum(run.sum() for run in some)):
            yield np.logical_or.reduce([must, *choice])


def _timetable(days: Mapping[date, Slots], simulation: Simulation, method: CuringMethod) -> Timetable:
    """Return the hours that suit the day that dries the slab most."""
    whole = max(len(slots.lost) for slots in days.values())
    full = [slots for slots in days.values() if len(slots.lost) == whole]
    hardest = max(full, key=lambda slots: float(slots.lost.sum()))
    dry_day = replace(hardest, rain=np.zeros(whole), frost=np.zeros(whole, dtype=bool))
    of_timer = simulation.job.curing.timer
    safe = next((slots for slots in full if slots.allowed_slots.any()), None) if of_timer else None
    if safe is not None:
        dry_day = replace(dry_day, frost=np.isin(dry_day.of_day, safe.of_day[safe.frost]))
    rate = rate_of(simulation.job, method)
    if simulation.job.curing.timer:
        first = next((_first_slot(slots) for slots in days.values() if slots.allowed_slots.any()), 0)
        most, run_h = int(simulation.practice["water.timer-visits"]), run_hours(simulation)
        begins = timer_runs(dry_day, method, rate * run_h, most, first)
        return Timetable(tuple((each,) for each in begins), method, rate, is_set_once=True, run_h=run_h)
    lit = _lit_half_hours(full)
    at = np.flatnonzero(_by_daylight(dry_day, lit, method, rate, simulation.practice["water.dry-too-long"]))
    runs: tuple[tuple[int, ...], ...] = tuple(
        tuple(int(each) for each in dry_day.of_day[run])
        for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
        if len(run)
    )
    if method.tops_up:
        runs = joined_runs(runs, frozenset(dry_day.of_day[dry_day.open].tolist()))
    return Timetable(runs, method, rate, is_set_once=False)


def joined_runs(runs: Iterable[tuple[int, ...]], open_hours: frozenset[int]) -> tuple[tuple[int, ...], ...]:
    """Return the fillings of a pond, those soon after another right after it: together they are one visit.

    Args:
        runs: Half hours since midnight of each filling, in order.
        open_hours: Half hours at which somebody is there. A filling that would leave them stays.
    """
    found: list[tuple[int, ...]] = []
    for run in runs:
        gap = run[0] - found[-1][-1] - 1 if found else _APART_SLOTS
        earlier = tuple(each - gap for each in run)
        is_joined = gap < _APART_SLOTS and open_hours.issuperset(earlier)
        found.append(earlier if is_joined else run)
    return tuple(found)


def _lit_half_hours(days: Iterable[Slots]) -> frozenset[int]:
    """Return the half hours since midnight that are by daylight on each of some whole days."""
    lit = [frozenset(each.of_day[each.light].tolist()) for each in days]
    return frozenset.intersection(*lit)


def _by_daylight(
    day: Slots, lit: frozenset[int], method: CuringMethod, rate_mm_h: float, limit_h: float
) -> NDArray[np.bool_]:
    """Choose the slots to water in, by daylight as far as the surface is hardly longer dry for it.

    Tried are the hours in the light, then with them the dark ones of the morning, then all. The first that
    leave the surface dry for less than the limit are taken; where none do, those that are within a slot of
    the best.

    Args:
        day: The day that dries the slab most.
        lit: Half hours since midnight in the light of every day.
        method: How the surface holds water.
        rate_mm_h: Application rate.
        limit_h: Dry time from which it counts.

    Returns:
        Shape (s,).
    """
    light = np.isin(day.of_day, [*lit])
    morning = day.of_day < round(12 / SLOT_H)
    hours = (light, light | morning, np.ones_like(light))
    tried = [replace(day, open=day.open & each) for each in hours if (day.open & each).any()]
    plans = [plan_day(each, method, rate_mm_h, method.most, held_mm=0.0) for each in tried or [day]]
    least = min(dry_h for _, _, dry_h in plans)
    if least < limit_h:
        return next(chosen for chosen, _, dry_h in plans if dry_h < limit_h)
    return next(chosen for chosen, _, dry_h in plans if dry_h <= least + SLOT_H)


def run_hours(simulation: Simulation) -> float:
    """Return for how much of a slot water runs, in hours: a timer stops when a film is full."""
    method, shortest = simulation.method, simulation.practice["water.timer-run"]
    if method is None or not simulation.job.curing.timer:
        return SLOT_H
    return shortest if rate_of(simulation.job, method) * shortest >= method.store_mm else SLOT_H


def _first_slot(slots: Slots) -> int:
    """Return the half hour since midnight of the first slot in which water may run."""
    return int(slots.of_day[slots.allowed_slots][0])


def timer_runs(day: Slots, method: CuringMethod, use_mm: float, most: int, first: int) -> tuple[int, ...]:
    """Choose the runs of a timer: one interval, the least dry time first, then the fewest runs.

    Every program of whole slots, as far apart as timers allow, is tried on a day after one like it. Each
    has a run at the first slot, or would have if it ran on: the first day has the hours of the others.

    Args:
        day: Without rain; with the hours at which it may freeze on some day.
        method: How the surface holds water.
        use_mm: Water of a run. [mm]
        most: Maximum number of runs.
        first: Half hour since midnight of the first water.

    Returns:
        Half hours since midnight at which a run begins.
    """
    of_day = range(round(24 / SLOT_H))
    programs = [
        of_day[start::step][:count]
        for step in range(_APART[0], _APART[1] + 1)
        for start in range(first % step, len(of_day), step)
        for count in range(1, min(most, len(of_day[start::step])) + 1)
    ]
    frosty = set(day.of_day[day.frost].tolist())
    programs = [each for each in programs if frosty.isdisjoint(each)] or programs
    water = np.array([np.isin(day.of_day, each) for each in programs])
    moves = _moves(day, method, use_mm)
    level, dry = np.zeros(len(programs), dtype=np.int_), np.zeros(len(programs))
    for _ in range(2):
        dry = np.zeros(len(programs))
        for (off, run), on in zip(moves, water.T, strict=True):
            dry += np.where(on, run.dry_h[level], off.dry_h[level])
            level = np.where(on, run.level[level], off.level[level])
    enough = np.flatnonzero(dry <= dry.min() + SLOT_H)
    best = min(enough, key=lambda each: (len(programs[each]), dry[each]))
    return tuple(programs[best])


def curing_span(simulation: Simulation, dates: Dates) -> tuple[datetime, datetime]:
    """Return from when to when the slab must be kept wet (or covered), as far as its frost is known.

    Without an end within reach, the plan ends with the last day whose frost is known.
    """
    known_s = float(simulation.slab_s(CENTRAL)[-1]) - simulation.practice["frost.ahead"] * HOUR_S
    last = datetime.fromtimestamp(known_s, UTC).astimezone(simulation.job.zone)
    horizon = datetime.combine(last.date(), time(), last.tzinfo)
    starts, ends = (min(each or horizon, horizon) for each in _wet_span(dates))
    return starts.astimezone(simulation.job.zone), _whole_last_day(ends, simulation)


def whole_curing_span(simulation: Simulation, dates: Dates) -> tuple[datetime, datetime]:
    """Return the same also past the simulation; without an end within reach it is that of the plan.

    A pond has no water on the morning on which it is drained.
    """
    starts, ends = curing_span(simulation, dates)
    _, cured = _wet_span(dates)
    ends = ends if cured is None else _whole_last_day(cured, simulation)
    if simulation.method is not None and simulation.method.tops_up:
        ends = datetime.combine(ends.date(), time(), ends.tzinfo)
    return starts, ends


def _wet_span(dates: Dates) -> tuple[datetime | None, datetime | None]:
    """Return from when to when the slab must be kept wet, by its cautious dates."""
    starts = dates.not_before(MilestoneKind.FIRST_WATER) or dates.not_before(MilestoneKind.FINAL_SET)
    return starts, dates.not_before(MilestoneKind.CURING_ENDS)


def _whole_last_day(ends: datetime, simulation: Simulation) -> datetime:
    """Return the end of curing in the zone of the site.

    Curing that ends after breakfast ends for the owner on the next morning, so the last day has all of its
    visits.
    """
    ends = ends.astimezone(simulation.job.zone)
    last_morning = timedelta(hours=simulation.practice["day.morning"])
    if ends - datetime.combine(ends.date(), time(), ends.tzinfo) > last_morning:
        return datetime.combine(ends.date() + timedelta(days=1), time(), ends.tzinfo)
    return ends


def rate_of(job: JobRecord, method: CuringMethod) -> float:
    """Return the rate at which water is put on, in mm/h."""
    return job.curing.application_rate or method.rate_mm_h


def plan_day(
    slots: Slots,
    method: CuringMethod,
    rate_mm_h: float,
    most: int,
    held_mm: float,
    forced: NDArray[np.bool_] | None = None,
) -> tuple[NDArray[np.bool_], float, float]:
    """Choose the slots to water in, in at most `most` visits: the least dry time first, then the least water.

    A day without enough rain has at least one visit, if any slot allows it.

    Args:
        slots: The day.
        method: How the surface holds water.
        rate_mm_h: Application rate.
        most: Maximum number of visits.
        held_mm: Water on the surface at the start of the day.
        forced: Slots in which water runs in any case, shape (s,), or None.

    Returns:
        Slots watered (s,), water held at the end [mm], hours dry.
    """
    step = method.store_mm / _levels(method)
    use = rate_mm_h * SLOT_H
    must = np.zeros(len(slots.lost), dtype=bool) if forced is None else forced
    moves = _moves(slots, method, use)
    allowed = slots.allowed_slots
    is_choice = bool((allowed | must).any())
    needed = is_choice and _needs_water(slots, method)
    longest = round(method.longest_h / SLOT_H)
    limits = most, longest
    value = _values(moves, allowed, must, limits, use, required=needed) if is_choice else []
    level, on, made = round(held_mm / step), 0, 0  # on: slots for which water has run
    chosen = np.zeros(len(slots.lost), dtype=bool)
    dry_h = 0.0
    for index, (off, run) in enumerate(moves):
        may = must[index] or (allowed[index] and (0 < on < longest or (not on and made < most)))
        begun, runs = made + (not on), min(on + 1, longest)
        water = may and (
            must[index]
            or value[index + 1][begun, runs, run.level[level]] + _DRY * run.dry_h[level] + use
            < value[index + 1][made, 0, off.level[level]] + _DRY * off.dry_h[level]
        )
        move = run if water else off
        made, on = (begun, runs) if water else (made, 0)
        dry_h += float(move.dry_h[level])
        level = int(move.level[level])
        chosen[index] = water
    return chosen, level * step, dry_h


def _levels(method: CuringMethod) -> int:
    return _POND_LEVELS if method.tops_up else _LEVELS


class _Move(NamedTuple):
    """The effect of a slot on each level of water held: the next level and the dry hours, shape (levels,)."""

    level: NDArray[np.int_]
    dry_h: Floats


def _moves(slots: Slots, method: CuringMethod, use: float) -> list[tuple[_Move, _Move]]:
    """Return the moves of each slot without water and with so much of it, in mm."""
    levels, lost = _levels(method), slots.lost * method.loss
    step = method.store_mm / levels
    shows = lost > slots.shows
    held = np.arange(levels + 1, dtype=np.float64) * step + slots.rain[:, np.newaxis]
    off, run = (
        map(_Move, *_after(held + water, step, lost[:, np.newaxis], shows[:, np.newaxis]))
        for water in (0.0, use)
    )
    return list(zip(off, run, strict=True))


def _follow(
    moves: Sequence[tuple[_Move, _Move]], chosen: Iterable[bool], held_mm: float, method: CuringMethod
) -> tuple[float, list[float]]:
    """Return the water held after the slots, of which some are watered [mm], and the hours dry of each."""
    step = method.store_mm / _levels(method)
    level, dry_h = round(held_mm / step), []
    for (off, run), water in zip(moves, chosen, strict=True):
        move = run if water else off
        dry_h.append(float(move.dry_h[level]))
        level = int(move.level[level])
    return level * step, dry_h


def _after(had: Floats, step: float, lost: Floats, shows: NDArray[np.bool_]) -> _Move:
    """Return the moves of all slots, shape (s, levels)."""
    left = had - lost
    share = np.divide(-left, lost, out=np.zeros_like(left), where=shows)
    level = np.clip(np.floor(left / step + 1e-9), 0, had.shape[1] - 1).astype(np.int_)
    return _Move(level, np.clip(share, 0.0, 1.0) * SLOT_H)


def _values(
    moves: Sequence[tuple[_Move, _Move]],
    allowed: NDArray[np.bool_],
    must: NDArray[np.bool_],
    limits: tuple[int, int],
    use: float,
    *,
    required: bool,
) -> list[Floats]:
    """Return the least remaining cost before each slot, by visits made, slots that water has run, and level.

    The limits are the most visits of the day, and the most slots of a visit.
    """
    most, longest = limits
    last = np.zeros((most + 1, longest + 1, len(moves[0][0].level)))
    if required:
        last[0] = _DRY * SLOT_H  # a day without any visit is as bad as half an hour dry
    values = [last]
    for index in range(len(moves) - 1, -1, -1):
        off, run = moves[index]
        after = values[-1]
        stop = after[:, 0, off.level] + _DRY * off.dry_h
        keep_on = after[:, 1:][:, :, run.level] + _DRY * run.dry_h + use
        value = np.empty_like(last)
        value[:-1, 0] = keep_on[1:, 0]  # one more visit made
        value[-1, 0] = stop[-1]  # none is left: no water
        value[:, 1:-1] = keep_on[:, 1:]
        value[:, -1] = keep_on[:, -1] if must[index] else stop
        if not must[index]:
            if allowed[index]:
                np.minimum(value, stop[:, np.newaxis], out=value)
            else:
                value[:] = stop[:, np.newaxis]
        values.append(value)
    return values[::-1]


def _first_visit(slots: Slots, simulation: Simulation) -> NDArray[np.bool_]:
    """Return the slots of the first watering, which does not depend on the owner's hours."""
    timer = simulation.job.curing.timer
    count = 1 if timer else round(simulation.practice["first-water.length"] / SLOT_H)
    first = np.zeros(len(slots.start_s), dtype=bool)
    allowed = np.flatnonzero(slots.allowed_slots)
    if len(allowed):
        first[allowed[0] : allowed[0] + count] = slots.allowed_slots[allowed[0] : allowed[0] + count]
    return first


def _local_days(starts: datetime, ends: datetime) -> Sequence[date]:
    first, last = starts.date(), ends.date()
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def _bounds(day: date, zone: ZoneInfo) -> tuple[float, float]:
    """Return the midnights that bound a local day, UTC seconds."""
    begins, over = (
        datetime.combine(each, time(), zone).timestamp() for each in (day, day + timedelta(days=1))
    )
    return begins, over


def _slots(
    day: date, simulation: Simulation, starts: datetime, ends: datetime, safe: datetime | None
) -> Slots:
    grid = np.arange(*_bounds(day, simulation.job.zone), SLOT_H * HOUR_S)
    grid = grid[(grid >= starts.timestamp()) & (grid + SLOT_H * HOUR_S <= ends.timestamp())]
    local = _on_the_clock(grid, simulation.job.zone)
    lost = np.interp(grid + SLOT_H * HOUR_S / 2, simulation.slab_s(CENTRAL), simulation.likely_evaporation)
    covered = _under_rain_cover(grid, simulation)
    return Slots(
        start_s=grid,
        of_day=_half_hours(local),
        lost=lost * SLOT_H,
        rain=np.where(covered, 0.0, _rain(grid, simulation)),
        open=_somebody_there(local, simulation, may_be_late=day == starts.date()) & ~covered,
        light=_in_daylight(grid, simulation),
        frost=freezing_ahead(grid, simulation, safe),
        shows=simulation.practice["water.shows"] * SLOT_H,
    )


def _under_rain_cover(grid: Floats, simulation: Simulation) -> NDArray[np.bool_]:
    """Return whether plastic against rain keeps water off in each slot; not from a timer, which runs on.

    Of a timer only the first run is put off, see `_from_attended`: nobody turns it off and on again.
    """
    method = simulation.method
    if simulation.job.curing.timer or method is None or method.looks:
        return np.zeros(len(grid), dtype=bool)
    return under_rain_cover(grid, SLOT_H * HOUR_S, simulation)


def _in_daylight(grid: Floats, simulation: Simulation) -> NDArray[np.bool_]:
    """Return whether each slot, from its start, is wholly by daylight; indoors always.

    Where the place is not known, no slot is.
    """
    site = simulation.job.site
    if simulation.job.slab.exposure == "indoors":
        return np.ones(len(grid), dtype=bool)
    if site.latitude is None or site.longitude is None:
        return np.zeros(len(grid), dtype=bool)
    heights = (sun_height(each, site.latitude, site.longitude) for each in (grid, grid + SLOT_H * HOUR_S))
    light: NDArray[np.bool_] = np.minimum(*heights) > simulation.practice["daylight.sun"]
    return light


def _half_hours(local: Sequence[datetime]) -> NDArray[np.int_]:
    """Return for each slot the number of half hours on the wall clock since midnight, from its start."""
    return np.array([round((each.hour + each.minute / 60.0) / SLOT_H) for each in local], dtype=int)


def _somebody_there(
    local: Sequence[datetime], simulation: Simulation, *, may_be_late: bool
) -> NDArray[np.bool_]:
    """Return whether somebody can be there for all of each slot, from its start; always, with a timer."""
    if simulation.job.curing.timer:
        return np.ones(len(local), dtype=bool)
    windows = attended_windows(simulation.job, simulation.practice)
    if not may_be_late:
        windows = tuple(_before_sleep(each, simulation.practice) for each in windows)
    return _within(local, windows)


def _before_sleep(window: TimeWindow, practice: Practice) -> TimeWindow:
    """Return the part of somebody's hours before people sleep; of late ones the first, as long as a visit.

    Who has until midnight is still not asked to water at eleven, once the first water is on.
    """
    opens, closes = window
    latest = max(opens.hour + opens.minute / 60.0 + practice["visit.evening"], practice["day.sleeping"])
    hours, minutes = divmod(round(latest * 60.0), 60)
    return window if hours >= time.max.hour + 1 else (opens, min(closes, time(hours, minutes)))


def _presence(local: Sequence[datetime], simulation: Simulation) -> NDArray[np.bool_]:
    """Return whether somebody can be there for all of each slot, from its start, timer or not."""
    return _within(local, attended_windows(simulation.job, simulation.practice))


def _within(local: Sequence[datetime], windows: Iterable[TimeWindow]) -> NDArray[np.bool_]:
    """Return whether each slot, from its start, lies in some hours of the day."""
    # The last slot of a day ends at midnight, as a window to midnight does.
    spans = [(moment.time(), _closing_time(moment + _SLOT)) for moment in local]
    return np.array(
        [any(opens <= start < end <= closes for opens, closes in windows) for start, end in spans],
        dtype=bool,
    )


def _on_the_clock(grid: Floats, zone: ZoneInfo) -> list[datetime]:
    """Return UTC seconds as hours of the site."""
    return [datetime.fromtimestamp(each, UTC).astimezone(zone) for each in grid]


def _closing_time(moment: datetime) -> time:
    """Return the time of day at which something ends; midnight is the end of the day."""
    return moment.time() if moment.time() > time.min else time.max


def freezing_ahead(grid: Floats, simulation: Simulation, safe: datetime | None) -> NDArray[np.bool_]:
    """Return for each slot whether the air or the surface may freeze before the water has dried.

    Until the slab is strong enough for frost, its surface counts at the cold end of the band, as it does for
    the covers against frost.

    Args:
        grid: Starts of the slots, UTC seconds, shape (s,).
        simulation: The simulated job.
        safe: When the slab is strong enough for a first frost; None: past the estimate.
    """
    known = simulation.weather.seconds
    surface = np.interp(known, simulation.slab_s(CENTRAL), simulation.slab.temperature_c[:, CENTRAL, 0])
    coldest = np.minimum(simulation.air_c, surface)
    slab_s = simulation.slab_s(CENTRAL)
    young = known <= min(np.inf if safe is None else safe.timestamp(), slab_s[-1])
    coldest[young] = np.minimum(coldest, np.interp(known, slab_s, simulation.coldest_top_c))[young]
    first = np.searchsorted(known, grid - HOUR_S)
    after = np.searchsorted(known, _dry_again(grid, simulation), side="right")
    ahead = np.array([coldest[slice(*span)].min(initial=np.inf) for span in zip(first, after, strict=True)])
    frost: NDArray[np.bool_] = ahead < simulation.practice["frost.no-water-below"]
    return frost


def _dry_again(grid: Floats, simulation: Simulation) -> Floats:
    """Return until when the frost of the air counts for water put on in each slot, UTC seconds.

    An open film counts until it has dried by the likely weather, through the night that comes; under a cover,
    which no frost finds open, the usual hours do.
    """
    practice, method = simulation.practice, simulation.method
    usual, longest = (grid + practice[name] * HOUR_S for name in ("frost.ahead", "frost.ahead-wet"))
    if method is None or method.looks:
        return usual
    time_s = simulation.slab_s(CENTRAL)
    rates = simulation.slab.evaporation[:, CENTRAL] * method.loss  # open: a sheet may lie there or not
    means = (rates[1:] + rates[:-1]) / 2.0
    gone = np.concatenate([[0.0], np.cumsum(means * np.diff(time_s) / HOUR_S)])
    begins = grid + SLOT_H * HOUR_S
    empty = np.interp(begins, time_s, gone) + method.store_mm
    after = np.searchsorted(gone, empty)
    dries = np.where(after < len(time_s), time_s[np.minimum(after, len(time_s) - 1)], np.inf)
    return np.clip(dries, usual, longest)


def _rain(grid: Floats, simulation: Simulation) -> Floats:
    """Return the rain of each slot that is likely enough to count on, in mm."""
    weather = simulation.weather
    if not simulation.job.slab.gets_rain:
        return np.zeros(len(grid))
    known = simulation.weather.seconds
    # the hour of the middle of the slot
    hour = np.clip(np.searchsorted(known, grid + SLOT_H * HOUR_S / 2), 0, len(known) - 1)
    chance = weather.precipitation_probability[hour]
    sure = np.where(np.isnan(chance), 0.0, chance) >= simulation.practice["rain.counts"]
    return np.where(sure, weather.precipitation_mm[hour] * SLOT_H, 0.0)


def _day(
    day: date,
    slots: Slots,
    chosen: NDArray[np.bool_],
    dry_h: float,
    simulation: Simulation,
    basis: BasisOf,
    put_mm: Floats,
) -> WateringDay:
    """Return a day of the plan, with the water of each slot."""
    job, weather, method = simulation.job, simulation.weather, simulation.method
    begins, over = _bounds(day, job.zone)
    known = simulation.weather.seconds
    whole = (known > begins) & (known <= over)
    visits = tuple(_visits(slots, chosen, put_mm * job.slab.area, simulation))
    skipped = None if visits else _why_skipped(slots, job, method)
    gets_rain = job.slab.gets_rain
    return WateringDay(
        date=day,
        visits=visits,
        skipped_because=skipped,
        rain_mm=float(weather.precipitation_mm[whole].sum()) if gets_rain else 0.0,
        rain_probability=_chance_of_rain(weather.precipitation_probability[whole]) if gets_rain else None,
        lost_mm=float(slots.lost.sum()),
        coldest_c=float(simulation.air_c[whole].min()),
        basis=basis(datetime.fromtimestamp(over, UTC)),
        dry_hours=0.0 if skipped == "frost" else dry_h,  # a cover keeps it from drying
        water_hours=tuple(_water_hours(slots, job.zone)),
    )


def _water_hours(slots: Slots, zone: ZoneInfo) -> Iterator[WaterHours]:
    """Yield the runs of slots in which water may be put on."""
    at = np.flatnonzero(slots.allowed_slots)
    for run in np.split(at, np.flatnonzero(np.diff(slots.start_s[at]) != SLOT_H * HOUR_S) + 1):
        if len(run):
            ends = (slots.start_s[run[0]], slots.start_s[run[-1]] + SLOT_H * HOUR_S)
            yield WaterHours(*(datetime.fromtimestamp(float(each), UTC).astimezone(zone) for each in ends))


def _chance_of_rain(hourly: Floats) -> float | None:
    """Return the greatest chance of a day's hours, to the whole percent of every paper; None: not known."""
    return None if np.isnan(hourly).all() else round(float(np.nanmax(hourly)), 2)


def _visits(
    slots: Slots, chosen: NDArray[np.bool_], litres: Floats, simulation: Simulation
) -> Iterator[Visit]:
    """Yield a visit for each run of consecutive slots."""
    at, run_h, zone = np.flatnonzero(chosen), run_hours(simulation), simulation.job.zone
    for run in np.split(at, np.flatnonzero(np.diff(slots.start_s[at]) != SLOT_H * HOUR_S) + 1):
        if not len(run):
            continue
        start = datetime.fromtimestamp(slots.start_s[run[0]], UTC).astimezone(zone)
        end = datetime.fromtimestamp(slots.start_s[run[-1]] + run_h * HOUR_S, UTC).astimezone(zone)
        yield Visit(start, end, float(sum(litres[run])), *_cold_water(start, slots, simulation))


def _cold_water(
    start: datetime, slots: Slots, simulation: Simulation
) -> tuple[float, datetime] | tuple[None, None]:
    """Return how much too cool the water is for the surface at a visit, and the hour of the least difference.

    None if the water is not too cool, or its temperature is not known.
    """
    water, limit = simulation.job.curing.water_temperature, simulation.practice["water.cooler"]
    if water is None:
        return None, None
    time_s, surface = simulation.slab_s(CENTRAL), simulation.likely_surface_c
    cooler = float(np.interp(start.timestamp(), time_s, surface)) - water
    if cooler <= limit:
        return None, None
    free = slots.start_s[slots.allowed_slots]
    gentlest = free[np.interp(free, time_s, surface).argmin()]
    return cooler, datetime.fromtimestamp(float(gentlest), UTC).astimezone(simulation.job.zone)


def _why_skipped(slots: Slots, job: JobRecord, method: CuringMethod | None) -> str | None:
    if method is None:
        return _SKIPPED[job.curing.method]
    return "rain" if slots.allowed_slots.any() else "frost"
