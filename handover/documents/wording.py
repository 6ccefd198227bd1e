"""A schedule in the reader's language and units: each instruction is worded here, once, for every document.

Pages, calendars and the message take their words from `Wording`, so that the same instruction never reads
two ways in two places. Numbers come from the schedule and are rounded here, the cautious way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING, Literal

from handover.documents.date_phrases import DateFormatter, DatePhrase, by_day, capitalise, half_hour_up
from handover.documents.quantity_format import (
    DECIMALS,
    Units,
    format_fixed,
    format_number,
    format_percentage,
    format_rounded,
    reader_value,
    significant,
    with_unit,
)
from handover.documents.translations import Translations, load_translations, slug
from handover.practice.rules import general_rules
from handover.schedule.cover_times import first_cover
from handover.schedule.model import (
    Caution,
    CureSchedule,
    Figure,
    Milestone,
    MilestoneKind,
    Refusal,
    Visit,
    WateringDay,
)
from handover.schedule.remaining_watering import RemainingWatering, remaining_watering
from handover.units import to_reader

if TYPE_CHECKING:
    from datetime import date, datetime
    from pathlib import Path

    from handover.jobs.record import JobRecord
    from handover.units import KindName

OWNER_KINDS = (
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
    MilestoneKind.STRIP_EDGE_FORMS,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.FROST_SAFE,
    MilestoneKind.CURING_ENDS,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.FLOOR_COVERING,
    MilestoneKind.SEAL,
    MilestoneKind.DEICING_SALT,
)
"""What an owner is told of; the sets are the crew's own business."""

COLD_CAUTIONS = {"frost", "cold-weather", "heaters"}
"""Cautions of the cold."""

UNDER_COVER = (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_WORK)
"""What may be done while a cover still lies on the slab."""

TENDONS = "engineer-decides-tendons"
"""Refusal of what the engineer of record decides."""

AT_ANY_HOUR = (
    MilestoneKind.INITIAL_SET,
    MilestoneKind.FINAL_SET,
    MilestoneKind.FIRST_WATER,
    MilestoneKind.SAW_JOINTS,
)
"""Dates that are told for the night too; all others wait for the morning."""

WHOLE_NUMBER_UNITS = ("°F", "°C", "mm")
"""Reader's units told in whole numbers."""

UNIT_AT_TEMPERATURE = re.compile(r"(.+) at (-?[\d.]+) degC")
"""A unit that holds at a temperature: "h at 21.1 degC"."""

PERCENT_FIGURES = ("additions", "strength_lost", "strength_share")
"""Figures that are told in percent."""

COLUMN_HOURS = ((5, "night"), (11, "morning"), (16, "midday"), (24, "evening"))
"""Columns of the watering table: a visit that starts before this hour of the day stands in this column."""


@dataclass(frozen=True)
class MilestoneWords:
    """One date in words.

    Attributes:
        kind: Which.
        title: What the owner may do, or what happens: "Walk on it".
        sentence: What that means, in one to three short sentences.
        crew_title: The same in the crew's words.
        when: The date before which it must not be done; None when past the estimate.
        not_after: The date after which it is too late, where there is one.
        when_text: "Not before 2:00 in the afternoon, Tuesday, July 14", or "Ask your contractor".
        reason: The rule that governed, in words.
        typical: Whether there is a date and it rests on typical weather, past the forecast.
    """

    kind: MilestoneKind
    title: str
    sentence: str
    crew_title: str
    when: DatePhrase | None
    not_after: DatePhrase | None
    when_text: str
    reason: str
    typical: bool

    @property
    def in_stages(self) -> bool:
        """Tell whether the part placed first is too late before the part placed last is ready."""
        return bool(self.when and self.not_after and self.not_after.instant <= self.when.instant)


@dataclass(frozen=True)
class CoverWords:
    """What an owner does where it is too cold to water: title, from when until when, sentences, start."""

    title: str
    when: str
    sentence: str
    start: datetime


