"""The watering in words: each day, each visit, and the cover where it is too cold to water."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.documents.words.schedule_words import ScheduleWords
from handover.documents.words.what_if import what_if
from handover.practice.rules import general_rules
from handover.schedule.coat_after_cover import coat_begins
from handover.schedule.cover_times import (
    first_visit,
    is_dry_look,
    is_rain_kept_off,
    is_walkable,
    left_on_until_water,
    may_water_freeze,
    sheet_after_blankets,
    start_of_brought_cover,
)
from handover.schedule.loading import owner_blankets
from handover.schedule.model import BURLAP, NO_LOOK, PONDING, MilestoneKind
from handover.schedule.remaining_watering import RemainingWatering, remaining_watering
from handover.schedule.tasks import (
    OWNER_SETS,
    WATERING,
    cover_lifts,
    cover_tasks,
    covers_at,
    is_laid_by_crew,
    is_pond,
    is_pond_filled_by,
    is_to_lie,
    next_cover,
)
from handover.schedule.timer import fullest_day, is_by_timer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from handover.schedule.model import Task, Visit, WateringDay

COLUMN_HOURS = ((5, "night"), (11, "morning"), (16, "midday"), (24, "evening"))
"""Columns of the watering table: a visit that starts before this hour of the day is in this column."""


@dataclass(frozen=True)
class CoverWords:
    """What an owner does when it is too cold to water: title, from when until when, sentences, start."""

    title: str
    when: str
    sentence: str
    start: datetime


@dataclass(frozen=True)
class MissedWaterWords:
    """What an owner is asked who hears of the first water too late: title, since when, what to do if not."""

    title: str
    when: str
    sentence: str


@dataclass(frozen=True)
class VisitWords:
    """One watering in words.

    Attributes:
        start: Aware, site's zone.
        end: Aware, site's zone.
        title: "Water the slab, 6:30 to 7:30 in the morning".
        action: What to do, in one or two sentences.
        span: "6:30 to 7:30 in the morning".
        short_span: "6:30 to 7:30 am".
        length: "1 hour".
        amount: "About 120 gallons.", or "" when no water is counted.
        covered: Whether a cover keeps the slab wet until the next one.
        column: "morning", "midday", "evening" or "night".
    """

    start: datetime
    end: datetime
    title: str
    action: str
    span: str
    short_span: str
    length: str
    amount: str
    column: str
    covered: bool = False


@dataclass(frozen=True)
class DayWords:
    """One day of the watering table in words.

    Attributes:
        date: Local.
        since: "Day 3", counted from the pour as on the time line.
        day: "Tuesday, July 14".
        short_day: "Tue Jul 14".
        visits: In order of time.
        note: Why there is no watering, or what may change it; may be empty.
        length: "3 hr" over the day, or "".
        amount: "120 gallons" over the day; of a row whose days differ "up to 120 gallons"; or "".
        litres: Water over the day; of a row the most of a day. [L]
        typical: Whether the day rests on typical weather.
        alike: The short days of a row of days that are alike; empty: the day itself.
        runs: The runs of a timer, "9 runs, 6:00 am to 8:15 pm"; empty without a timer.
        dates: The days of a row of days, as in ISO 8601; empty: the day itself.
    """

    date: date
    since: str
    day: str
    short_day: str
    visits: tuple[VisitWords, ...]
    note: str
    length: str
    amount: str
    typical: bool
    alike: tuple[str, ...] = ()
    runs: str = ""
    dates: tuple[str, ...] = ()
    litres: float = 0.0

    @property
    def span(self) -> tuple[str, str]:
        """The first and the last day of its row, as in ISO 8601."""
        return self.date.isoformat(), (self.dates or (self.date.isoformat(),))[-1]


class WateringWording(ScheduleWords):
    """The watering of one schedule in the words of one reader."""

    @cached_property
    def days(self) -> tuple[DayWords, ...]:
        """Every day of curing, in order."""
        return tuple(map(self._day, self.schedule.watering))

    @cached_property
    def _remaining(self) -> RemainingWatering:
        return remaining_watering(self.schedule)

    @cached_property
    def days_to_come(self) -> tuple[DayWords, ...]:
        """The remaining days of curing at the time of issue, without those that leave a cover alone."""
        return tuple(map(self._day, (each for each in self._remaining.days if not self._is_left_alone(each))))

    def _is_left_alone(self, day: WateringDay) -> bool:
        """Return whether nobody looks at the cover on a day: it is not due, or rain wets all around it."""
        rained = day.skipped_because == "rain" and self.schedule.cure_mode == "cover"
        return rained or day.skipped_because == NO_LOOK

    @property
    def began(self) -> bool:
        """Whether some of the watering is past at the time of issue."""
        return self._remaining.began

    @property
    def has_dry_looks(self) -> bool:
        """Whether a look to come adds no water, because frost is near."""
        return any(is_dry_look(self.schedule, visit) for day in self._remaining.days for visit in day.visits)

    @property
    def amount_to_come(self) -> str:
        """The amount of water of the remaining watering; empty if there is none."""
        litres = self._remaining.litres
        return self.quantities.amount(litres) if litres else ""

    @cached_property
    def water_in_all(self) -> str:
        """The amount of water of the remaining watering; empty if there is none."""
        left = self._remaining
        if not left.garden_days:
            return ""
        return self.say(
            "watering.total-to-come" if left.began else "watering.total",
            amount=self.quantities.amount(left.litres),
            days=self.speak.days(left.watered_days),
            garden=self.speak.days(max(round(left.garden_days), 1)),
        )

    def _day(self, day: WateringDay) -> DayWords:
        return DayWords(
            date=day.date,
            since=self.dates.since_pour((day.date - self.schedule.placement_end.date()).days),
            day=capitalise(self.speak.day(day.date)),
            short_day=self.speak.short_day(day.date),
            visits=tuple(self.visit(each) for each in day.visits),
            note=self._note(day),
            length=self.speak.short_length(day.duration) if day.duration else "",
            amount=self.quantities.amount(day.litres) if day.litres else "",
            typical=day.basis == "typical",
            runs=self._runs(day),
            litres=day.litres,
        )

    # ---- a timer

    @property
    def by_timer(self) -> bool:
        """Whether a timer waters: it is set once, and somebody looks once a day."""
        return is_by_timer(self.schedule, self.job)

    @property
    def is_timer_by_crew(self) -> bool:
        """Whether the crew sets the timer: the owner may not step there yet, or is not there in time."""
        by_owner = (each.how for each in self.schedule.tasks_of("owner", WATERING))
        return self.by_timer and not any(how in OWNER_SETS for how in by_owner)

    @cached_property
    def program(self) -> str:
        """The program of the timer: the length, interval and hours of its runs; empty without a timer."""
        if not self.by_timer:
            return ""
        first, *others = visits = fullest_day(self.schedule).visits
        key = "timer.program" if others else "timer.program-once"
        step = others[-1].start.astimezone(UTC) - visits[-2].start.astimezone(UTC) if others else timedelta()
        return self.say(
            key,
            length=self.speak.length(first.duration),
            interval=self.speak.length(step),
            first=self.speak.short_hour(first.start),
            last=self.speak.short_hour(visits[-1].start),
        )

    def _runs(self, day: WateringDay) -> str:
        if not (self.by_timer and day.visits):
            return ""
        span = self.speak.short_span(day.visits[0].start, day.visits[-1].end)
        key = "timer.runs" if len(day.visits) > 1 else "timer.run"
        return self.say(key, n=len(day.visits), span=span)

    def _note(self, day: WateringDay) -> str:
        """Return why a day has no watering or what may change it, and which cover goes on."""
        return " ".join(filter(None, (self._weather_note(day), *self._cover_notes(day))))

    def _cover_notes(self, day: WateringDay) -> Iterator[str]:
        if day.skipped_because is not None:
            return
        zone = self.schedule.issued_at.tzinfo
        for each in self.covers:
            start = each.start.astimezone(zone)
            if start.date() == day.date:
                yield self.say("watering.cover-on", hour=self.speak.short_hour(start))

    def _weather_note(self, day: WateringDay) -> str:
        if day.skipped_because is not None:
            if self._is_before_coat(day):
                return self.say("watering.none-coat-waits")
            if self._is_timer_off(day):
                return self.say("watering.none-frost-timer")
            because = "cover" if self._is_left_alone(day) else day.skipped_because
            return self.say(f"watering.none-{because}")
        cover = self.schedule.between
        notes = [self.say(f"between.note.{slug(cover.cover)}")] if cover and day.visits else []
        if any(is_dry_look(self.schedule, visit) for visit in day.visits):
            notes.append(self.say("watering.look-only"))
        notes.append(self._rain_note(day))
        return " ".join(filter(None, notes))

    def rain_at(self, start: datetime) -> str:
        """Return what the owner does at a watering that counts on rain, if it stays dry; mostly empty."""
        days = (each for each in self.schedule.watering if any(one.start == start for one in each.visits))
        return next((self._rain_note(each) for each in days if self._counts_on_rain(each)), "")

    def _counts_on_rain(self, day: WateringDay) -> bool:
        """Return whether a day has fewer waterings, as rain should do the rest."""
        fewer = len(day.visits) < max(len(each.visits) for each in self.schedule.watering)
        return fewer and not is_rain_kept_off(self.schedule)

    def _rain_note(self, day: WateringDay) -> str:
        """Return the chance of rain on a day, and what if it stays dry where fewer waterings count on it."""
        printed_from = general_rules()["rain.printed"]
        if not day.visits or day.rain_probability is None or day.rain_probability < printed_from:
            return ""
        under = "-covered" if self.schedule.between or self.schedule.curing_method == BURLAP else ""
        key = f"watering.rain-counted-on{under}" if self._counts_on_rain(day) else "watering.rain-chance"
        return self.say(key, chance=self.quantities.percent(day.rain_probability))

    def _is_before_coat(self, day: WateringDay) -> bool:
        """Return whether a cover keeps the water in on a day, before a compound or in place of it."""
        begins = coat_begins(self.schedule)
        waits = begins is not None and day.date < begins.date()
        return day.skipped_because == "compound" and (waits or self.schedule.is_covered_for_coat)

    def _is_timer_off(self, day: WateringDay) -> bool:
        """Return whether a timer that has been set is off on a day, because its water may freeze."""
        before = (each for each in self.schedule.watering if each.date < day.date)
        return self.by_timer and day.skipped_because == "frost" and any(each.visits for each in before)

    def timer_off(self, cover: Task) -> str:
        """Return what to do with the timer while a cover lies on the slab; empty where it may run on."""
        zone = self.schedule.issued_at.tzinfo
        noons = (
            datetime.combine(day.date, time(12), zone)
            for day in self.schedule.watering
            if self._is_timer_off(day)
        )
        return self.say("cover.timer-off") if any(covers_at(cover, each) for each in noons) else ""

    def visit(self, visit: Visit) -> VisitWords:
        """Return one watering in words; the words of a watering are computed once."""
        return self._visit_words.get(id(visit)) or self._visit(visit)

    @cached_property
    def _visit_words(self) -> dict[int, VisitWords]:
        """The waterings of the schedule in words, by the identity of each visit."""
        return {id(each): self._visit(each) for day in self.schedule.watering for each in day.visits}

    def _visit(self, visit: Visit) -> VisitWords:
        span = self.speak.span(visit.start, visit.end)
        key = f"visit.{self.dates.method}"
        amount = self.quantities.amount(visit.litres)
        return VisitWords(
            start=visit.start,
            end=visit.end,
            title=self.say(f"{key}.title-first" if self._is_first_fill(visit) else f"{key}.title", span=span),
            action=self._with_cover(self._action_at(visit), visit),
            span=span,
            short_span=self.speak.short_span(visit.start, visit.end),
            length=self.speak.length(visit.duration),
            amount=self.say("watering.amount-visit", amount=amount) if visit.litres else "",
            column=next(column for hour, column in COLUMN_HOURS if visit.start.hour < hour),
            covered=self.schedule.between is not None or self.schedule.curing_method == "plastic sheet",
        )

    def _is_first_fill(self, visit: Visit) -> bool:
        """Return whether a watering fills a pond, and does not top it up."""
        first = first_visit(self.schedule)
        return is_pond(self.schedule) and first is not None and visit.start == first.start

    def _action_at(self, visit: Visit) -> str:
        """Return what the owner does at a watering; a pond is first filled as the first job has it."""
        if is_dry_look(self.schedule, visit):
            return self.say(f"visit.{self.dates.method}.action-frost")
        if self._is_first_fill(visit):
            return self.say("milestone.first-water--ponding.sentence")
        return self.action

    @cached_property
    def action(self) -> str:
        """What the owner does at a watering: as a timer does it, on a slope, else as always."""
        steep = self.schedule.has_caution("steep")
        key = f"visit.{self.dates.method}.action"
        found = (f"{key}-{name}" for name, holds in (("timer", self.by_timer), ("steep", steep)) if holds)
        return self.say(next(filter(self.reader.has, found), key))

    @cached_property
    def missed_water(self) -> MissedWaterWords | None:
        """The question whether the slab was watered, where the first issue comes after the first watering."""
        since, now = self.schedule.missed_water, self.schedule.issued_at
        if since is None:
            return None
        key = "frost" if may_water_freeze(self.schedule, now, now + timedelta(hours=1)) else "text"
        return MissedWaterWords(
            title=self.say("missed.title"),
            when=self.say("missed.when", when=self.speak.moment(since).text),
            sentence=self.say(f"missed.{key}"),
        )

    # ---- the cover between the waterings

    @property
    def between(self) -> str:
        """The cover between the waterings, in a sentence; empty without one, and where no water is left."""
        cover = self.schedule.between
        if cover is None or self.is_dry_under_covers:
            return ""
        hours = self.speak.length(timedelta(hours=max(round(cover.open_dry_hours), 1)))
        return self.say(self._key_of_method(f"between.line.{slug(cover.cover)}"), dry=hours)

    def visit_at(self, start: datetime) -> VisitWords:
        """Return the watering that begins at an instant in words."""
        return self.visit(self._visit_that_begins(start))

    def uncover_at(self, start: datetime) -> str:
        """Return how the cover is handled at the visit that begins at an instant; empty without one."""
        return self._with_cover("", self._visit_that_begins(start))

    @property
    def before_first(self) -> str:
        """How the crew's cover comes off for the first visit; empty without one."""
        first = first_visit(self.schedule)
        return "" if first is None else self._cover_handling(first)[0]

    def _visit_that_begins(self, start: datetime) -> Visit:
        visits = (visit for day in self.schedule.watering for visit in day.visits)
        found = next((each for each in visits if each.start == start), None)
        if found is None:  # a StopIteration would end whatever iterates, without a word
            raise LookupError(f"no visit begins at {start}")
        return found

    def _with_cover(self, action: str, visit: Visit) -> str:
        """Return what to do at a visit, with the cover that comes off before it and goes on after it."""
        off, on = self._cover_handling(visit)
        return " ".join(each for each in (off, action, on) if each)

    def _cover_handling(self, visit: Visit) -> tuple[str, str]:
        """Return how the cover comes off before a visit and goes on after it; empty where it does not.

        Until somebody may walk on the slab it is handled from its edge.
        """
        when, cover = self._cover_at(visit), self.schedule.between
        of_cover = f".{slug(cover.cover)}" if cover else ""
        before, after = f"between.before.{when}{of_cover}", f"between.after.{when}{of_cover}"
        if when == "swap":
            before, after = "between.before.off", f"between.after.first{of_cover}"
        off, on = (
            self.say(key) if when and self.reader.has(key) else ""
            for key in map(self._key_of_method, (before, after))
        )
        return off, on

    def _cover_at(self, visit: Visit) -> str:
        """Return how a cover is handled at a visit; empty where none lies on the slab, nor goes on it."""
        visits = (each for day in self.schedule.watering for each in day.visits)
        is_first = all(visit.start <= each.start for each in visits)
        laid, between = left_on_until_water(self.schedule), self.schedule.between
        if between is None:
            return "off" if is_first and laid else ""
        if (lies := start_of_brought_cover(self.schedule)) is not None and visit.end.astimezone(UTC) <= lies:
            return self._handling_once_brought(visit, lies)
        if is_walkable(self.schedule, visit.start):
            return "later"
        is_laid = laid == between.cover or self.schedule.curing_method == BURLAP
        if is_first and not is_laid:
            return "swap" if laid else "first"
        return "edge"

    def _handling_once_brought(self, visit: Visit, lies: datetime) -> str:
        """Return how the cover that the crew brings first goes on after a visit; empty before that one."""
        if visit.end.astimezone(UTC) < lies:
            return ""
        return "new" if is_walkable(self.schedule, visit.start) else "first"

    # ---- too cold to water

    @cached_property
    def cover(self) -> CoverWords | None:
        """The cover against frost, where it comes before the next watering: on now, or next."""
        issued = self.schedule.issued_at
        task = next_cover(self.schedule)
        if task is None or task.span is None:
            return None
        start = task.start.astimezone(issued.tzinfo)
        is_on = start <= issued
        by = "-crew" if is_laid_by_crew(task) and not is_walkable(self.schedule, issued) else ""
        is_coated = self.schedule.cure_mode == "coat"  # nobody waters it at any time
        then = "" if task.span.off or is_coated else self.say("cover.then-water")
        text, under = self.cover_text(task.start, by), self.under(task)
        of_cover = (text, under, self.blanket_source(task), *self.lifts(task))
        lines = [*of_cover, *what_if(self.say, task), then, self.timer_off(task)]
        return CoverWords(
            title=self.of_method(f"cover.title{by}"),
            when=self.say(
                "cover.now" if is_on else "cover.from",
                start=self.speak.moment(start).text,
                until=self.cover_end(task),
            ),
            sentence=" ".join(line for line in lines if line),
            start=start,
        )

    def under(self, cover: Task) -> str:
        """Return what becomes of the cover between waterings under one against frost; empty without it."""
        between = self.schedule.between
        visits = (visit for day in self.schedule.watering for visit in day.visits)
        lies = start_of_brought_cover(self.schedule)
        if between is None or all(cover.start <= each.start for each in visits):
            return ""
        if lies is not None and cover.start.astimezone(UTC) < lies:
            return ""
        return self.say(f"cover.under.{slug(between.cover)}")

    def lifts(self, cover: Task) -> Iterator[str]:
        """Yield for what the crew lifts a cover while it is to lie, and when."""
        for each in cover_lifts(self.schedule, cover):
            when = self.speak.moment(each.start).text
            yield self.say(f"cover.lifted.{each.kind}", when=when)

    def blanket_source(self, cover: Task) -> str:
        """Return who brings the blankets that the owner lays, and which; once they are to lie, which."""
        if is_laid_by_crew(cover):
            return ""
        lies = not self.schedule.is_ahead(cover.end)
        return self.say("cover.which" if lies else "cover.brought", blanket=self.blanket_for_owner)

    @property
    def blanket_for_owner(self) -> str:
        """The blanket that the crew leaves with the owner."""
        found = owner_blankets(self.schedule, self.job)
        resistance = self.quantities.measure(found.resistance or 0.0, "thermal resistance")
        return self.say(
            "crew.blanket.record" if found.of_record else "crew.blanket.least", resistance=resistance
        )

    def of_method(self, key: str) -> str:
        """Return the words for the way in which the slab is cured, else the usual ones."""
        return self.say(self._key_of_method(key))

    def _key_of_method(self, key: str) -> str:
        special = f"{key}--{slug(self.schedule.curing_method)}"
        return special if self.reader.has(special) else key

    def cover_text(self, start: datetime, by: str) -> str:
        """Return how a cover is laid at an instant; from a pond without water yet, none is let off."""
        is_empty = self.schedule.curing_method == PONDING and not is_pond_filled_by(self.schedule, start)
        key = f"cover.text{by}"
        return self.say(key) if is_empty else self.of_method(key)

    @property
    def is_dry_under_covers(self) -> bool:
        """Whether covers replace the water on every day of the plan that is left, because it may freeze."""
        left = self._remaining.days or self.schedule.watering
        return self.schedule.covered_for_frost and not any(day.visits for day in left)

    @property
    def covered_until(self) -> str:
        """Until when the cover stays that replaces all water that is left; empty if there is none."""
        if not (self.is_dry_under_covers and self._remaining.days and self.covers):
            return ""
        ends = self.schedule.milestone(MilestoneKind.CURING_ENDS)
        if sheet_after_blankets(self.schedule) and ends is not None and ends.not_before is not None:
            return self.dates.not_before(ends.not_before, ends.kind).text
        last = self.covers[-1]
        return self.cover_end(last) if self.is_to_lie(last) else ""

    @cached_property
    def covers(self) -> tuple[Task, ...]:
        """The laying of each cover against frost."""
        return cover_tasks(self.schedule)

    def is_to_lie(self, cover: Task) -> bool:
        """Return whether a cover still lies at the time of issue, or is laid later."""
        return is_to_lie(self.schedule, cover)

    def cover_end(self, cover: Task) -> str:
        """Return until when a cover stays: the next watering, or a date of the schedule."""
        span = cover.span
        if span is None or span.end is None:
            return self.say("cover.until-told")
        if span.off is None:
            return self.speak.moment(span.end).text
        return self.dates.not_before(span.end, span.off).text
