"""The watering table of the care sheet: a row for each day, a column for each part of the day."""

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

DAY_COLUMNS = ("morning", "midday", "evening", "night")


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
        """Yield the rows of the table; consecutive days of possible frost share one row."""
        frost = self.say("watering.none-frost")
        for (frozen, _), run in groupby(days, key=lambda day: (day.note == frost, day.typical)):
            held = list(run)
            yield from [self._from_to(held[0], held[-1])] if frozen and len(held) > 1 else held

    def _from_to(self, first: DayWords, last: DayWords) -> DayWords:
        day, since = (
            self.say("sheet.day-span", first=one, last=other)
            for one, other in ((first.short_day, last.short_day), (first.since, last.since))
        )
        return replace(first, day=capitalise(day), since=since)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Return the parts of the day with something to do."""
        used = {visit.column for day in self.days for visit in day.visits}
        return tuple(column for column in DAY_COLUMNS if column in used)

    def cells(self, day: DayWords) -> tuple[TableCell, ...]:
        """Return the cells of a day; its note is in the empty columns at the end, if there are any."""
        held = [tuple(visit for visit in day.visits if visit.column == each) for each in self.columns]
        filled = max((number for number, visits in enumerate(held, 1) if visits), default=0)
        if empty := len(held) - filled:
            return (*map(TableCell, held[:filled]), TableCell((), empty, day.note))
        return tuple(map(TableCell, held))

    def note_below(self, day: DayWords) -> str:
        """Return the note of a day whose last column is filled, which has its own line below the hours."""
        return day.note if day.visits and day.visits[-1].column == self.columns[-1] else ""