@dataclass(frozen=True)
class WithheldWords:
    """A date that is not given: of what, what stands in its place, and why."""

    kind: MilestoneKind
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


@dataclass(frozen=True)
class DayWords:
    """One day of the watering table in words.

    Attributes:
        date: Local.
        since: "Day 3", as the time line counts from the pour.
        day: "Tuesday, July 14".
        short_day: "Tue Jul 14".
        visits: In order of time.
        note: Why there is no watering, or what may change it; may be empty.
        length: "3 hr" over the day, or "".
        amount: "120 gallons" over the day, or "".
        typical: Whether the day rests on typical weather.
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


@dataclass(frozen=True)
class EventWords:
    """What a calendar shows for one event: a title that says the action, and what to do, in lines."""

    title: str
    description: str


@dataclass(frozen=True)
class Notice:
    """A caution or a limit: its code, a short title, and the sentences."""

    code: str
    title: str
    text: str


class Wording:
    """The words of one schedule for one reader.

    Args:
        job: The job record.
        schedule: Its schedule.
        language: A language that has a folder of templates.
        units: "us" or "si".
        templates: A contractor's folder whose files stand in for ours.

    Raises:
        UnusableInput: No such language.
        MissingWords: The schedule names a code that the language has no words for.
    """

    def __init__(
        self,
        job: JobRecord,
        schedule: CureSchedule,
        *,
        language: str = "en",
        units: Units = "us",
        templates: Path | None = None,
    ) -> None:
        self.job = job
        self.schedule = schedule
        self.language = language
        self.units = units
        self.templates = templates
        self.words: Translations = load_translations(language, templates)
        self.speak = DateFormatter(self.words)
        self.method = slug(schedule.curing_method)

    def say(self, key: str, /, **values: object) -> str:
        """Return a string of the catalog by its dotted key, filled in."""
        return self.words.say(key, **values)

    # ---- dates

    @cached_property
    def milestones(self) -> tuple[MilestoneWords, ...]:
        """Every date of the schedule, in the schedule's order."""
        return tuple(self.milestone(each) for each in self.schedule.milestones)

    @cached_property
    def cold(self) -> bool:
        """Tell whether the slab is placed or cures in the cold: only then is an owner told of frost."""
        return any(each.code in COLD_CAUTIONS for each in self.schedule.cautions)

    @cached_property
    def owner_kinds(self) -> tuple[MilestoneKind, ...]:
        """The kinds of date that the owner's documents show."""
        frost = self.cold and not self.schedule.stays_covered  # a cover that stays is not lifted for it
        return tuple(each for each in OWNER_KINDS if frost or each != MilestoneKind.FROST_SAFE)

    @property
    def crew_milestones(self) -> tuple[MilestoneWords, ...]:
        """Every date but that of frost where none threatens, in the schedule's order."""
        return tuple(each for each in self.milestones if self.cold or each.kind != MilestoneKind.FROST_SAFE)

    @cached_property
    def owner_milestones(self) -> tuple[MilestoneWords, ...]:
        """The dates an owner is told, in order of time; those past the estimate come last."""
        known = {each.kind: each for each in self.milestones}
        worded = [known[kind] for kind in self.owner_kinds if kind in known]
        return tuple(
            sorted(worded, key=lambda each: (each.when is None, each.when and each.when.instant.timestamp()))
        )

    def milestone(self, milestone: Milestone) -> MilestoneWords:
        """Return one date in words."""
        when = None if milestone.not_before is None else self.not_before(milestone.not_before, milestone.kind)
        after = None if milestone.not_after is None else self.speak.not_after(milestone.not_after)
        not_before = self.say("milestone.words.not-before")
        return MilestoneWords(
            kind=milestone.kind,
            title=self.title(milestone.kind),
            sentence=self._sentence(milestone) if when else self.say(self._unknown),
            crew_title=self._of_kind(milestone.kind, "crew"),
            when=when,
            not_after=after,
            when_text=f"{not_before} {when.text}" if when else self.say("milestone.words.unknown"),
            reason=self.rule(milestone.because.governing.rule),
            typical=when is not None and milestone.basis == "typical",
        )

    @cached_property
    def withheld(self) -> tuple[WithheldWords, ...]:
        """The dates that are not given, in the order of the schedule."""
        return tuple(
            WithheldWords(
                kind=MilestoneKind(each.kind),
                title=self.refused(each),
                when=self.say("stays-off.engineer" if each.because == TENDONS else "stays-off.never"),
                sentence=self.say(f"refusal.{each.because}"),
            )
            for each in self.schedule.refusals
            if each.kind in set(MilestoneKind)
        )

    def title(self, kind: MilestoneKind) -> str:
        """Return what an owner calls a date: "Walk on it"."""
        return self._of_kind(kind, "title")

    @property
    def _unknown(self) -> str:
        """The key of the reason for a date that cannot be told."""
        weak = any(each.code == "not-reached-weak" for each in self.schedule.cautions)
        return "milestone.words.unknown-weak" if weak else "milestone.words.unknown-sentence"

    def _sentence(self, milestone: Milestone) -> str:
        """Return what a date means; what may be done while the cover lies on says that it stays there."""
        sentence = self._of_kind(milestone.kind, "sentence")
        ends = self.schedule.milestone(MilestoneKind.CURING_ENDS)
        over = ends and ends.not_before and milestone.not_before and ends.not_before <= milestone.not_before
        if milestone.kind in UNDER_COVER and self.schedule.stays_covered and not over:
            return f"{sentence} {self.say('milestone.words.under-cover')}"
        return sentence

    def short_title(self, kind: MilestoneKind) -> str:
        """Return the name of a date for the charts: "Walk"."""
        return self.say(self.variant(f"milestone.short.{kind}"))

    def variant(self, key: str, part: str = "") -> str:
        """Return the key of the words that hold for this slab and its curing: the special ones first."""
        covered = ("covered",) if self.schedule.covered_for_frost else ()
        for each in (*covered, self.method):
            special = f"{key}--{each}{part}"
            if self.words.has(special):
                return special
        return f"{key}{part}"

    def not_before(self, when: datetime, kind: str = "") -> DatePhrase:
        """Say a date that must not be told too early, and, of most kinds of milestone, none by night."""
        if kind == MilestoneKind.FIRST_WATER:  # the watering itself is told to the half hour, whenever it is
            return self.speak.moment(half_hour_up(when))
        waits = kind in set(MilestoneKind) - set(AT_ANY_HOUR)
        return self.speak.not_before(by_day(when) if waits else when, self.schedule.placement_end)

    def window(self, start: DatePhrase, end: DatePhrase) -> str:
        """Say from when to when, within a week: "1:30 to 3:00 in the afternoon, Tuesday, July 14"."""
        if start.day == end.day:
            span = self.speak.span(start.instant, end.instant)
            return self.say("calendar-words.moment", hour=span, day=start.day)
        last = self.say("calendar-words.moment", hour=end.hour, day=self.speak.weekday(end.instant))
        return self.say("calendar-words.hour-span", start=start.text, end=last)

    def _of_kind(self, kind: MilestoneKind, part: str) -> str:
        return self.say(self.variant(f"milestone.{kind}", f".{part}"))

    def since_pour(self, days: int) -> str:
        """Return "Day 3", counted from the pour."""
        return self.say("chart.time-line.day", n=days) if days else self.say("chart.time-line.pour")

    def rule(self, code: str) -> str:
        """Return the words of a rule of practice."""
        return self.say(f"rule.{code}")

    # ---- watering

    @cached_property
    def watering(self) -> tuple[DayWords, ...]:
        """Every day of curing, in order."""
        return tuple(map(self._day, self.schedule.watering))

    @cached_property
    def _remaining(self) -> RemainingWatering:
        """What is left of the watering when this is issued."""
        return remaining_watering(self.schedule)

    @cached_property
    def watering_to_come(self) -> tuple[DayWords, ...]:
        """The days of curing that are left, in words."""
        return tuple(map(self._day, self._remaining.days))

    @property
    def watering_began(self) -> bool:
        """Return whether some of the watering is over when this is issued."""
        return self._remaining.began

    def _day(self, day: WateringDay) -> DayWords:
        return DayWords(
            date=day.date,
            since=self.since_pour((day.date - self.schedule.placement_end.date()).days),
            day=capitalise(self.speak.day(day.date)),
            short_day=self.speak.short_day(day.date),
            visits=tuple(self.visit(each) for each in day.visits),
            note=self._note(day),
            length=self.speak.short_length(day.duration) if day.duration else "",
            amount=self.amount(day.litres) if day.litres else "",
            typical=day.basis == "typical",
        )

    @cached_property
    def cover(self) -> CoverWords | None:
        """What to do instead of watering, where the next day of the plan is one on which it may freeze."""
        ahead = self._remaining.days
        if not (self.schedule.covered_for_frost and ahead and ahead[0].skipped_because == "frost"):
            return None
        visit = next((each for day in ahead for each in day.visits), None)
        ends = self.schedule.milestone(MilestoneKind.CURING_ENDS)
        if visit is not None:
            until = self.speak.moment(visit.start).text
        elif ends is not None and ends.not_before is not None:
            until = self.not_before(ends.not_before, ends.kind).text
        else:
            until = self.say("cover.until-told")
        start = half_hour_up(first_cover(self.schedule))
        lines = [self.say("cover.text"), self.say("cover.then-water") if visit else ""]
        when = "cover.now" if start <= self.schedule.issued_at else "cover.from"
        return CoverWords(
            title=self.say("cover.title"),
            when=self.say(when, start=self.speak.moment(start).text, until=until),
            sentence=" ".join(line for line in lines if line),
            start=start,
        )

    @cached_property
    def water_in_all(self) -> str:
        """What the watering that is still to come takes, or nothing where none does."""
        left = self._remaining
        if not left.garden_days:
            return ""
        return self.say(
            "watering.total-to-come" if left.began else "watering.total",
            amount=self.amount(left.litres),
            days=self.speak.days(left.watered_days),
            garden=max(round(left.garden_days), 1),
        )

    def _note(self, day: WateringDay) -> str:
        if day.skipped_because is not None:
            return self.say(f"watering.none-{day.skipped_because}")
        printed_from = general_rules()["rain.printed"]
        if day.visits and day.rain_probability is not None and day.rain_probability >= printed_from:
            fewer = len(day.visits) < max(len(each.visits) for each in self.schedule.watering)
            key = "watering.rain-counted-on" if fewer else "watering.rain-chance"
            return self.say(key, chance=self.percent(day.rain_probability, 1))
        return ""

    def visit(self, visit: Visit) -> VisitWords:
        """Return one watering in words."""
        span = self.speak.span(visit.start, visit.end)
        key = f"visit.{self.method}"
        amount = self.say("watering.amount-visit", amount=self.amount(visit.litres)) if visit.litres else ""
        return VisitWords(
            start=visit.start,
            end=visit.end,
            title=self.say(f"{key}.title", span=span),
            action=self.say(f"{key}.action"),
            span=span,
            short_span=self.speak.short_span(visit.start, visit.end),
            length=self.speak.length(visit.duration),
            amount=amount,
            column=next(column for hour, column in COLUMN_HOURS if visit.start.hour < hour),
        )

    # ---- events of the calendars

    def owner_event(self, milestone: Milestone) -> EventWords:
        """Return the owner's calendar event for a date."""
        words = self.milestone(milestone)
        lines = [words.when_text + ".", words.sentence, self.caller]
        return EventWords(words.title, "\n".join(lines))

    def crew_event(self, milestone: Milestone) -> EventWords:
        """Return the crew's calendar event for a date, with its reason."""
        words = self.milestone(milestone)
        lines = [self._crew_window(words) + ".", self.say("calendar.because", reason=words.reason)]
        if words.in_stages:
            lines.insert(1, self.say("milestone.words.in-stages"))
        return EventWords(words.crew_title, "\n".join(lines))

    def _crew_window(self, words: MilestoneWords) -> str:
        """Say from when to when; what is done part by part has only an end that holds for all of it."""
        if words.not_after is None:
            return words.when_text
        if words.in_stages:
            return self.say("milestone.words.stages-by", when=words.not_after.text)
        return f"{words.when_text}; {self.say('milestone.words.not-after', when=words.not_after.text)}"

    def visit_event(self, visit: Visit) -> EventWords:
        """Return the owner's calendar event for one watering."""
        words = self.visit(visit)
        rain = self.say("watering.if-rain") if visit.litres else ""
        stay = self.say("watering.stay-wet") if visit.litres else ""
        takes = self.say("watering.takes", length=words.length)
        lines = [words.action, takes, words.amount, rain, stay, self.caller]
        return EventWords(words.title, "\n".join(line for line in lines if line))

    def event(self, code: str, **values: object) -> EventWords:
        """Return a calendar event that belongs to no single date, by its code under [event]."""
        title, text = self.say(f"event.{code}.title", **values), self.say(f"event.{code}.text", **values)
        return EventWords(title, text.strip())

    def walkthrough_event(self) -> EventWords:
        """Return the crew's event of the walk-through, with what the record left open."""
        return self.with_mends(self.event("walk-through"))

    def with_mends(self, words: EventWords) -> EventWords:
        """Return the words of a visit of the crew, with what it promised to mend."""
        left = [
            f"- {each.item}: {each.note}" if each.note else f"- {each.item}"
            for each in self.job.walkthrough
            if each.ok is False
        ]
        if not left:
            return words
        return EventWords(
            words.title, "\n".join([words.description, self.say("event.walk-through.left"), *left])
        )

    def calendar_name(self, audience: Literal["owner", "crew"], revision: int) -> str:
        """Return the name of a calendar, with its issue: two of them are told apart in any list."""
        name = self.say(f"calendar.{audience}-name", site=self.job.site.name)
        return self.say("calendar.version", name=name, n=revision)

    # ---- people and numbers

    @cached_property
    def caller(self) -> str:
        """Who to call, in one sentence."""
        contractor = self.job.contractor
        who = contractor.name or contractor.phone
        if not contractor.phone or not who:
            return self.say("calendar.call-nobody")
        return self.say("calendar.call", who=who, phone=contractor.phone)

    def amount(self, litres: float) -> str:
        """Return an amount of water, in round figures."""
        return self.quantity(litres, "L")

    def quantity(self, value: float, unit: str, digits: int = 2) -> str:
        """Return an SI value in the reader's unit, to so many significant digits.

        Args:
            value: In `unit`.
            unit: An SI unit as the schedule writes it: "MPa", "h", "degC", "m", "L", "kg/m2/h", "1" ...
            digits: Significant digits; whole numbers keep all their digits.
        """
        if conditioned := UNIT_AT_TEMPERATURE.fullmatch(unit):
            plain, degrees = conditioned.groups()
            at = self.quantity(float(degrees), "degC")
            return self.say("quantity.at", quantity=self.quantity(value, plain, digits), temperature=at)
        number, label = reader_value(value, unit, self.units)
        return self.with_label(
            round(number) if label in WHOLE_NUMBER_UNITS else significant(number, digits), label
        )

    def measure(self, value: float, kind: KindName, digits: int = 2) -> str:
        """Return a quantity of a kind in the reader's unit, to so many significant digits.

        Args:
            value: In the SI unit of its kind.
            kind: What it is: "thickness", "temperature".
            digits: Significant digits; whole numbers keep all their digits.
        """
        number, label = to_reader(value, kind, self.units)
        return self.with_label(
            round(number) if label in WHOLE_NUMBER_UNITS else significant(number, digits), label
        )

    def number(self, value: float, unit: str) -> str:
        """Return an SI value in the reader's unit without the unit, for a column that names it."""
        number, label = reader_value(value, unit, self.units)
        return self.fixed_decimals(number, DECIMALS[label])

    def fixed_decimals(self, value: float, decimals: int) -> str:
        """Return a plain number to so many decimals."""
        return format_fixed(value, decimals, self.words.locale)

    def round_number(self, value: float, digits: int) -> str:
        """Return a plain number to so many significant digits."""
        return format_rounded(value, digits, self.words.locale)

    def percent(self, share: float, digits: int = 2) -> str:
        """Return a share of one in percent: "35%"."""
        return format_percentage(share, digits, self.words.locale)

    def figure_name(self, figure: Figure) -> str:
        """Return the words for what a figure is."""
        return self.say(f"figure.{slug(figure.name)}")

    def refused(self, refusal: Refusal) -> str:
        """Return the name of the date that is not given."""
        return self.title(MilestoneKind(refusal.kind))

    def with_label(self, value: float, label: str) -> str:
        """Return a rounded number with its unit, as the language writes it: "120 gallons"."""
        key = f"quantity.{label}"
        if self.words.has(key):
            return self.say(key, value=format_number(value, self.words.locale))
        spelled_out = self.say("quantity.feet") == "long"
        return with_unit(value, label, self.words.locale, spelled_out=spelled_out)

    def unit_name(self, unit: str) -> str:
        """Return how the reader's unit for an SI unit is written: "°F"."""
        return reader_value(0, unit, self.units)[1]

    def figure(self, figure: Figure) -> str:
        """Return the value of a figure in the reader's unit."""
        if figure.name in PERCENT_FIGURES:
            return self.percent(figure.value)
        return self.quantity(figure.value, figure.unit)

    # ---- what hurts, and how far the estimate goes

    @cached_property
    def cautions(self) -> tuple[Notice, ...]:
        """What the job calls for, in the schedule's order."""
        return tuple(self._caution(each) for each in self.schedule.cautions)

    def _figure_words(self, figure: Figure) -> str:
        """Say a figure to an owner: hours as "5 hours", up; all else in the reader's unit."""
        if figure.unit == "h":
            return self.speak.length(timedelta(hours=ceil(figure.value)))
        return self.figure(figure)

    @cached_property
    def limits(self) -> tuple[str, ...]:
        """What the estimate is not, in plain sentences; they belong in every document."""
        from_when = self.schedule.weather.typical_from
        when = self.speak.day(from_when) if from_when else ""
        lines = [self.say(f"limits.{key}") for key in ("estimate", "codes", "ground", "cracks")]
        return tuple(lines + ([self.say("limits.typical", day=when)] if from_when else []))

    @property
    def blanket(self) -> str:
        """Say which blanket keeps the slab from frost, and how long; empty where none is called for."""
        protection = self.schedule.protection
        if protection is None or protection.enough == 0:
            return ""
        if protection.enough is None:
            return self.say("protection.none-enough")
        resistance = self.quantity(protection.enough, "m2K/W")
        edges = self.quantity(protection.enough_at_edges or 0.0, "m2K/W")
        ends = self.schedule.milestone(MilestoneKind.CURING_ENDS)
        if self.schedule.covered_for_frost:
            return self.say("protection.enough-table", resistance=resistance, edges=edges)
        stays = protection.until
        if self.schedule.stays_covered:
            stays = ends.not_before if ends else None
        if stays is None:
            return self.say("protection.enough", resistance=resistance, edges=edges)
        key = "protection.enough-curing" if self.schedule.stays_covered else "protection.enough-until"
        until = self.not_before(stays, MilestoneKind.CURING_ENDS).text
        return self.say(key, resistance=resistance, edges=edges, until=until)

    def _caution(self, caution: Caution) -> Notice:
        values = {figure.name: self._figure_words(figure) for figure in caution.figures}
        key = text = f"caution.{caution.code}"
        if caution.at is not None:
            values["at"] = self.speak.hour(caution.at)
        text += ".text" if caution.at is None else ".text-at"
        return Notice(caution.code, self.say(f"{key}.title", **values), self.say(text, **values))
