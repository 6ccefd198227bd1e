"""The visits of several slabs of one site, planned together: one visit serves all slabs that are wet then.

Each slab keeps its number of visits and at least its time of watering. No visit leaves the hours at which
somebody is there and water may be put on. The first watering of a slab keeps its hour. A visit moves by a few
hours at most, so that no slab is left dry for much longer. A slab that is watered once a day may have another
hour of the day, the same each day, so that no more than a day is between two visits. Sheets are looked at on
the same days.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules
from handover.schedule.cover_times import first_visit, frost_covers
from handover.schedule.model import PONDING, MilestoneKind
from handover.schedule.shared_looks import look_together

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from handover.jobs.record import JobRecord
    from handover.schedule.cover_times import FrostCover
    from handover.schedule.model import CureSchedule, Visit, WateringDay


def plan_together(
    jobs: Sequence[JobRecord], schedules: Sequence[CureSchedule], as_of: datetime
) -> tuple[CureSchedule, ...]:
    """Return the schedules of slabs of one site with their visits at common hours.

    Args:
        jobs: Their records.
        schedules: Their schedules as issued.
        as_of: Time of issue, aware; a visit that has begun by then stays as it is.
    """
    schedules = _at_hours_of_others(jobs, look_together(schedules, as_of), as_of)
    slabs = [_SlabVisits(job, schedule, as_of) for job, schedule in zip(jobs, schedules, strict=True)]
    days = sorted({day for each in slabs for day in each.days})
    moved = [_moved_on(day, slabs) for day in days]
    found: dict[tuple[int, date], dict[int, Visit]] = defaultdict(dict)
    for day, visits in zip(days, moved, strict=True):
        for turn, visit in visits.items():
            found[turn.slab, day][turn.number] = visit
    return tuple(
        replace(
            each,
            watering=tuple(_with_visits(day, found.get((number, day.date), {})) for day in each.watering),
        )
        for number, each in enumerate(schedules)
    )


def _with_visits(day: WateringDay, visits: Mapping[int, Visit]) -> WateringDay:
    """Return a day with some of its visits in place of those of the same numbers."""
    if not visits:
        return day
    return replace(day, visits=tuple(visits.get(number, each) for number, each in enumerate(day.visits)))


@dataclass(frozen=True)
class _Turn:
    """A visit to one slab: the number of the slab, and of the visit on its day."""

    slab: int
    number: int
    visit: Visit
    can_move: bool


@dataclass(frozen=True)
class _Span:
    """When a group may meet: at the hour of one of its visits, until an end."""

    of: Visit
    end: datetime


@dataclass(frozen=True)
class _SlabVisits:
    """The visits of one slab, and where they may be; the time of issue, after which they are ahead."""

    job: JobRecord
    schedule: CureSchedule
    as_of: datetime

    @cached_property
    def first(self) -> Visit | None:
        """The first visit of all."""
        return first_visit(self.schedule)

    @cached_property
    def covers(self) -> tuple[FrostCover, ...]:
        """The covers against frost."""
        return frost_covers(self.schedule)

    @cached_property
    def days(self) -> dict[date, WateringDay]:
        """The days with visits of a person: a timer is set once and needs nobody."""
        if self.job.curing.timer:
            return {}
        return {each.date: each for each in self.schedule.watering if each.visits}

    @cached_property
    def ahead(self) -> dict[date, Visit]:
        """The first visit that is ahead on each day, without the first of all."""
        visits = {
            day: [each for each in one.visits if each.start > self.as_of and each != self.first]
            for day, one in self.days.items()
        }
        return {day: found[0] for day, found in visits.items() if found}

    @property
    def is_daily(self) -> bool:
        """Whether it is watered at most once on each of these days, so that any hour is as good."""
        return all(len(self.days[day].visits) == 1 for day in self.ahead)

    def turns(self, slab: int, day: date) -> list[_Turn]:
        """Return the visits of a day that are ahead."""
        visits = self.days[day].visits if day in self.days else ()
        return [
            _Turn(slab, number, each, each != self.first)
            for number, each in enumerate(visits)
            if each.start > self.as_of
        ]

    def may_be(self, visit: Visit, day: date) -> bool:
        """Return whether a visit is within the hours for water, and not under a cover against frost."""
        fits = any(each.start <= visit.start and visit.end <= each.end for each in self.days[day].water_hours)
        return fits and not any(each.meets(visit) for each in self.covers)

    def at(self, turn: _Turn, span: _Span) -> Visit:
        """Return a visit at other hours, with water for as long as it takes.

        Water that is too cool for one slab at its hour is so for another.
        """
        visit, other = turn.visit, span.of
        if visit.start == span.of.start and visit.end == span.end:
            return visit
        share = (span.end.astimezone(UTC) - other.start.astimezone(UTC)) / visit.duration
        litres = visit.litres if self.job.curing.method == PONDING else visit.litres * share
        coolest = max(visit, other, key=lambda each: each.cooler_k or 0.0)
        return replace(
            visit,
            start=other.start,
            end=span.end,
            litres=litres,
            cooler_k=coolest.cooler_k,
            gentler_at=coolest.gentler_at,
        )


# ---- slabs that are watered once a day


def _at_hours_of_others(
    jobs: Sequence[JobRecord], schedules: Sequence[CureSchedule], as_of: datetime
) -> tuple[CureSchedule, ...]:
    """Return the schedules; a slab that is watered once a day is so at an hour of another, where it may."""
    found = list(schedules)
    for number, (job, schedule) in enumerate(zip(jobs, schedules, strict=True)):
        slab = _SlabVisits(job, schedule, as_of)
        if not slab.ahead or not slab.is_daily:
            continue
        others = [_SlabVisits(*each, as_of) for each in zip(jobs, found, strict=True)]
        hours = _hours_to_share(
            slab.ahead, (each for at, each in enumerate(others) if at < number or not each.is_daily)
        )
        for clock in hours:
            visits = {day: _at_clock(visit, day, clock) for day, visit in slab.ahead.items()}
            if _is_within_a_day(visits, slab, schedule) and all(
                slab.may_be(visits[day], day) for day in visits
            ):
                watering = tuple(
                    _with_visits(each, {0: visits[each.date]} if each.date in visits else {})
                    for each in schedule.watering
                )
                found[number] = replace(schedule, watering=watering)
                break
    return tuple(found)


def _hours_to_share(days: Iterable[date], others: Iterable[_SlabVisits]) -> list[time]:
    """Return the hours of visits to other slabs on some days, the most frequent first."""
    days, hours = {*days}, Counter[time]()
    for each in others:
        for day in days & each.days.keys():
            hours.update(visit.start.time() for visit in each.days[day].visits if visit != each.first)
    return [clock for clock, _ in sorted(hours.items(), key=lambda each: (-each[1], each[0]))]


def _at_clock(visit: Visit, day: date, clock: time) -> Visit:
    """Return a visit at another hour of its day."""
    start = datetime.combine(day, clock, visit.start.tzinfo)
    end = (start.astimezone(UTC) + visit.duration).astimezone(start.tzinfo)
    return replace(visit, start=start, end=end)


def _is_within_a_day(visits: Mapping[date, Visit], slab: _SlabVisits, schedule: CureSchedule) -> bool:
    """Return whether the slab is left for at most a day, or as long as before, until them and after them."""
    first, last = min(visits), max(visits)
    before = [
        each.end for day in slab.days.values() for each in day.visits if each not in slab.ahead.values()
    ]
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    spans = [(each, slab.ahead[first].start, visits[first].start) for each in before[-1:]]
    if ends is not None and ends.not_before is not None:
        spans.append((ends.not_before, slab.ahead[last].start, visits[last].start))
    return all(_between(at, new) <= max(timedelta(days=1), _between(at, old)) for at, old, new in spans)


def _between(one: datetime, other: datetime) -> timedelta:
    return abs(one.astimezone(UTC) - other.astimezone(UTC))


# ---- visits to several slabs on one day


def _moved_on(day: date, slabs: Sequence[_SlabVisits]) -> dict[_Turn, Visit]:
    """Return the visits of a day that move, each with its new hours."""
    turns = [turn for number, each in enumerate(slabs) for turn in each.turns(number, day)]
    moved: dict[_Turn, Visit] = {}
    settled: set[_Turn] = set()
    for anchor in sorted(turns, key=lambda each: _order(each, slabs, day)):
        if anchor in settled:
            continue
        group = [anchor, *_near(anchor, [each for each in turns if each not in settled])]
        visits = _together(group, slabs, day, moved, turns)
        settled |= visits.keys()
        moved |= {turn: visit for turn, visit in visits.items() if visit != turn.visit}
    return moved


def _order(turn: _Turn, slabs: Sequence[_SlabVisits], day: date) -> tuple[bool, int, float, int, datetime]:
    """Return whose hours the others take: those that cannot move, then the slab that needs most water."""
    of_day = slabs[turn.slab].days[day]
    return turn.can_move, -len(of_day.visits), -of_day.lost_mm, turn.slab, turn.visit.start.astimezone(UTC)


def _near(anchor: _Turn, turns: Iterable[_Turn]) -> Iterator[_Turn]:
    """Yield the nearest visit to each other slab that may move to the hours of one."""
    longest = general_rules().duration("project.together")
    others = [each for each in turns if each.slab != anchor.slab and each.can_move]
    for slab in sorted({each.slab for each in others}):
        near = min((each for each in others if each.slab == slab), key=lambda each: _apart(each, anchor))
        if _apart(near, anchor) <= longest:
            yield near


def _apart(one: _Turn, other: _Turn) -> timedelta:
    return _between(one.visit.start, other.visit.start)


def _together(
    group: Sequence[_Turn],
    slabs: Sequence[_SlabVisits],
    day: date,
    moved: Mapping[_Turn, Visit],
    turns: Sequence[_Turn],
) -> dict[_Turn, Visit]:
    """Return the visits of a group that can be at one time, with their hours: as many as possible.

    The time is that of the first one or, where more slabs can have water then, of another. The visit lasts as
    long as that of the slab which takes longest, as far as all others may have it so long.
    """
    anchor = group[0]
    choices = [{anchor: anchor.visit}]
    for span in _spans(group):
        visits = {each: slabs[each.slab].at(each, span) for each in group}
        fitting = {
            turn: visit
            for turn, visit in visits.items()
            if _is_as_good(visit, turn)
            and (visit == turn.visit or slabs[turn.slab].may_be(visit, day))
            and all(
                _is_clear(visit, moved.get(each, each.visit)) for each in turns if _is_other_visit(each, turn)
            )
        }
        if anchor in fitting:
            choices.append(fitting)
    return max(choices, key=len)


def _spans(group: Sequence[_Turn]) -> Iterator[_Span]:
    """Yield when a group may meet: with the visit that cannot move, else with any, the longest first."""
    anchor = group[0]
    if not anchor.can_move:
        yield _Span(anchor.visit, anchor.visit.end)
        return
    lengths = sorted({each.visit.duration for each in group}, reverse=True)
    for turn in group:
        for length in lengths:
            start = turn.visit.start
            yield _Span(turn.visit, (start.astimezone(UTC) + length).astimezone(start.tzinfo))


def _is_as_good(visit: Visit, turn: _Turn) -> bool:
    """Return whether a visit is as long as it was, and at most the hours of the rule from its own time."""
    longest = general_rules().duration("project.together")
    return visit.duration >= turn.visit.duration and _between(visit.start, turn.visit.start) <= longest


def _is_other_visit(one: _Turn, other: _Turn) -> bool:
    return one.slab == other.slab and one.number != other.number


def _is_clear(one: Visit, other: Visit) -> bool:
    """Return whether two visits to one slab neither meet nor touch."""
    return one.end < other.start or other.end < one.start
