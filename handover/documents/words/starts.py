"""The start hours of a job in words, before the pour: each hour, what speaks against it, the best one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.words.quantities import QuantityWording
from handover.schedule.printed_times import half_hour_down, half_hour_up
from handover.schedule.start_hours import HARM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.documents.words.reader import Reader
    from handover.schedule.start_hours import Concern, SawHours, StartComparison, StartHour

EARLY_FROST = frozenset({"frost-any-blanket", "frost-before-blankets"})
"""What no blanket helps against."""

NOON = 12
"""The hour at which the clock begins again."""

COLUMNS = ("start", "drying", "set", "finish", "saw", "water", "cover", "against")
"""The columns of the table of starts, by the keys of their headings."""


@dataclass(frozen=True)
class StartWords:
    """One start in words.

    Attributes:
        start: The start itself.
        when: "Tuesday, July 14, 5:00 am".
        cells: A cell for each of `COLUMNS`.
        sentences: A sentence for each thing that speaks against it; one that nothing does, if nothing does.
    """

    start: StartHour
    when: str
    cells: tuple[str, ...]
    sentences: tuple[str, ...]


class StartWording:
    """The start hours of a job in the words of one reader."""

    def __init__(
        self, reader: Reader, site: str, comparison: StartComparison, contractor: str | None = None
    ) -> None:
        self.reader = reader
        self.say = reader.say
        self.speak = reader.speak
        self.quantities = QuantityWording(reader)
        self.site = site
        self.contractor = contractor
        self.comparison = comparison

    @property
    def title(self) -> str:
        """The title of table, picture and page."""
        return self.say("starts.title")

    @property
    def weather(self) -> str:
        """The source of the weather."""
        return self.say("starts.weather", source=self.comparison.weather)

    @property
    def table(self) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        """The headings, and the cells of each start; a column without a single entry is left out."""
        unit = self.quantities.unit_name("evaporation")
        heads = [self.say(f"starts.head.{each}", unit=unit) for each in COLUMNS]
        columns = [*zip(heads, *(row.cells for row in self.rows), strict=True)]
        head, *rows = zip(*(each for each in columns if any(each[1:])), strict=True)
        return head, tuple(rows)

    @cached_property
    def rows(self) -> tuple[StartWords, ...]:
        """Every start, in order of time."""
        return tuple(map(self.words_of, self.comparison.starts))

    @property
    def verdict(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The best start and the runner-up: a heading, and what speaks against it."""
        best = self.comparison.best
        heading = "best" if EARLY_FROST.isdisjoint(best.codes) else "best-frost"
        chosen = ((heading, best), ("runner-up", self.comparison.runner_up))
        return tuple(
            (self.say(f"starts.{key}", when=words.when), words.sentences)
            for key, words in ((key, self.words_of(start)) for key, start in chosen if start is not None)
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """How to read the table, how the starts are compared, and the limits of the estimate."""
        comparison, number = self.comparison, self.quantities.number
        keys = (
            ("drying", "set", "order", "placing")
            if {*comparison.best.codes}.isdisjoint(HARM)
            else ("none-free", "drying", "set", "order", "placing")
        )
        values = {
            "unit": self.quantities.unit_name("evaporation"),
            "watch": number(comparison.watch_limit, "evaporation"),
            "limit": number(comparison.precaution_limit, "evaporation"),
            "length": self.speak.length(timedelta(hours=comparison.placing_h)),
        }
        return (*self._refused, *(self.say(f"starts.note.{key}", **values) for key in keys))

    @property
    def _refused(self) -> tuple[str, ...]:
        """The starts that have no hours because the slab gets too hot, in one sentence; mostly none."""
        refused, measure = self.comparison.refused, self.quantities.measure
        if not refused:
            return ()
        limit = measure(self.comparison.inside_limit, "temperature")
        reached = measure(max(each.hottest_inside_c for each in refused), "temperature")
        starts = self.speak.join_list([self._when(each.start) for each in refused])
        return (self.say("starts.note.refused", starts=starts, reached=reached, limit=limit),)

    def _when(self, start: datetime) -> str:
        return self.say("starts.when", day=self.speak.weekday_short(start), hour=self.speak.short_hour(start))

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits of the estimate."""
        lines = [self.say(f"limits.{key}") for key in ("estimate", "codes", "ground")]
        typical = self.comparison.typical_from
        last = self.comparison.starts[-1].end.astimezone(UTC) + timedelta(days=1)
        if typical is not None and typical.astimezone(UTC) < last:
            lines.append(self.say("limits.typical", day=self.speak.day(typical)))
        return (*lines, self.say("starts.note.afterwards"))

    def words_of(self, start: StartHour) -> StartWords:
        """Return one start in words."""
        day, hour = self.speak.day(start.start), self.speak.short_hour(start.start)
        sentences = tuple(self._sentence(each, start) for each in start.concerns)
        return StartWords(
            start=start,
            when=self.say("starts.when", day=day, hour=hour),
            cells=(
                self._short_start(start),
                self._drying(start),
                self._span(_nearest(start.initial_set), _nearest(start.final_set), start),
                self.clock(start.finish_first_by and half_hour_down(start.finish_first_by), start),
                self._saw(start.saw, start),
                self.clock(start.first_water and half_hour_up(start.first_water), start),
                ", ".join(self._blanket_and_rain(start)),
                self._against(start),
            ),
            sentences=sentences or (self._nothing_against(start),),
        )

    def _nothing_against(self, start: StartHour) -> str:
        """Return that nothing speaks against a start, or for how long it dries above the lower limit."""
        if not start.watch_hours:
            return self.say("starts.against.none")
        peak = self.quantities.measure(start.peak_drying, "evaporation")
        return self.say("starts.against.watch", hours=_half_hours(start.watch_hours), peak=peak)

    def clock(self, when: datetime | None, start: StartHour) -> str:
        """Return an hour, with its weekday if it is not on the day of the start; "" for none."""
        if when is None:
            return ""
        hour = self.speak.column_hour(when)
        if when.date() == start.start.date():
            return hour
        return self.say("starts.next-day", day=self.speak.weekday_short(when), hour=hour)

    # ---- cells

    def _against(self, start: StartHour) -> str:
        short = [
            self.say(f"starts.short.{each.code}", **self._values(each, start))
            for each in start.concerns
            if each.code != "saw-in-stages"  # in the column of sawing
        ]
        if short or not start.watch_hours:
            return ", ".join(short) or self.say("starts.short.none")
        return self.say("starts.short.watch", hours=_half_hours(start.watch_hours))

    def _short_start(self, start: StartHour) -> str:
        day, hour = self.speak.weekday_short(start.start), self.speak.column_hour(start.start)
        return self.say("starts.next-day", day=day, hour=hour)

    def _drying(self, start: StartHour) -> str:
        return self.say(
            "starts.cell.drying",
            peak=self.quantities.number(start.peak_drying, "evaporation"),
            watch=_half_hours(start.watch_hours),
            above=_half_hours(start.precaution_hours),
        )

    def _span(self, first: datetime | None, last: datetime | None, start: StartHour) -> str:
        if first is None or last is None:
            return ""
        if first.date() == last.date() and (first.hour < NOON) == (last.hour < NOON):
            begin = self.speak.plain_hour(first)  # the end says whether it is morning
            if first.date() != start.start.date():
                begin = self.say("starts.next-day", day=self.speak.weekday_short(first), hour=begin)
            return self.say("starts.cell.span", first=begin, last=self.speak.column_hour(last))
        return self.say("starts.cell.span", first=self.clock(first, start), last=self.clock(last, start))

    def _saw(self, saw: SawHours | None, start: StartHour) -> str:
        if saw is None:
            return ""
        closes = None if saw.closes is None else half_hour_down(saw.closes)
        if saw.in_stages:
            return self.say("starts.cell.stages", last=self.clock(closes, start))
        if closes is None:
            return self.say("starts.cell.from", first=self.clock(half_hour_up(saw.opens), start))
        return self._span(half_hour_up(saw.opens), closes, start)

    def _blanket_and_rain(self, start: StartHour) -> Iterator[str]:
        if start.blanket is None:
            yield self.say("starts.cell.no-blanket")
        elif start.blanket > 0.0:
            yield self.say("starts.cell.blanket", blanket=self._resistance(start.blanket))
        if start.rain_mm > 0.0:
            yield self.quantities.measure(start.rain_mm, "rain")

    # ---- what speaks against a start

    def _sentence(self, concern: Concern, start: StartHour) -> str:
        key = f"starts.against.{concern.code}{self._when_it_rains(concern, start)}"
        # Without its hour, a sentence has another form.
        if concern.at is None and self.reader.has(f"{key}-some-time"):
            key = f"{key}-some-time"
        return self.say(key, **self._values(concern, start))

    @staticmethod
    def _when_it_rains(concern: Concern, start: StartHour) -> str:
        """Return the mark of a sentence on rain, a part of which or all of which falls after final set."""
        if concern.code != "rain" or start.rain_before_set_mm >= start.rain_mm:
            return ""
        return "--some-after-set" if start.rain_before_set_mm > 0.0 else "--after-set"

    def _values(self, concern: Concern, start: StartHour) -> dict[str, str]:
        figures = {each.name: each.value for each in concern.figures}
        upward = concern.code in {"saw-dark", "saw-in-stages", "nobody"}  # its end is the last hour
        at, until = concern.at, concern.until
        return {
            "at": self.clock(at and (half_hour_up(at) if upward else half_hour_down(at)), start),
            "until": self.clock(until and (half_hour_down(until) if upward else half_hour_up(until)), start),
            "sunrise": self.clock(until, start),
            "hours": _half_hours(figures.get("hours_above", figures.get("darkness", 0.0))),
            "peak": self.quantities.measure(start.peak_drying, "evaporation"),
            "limit": self.quantities.measure(self.comparison.precaution_limit, "evaporation"),
            "rain": self.quantities.measure(start.rain_mm, "rain"),
            "early": self.quantities.measure(start.rain_before_set_mm, "rain"),
            "blanket": self._resistance(figures.get("blanket", 0.0)),
        }

    def _resistance(self, resistance: float) -> str:
        """Return a blanket by its R-value, or by its resistance in metric units."""
        return self.quantities.measure(resistance, "thermal resistance")


def _nearest(when: datetime | None) -> datetime | None:
    """Return the nearest half hour: of an estimate that is neither an earliest nor a latest hour."""
    if when is None:
        return None
    quarter = (when.astimezone(UTC) + timedelta(minutes=15)).astimezone(when.tzinfo)
    return half_hour_down(quarter)


def _half_hours(hours: float) -> str:
    """Return hours to the half hour above, without trailing zeros: "2.5"."""
    return f"{-(-hours // 0.5) / 2:g}"
