"""The watering table of the care sheet: a row for days that are alike, a column for each part of the day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from handover.documents.words.reader import Reader
    from handover.documents.words.watering import DayWords, VisitWords

DAY_COLUMNS = ("night", "morning", "midday", "evening")
"""In order of time: the night is that before dawn."""

TIMER_COLUMN = "timer"
"""The only column where a timer waters: nobody ticks off its runs."""


def _likeness(day: DayWords) -> tuple[object, ...]:
    """Return what days of one row have in common."""
    hours = tuple((visit.start.time(), visit.end.time()) for visit in day.visits)
    return hours, day.note, day.typical


@dataclass(frozen=True)
class TableCell:
    """A cell of the watering table: its visits, its number of columns, and a note."""

    visits: tuple[VisitWords, ...]
    columns: int = 1
    note: str = ""


class WateringTable:
    """The table of some days of curing."""

    def __init__(self, reader: Reader, days: Sequence[DayWords]) -> None:
        self.say = reader.say
        self.days = tuple(self._join_days(days))

    def _join_days(self, days: Sequence[DayWords]) -> Iterator[DayWords]:
        """Yield the rows of the table; days in a row with the same hours and the same note share one."""
        for _, run in groupby(days, key=_likeness):
            held = list(run)
            yield self._from_to(held) if len(held) > 1 else held[0]

    def _from_to(self, days: Sequence[DayWords]) -> DayWords:
        first, last = days[0], days[-1]
        day, since = (
            self.say("sheet.day-span", first=one, last=other)
            for one, other in ((first.short_day, last.short_day), (first.since, last.since))
        )
        if first.visits:
            is_daily = (last.date - first.date).days == len(days) - 1
            since = self.say("sheet.each-day" if is_daily else "sheet.some-days", days=since)
        alike = tuple(each.short_day for each in days)
        return replace(
            first,
            amount=self._most(days),
            litres=max(each.litres for each in days),
            day=capitalise(day),
            since=since,
            alike=alike,
            dates=tuple(each.date.isoformat() for each in days),
        )

    def _most(self, days: Sequence[DayWords]) -> str:
        """Return the amount of each day; where a pond is topped up by more or less, the most of a day."""
        most = max(days, key=lambda each: each.litres).amount
        is_same = all(each.amount == most for each in days)
        return most if is_same else self.say("sheet.amount-up-to", amount=most)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Return the parts of the day with something to do."""
        if any(day.runs for day in self.days):
            return (TIMER_COLUMN,)
        used = {visit.column for day in self.days for visit in day.visits}
        return tuple(column for column in DAY_COLUMNS if column in used)

    def cells(self, day: DayWords) -> tuple[TableCell, ...]:
        """Return the cells of a day; its note is in the empty columns at the end, if there are any."""
        if day.runs:
            return (TableCell((), note=day.runs),)
        held = [tuple(visit for visit in day.visits if visit.column == each) for each in self.columns]
        filled = max((number for number, visits in enumerate(held, 1) if visits), default=0)
        if empty := len(held) - filled:
            return (*map(TableCell, held[:filled]), TableCell((), empty, day.note))
        return tuple(map(TableCell, held))

    def note_below(self, day: DayWords) -> str:
        """Return the note of a day whose last column is filled, which has its own line below the hours."""
        filled = day.runs or (day.visits and day.visits[-1].column == self.columns[-1])
        return day.note if filled else ""
