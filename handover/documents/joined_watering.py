"""The watering of several slabs in one table: visits that meet are one entry that names their slabs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise
from handover.documents.watering_table import DAY_COLUMNS, TIMER_COLUMN

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date, datetime

    from handover.documents.joined_slabs import ProjectSlab, ProjectSlabs
    from handover.documents.words.watering import DayWords, VisitWords


@dataclass(frozen=True)
class JoinedVisit:
    """Visits of several slabs that meet: the owner comes once.

    Attributes:
        start: Aware, site's zone.
        end: Aware, site's zone.
        span: "6:30 to 7:30 am".
        slabs: The slabs in one line, or each with its own hours in a line.
        jobs: The ids of their jobs, for the boxes of the page.
        column: The part of the day in which it begins.
    """

    start: datetime
    end: datetime
    span: str
    slabs: tuple[str, ...]
    jobs: str
    column: str


@dataclass(frozen=True)
class JoinedDay:
    """One row of the table: a day, or days in a row that are alike.

    Attributes:
        on: The first day, local.
        day: "Tuesday, July 14".
        short_day: "Tue Jul 14".
        visits: In order of time.
        notes: One sentence or more on each slab, or on all of them.
        typical: Whether the day rests on typical weather.
        alike: The short days of a row of several.
        until: The last day of the row.
        dates: The days of a row of several.
        which: Whether they are all days from the first to the last, or those whose boxes are below; else "".
    """

    on: date
    day: str
    short_day: str
    visits: tuple[JoinedVisit, ...]
    notes: tuple[str, ...]
    typical: bool
    until: date
    alike: tuple[str, ...] = ()
    dates: tuple[date, ...] = ()
    which: str = ""


class JoinedWatering:
    """The watering table of the days to come of all slabs that have one."""

    def __init__(self, project: ProjectSlabs) -> None:
        self.project = project
        self.slabs = tuple(each for each in project.slabs if each.care.waters)

    @cached_property
    def days(self) -> tuple[JoinedDay, ...]:
        """Return the rows, in order of time."""
        of_slabs = {slab: {day.date: day for day in slab.words.visits.days_to_come} for slab in self.slabs}
        dates = sorted({each for days in of_slabs.values() for each in days})
        found = (
            self._day(each, [(slab, days[each]) for slab, days in of_slabs.items() if each in days])
            for each in dates
        )
        return tuple(self._rows(found))

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Return the parts of the day with something to do; where only timers water, one for their runs."""
        used = {visit.column for day in self.days for visit in day.visits}
        return tuple(column for column in DAY_COLUMNS if column in used) or (TIMER_COLUMN,)

    def cells(self, day: JoinedDay) -> tuple[tuple[JoinedVisit, ...], ...]:
        """Return the visits of a day by column."""
        return tuple(
            tuple(visit for visit in day.visits if visit.column == column) for column in self.columns
        )

    def _rows(self, days: Iterator[JoinedDay]) -> Iterator[JoinedDay]:
        """Yield the rows; days in a row with the same hours, slabs and notes share one."""
        for _, run in groupby(days, key=_likeness):
            alike = tuple(run)
            yield self._from_to(alike) if len(alike) > 1 else alike[0]

    def _from_to(self, days: tuple[JoinedDay, ...]) -> JoinedDay:
        """Return the row of some days that are alike; between them may be days with nothing to do."""
        first, last = days[0], days[-1]
        say, which = self.project.words.say, ""
        if first.visits:
            is_daily = (last.on - first.on).days == len(days) - 1
            which = say("joined.each-day" if is_daily else "joined.some-days")
        return replace(
            first,
            day=capitalise(say("sheet.day-span", first=first.short_day, last=last.short_day)),
            alike=tuple(each.short_day for each in days),
            dates=tuple(each.on for each in days),
            until=last.on,
            which=which,
        )

    def _day(self, on: date, days: Sequence[tuple[ProjectSlab, DayWords]]) -> JoinedDay:
        words = days[0][1]
        visits = [(slab, visit) for slab, day in days for visit in day.visits if not day.runs]
        visits.sort(key=lambda each: each[1].start)
        return JoinedDay(
            on=on,
            day=words.day,
            short_day=words.short_day,
            visits=tuple(self._visit(each) for each in _meetings(visits)),
            notes=self._notes(days),
            typical=any(day.typical for _, day in days),
            until=on,
        )

    def _visit(self, parts: Sequence[tuple[ProjectSlab, VisitWords]]) -> JoinedVisit:
        start, end = min(each.start for _, each in parts), max(each.end for _, each in parts)
        in_order = sorted(parts, key=lambda each: self.slabs.index(each[0]))
        slabs: tuple[str, ...] = (self.project.list_names(slab for slab, _ in in_order),)
        if len({each.short_span for _, each in parts}) > 1:
            slabs = tuple(self._with_name(slab, each.short_span) for slab, each in in_order)
        return JoinedVisit(
            start=start,
            end=end,
            span=self.project.words.speak.short_span(start, end),
            slabs=slabs,
            jobs=" ".join(slab.job for slab, _ in in_order),
            column=parts[0][1].column,
        )

    def _notes(self, days: Sequence[tuple[ProjectSlab, DayWords]]) -> tuple[str, ...]:
        """Return the notes of a day: once where all slabs have the same one, else by slab."""
        texts = [(slab, ". ".join(filter(None, (day.runs, day.note)))) for slab, day in days]
        if len(days) == len(self.project.slabs) and len({text for _, text in texts}) == 1:
            notes = tuple(filter(None, (texts[0][1],)))
        else:
            notes = tuple(self._with_name(slab, text) for slab, text in texts if text)
        idle = not any(day.visits for _, day in days)
        return notes or ((self.project.words.say("sheet.nothing-today"),) if idle else ())

    def _with_name(self, slab: ProjectSlab, text: str) -> str:
        return self.project.words.say("joined.of-slab", slab=slab.heading, text=text)


def _meetings(
    visits: Sequence[tuple[ProjectSlab, VisitWords]],
) -> list[list[tuple[ProjectSlab, VisitWords]]]:
    """Return visits by meeting: each begins before those of the other slabs are over, or as they end."""
    meetings: list[list[tuple[ProjectSlab, VisitWords]]] = []
    for slab, visit in visits:
        last = meetings[-1] if meetings else []
        own = any(each is slab for each, _ in last)
        if last and not own and visit.start <= max(each.end for _, each in last):
            last.append((slab, visit))
        else:
            meetings.append([(slab, visit)])
    return meetings


def _likeness(day: JoinedDay) -> tuple[object, ...]:
    """Return what days of one row have in common."""
    visits = tuple((each.start.time(), each.end.time(), each.slabs) for each in day.visits)
    return visits, day.notes, day.typical
