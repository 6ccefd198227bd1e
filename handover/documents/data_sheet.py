"""The office's document: the record as read, the assumptions, every date with its reason."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, get_args

from pydantic import BaseModel

from handover.documents.quantity_format import significant
from handover.documents.translations import slug
from handover.jobs.fields import QuantityField
from handover.jobs.record import declaration_of, mark_of
from handover.practice.rules import Mark
from handover.schedule.daily_history import day_history
from handover.schedule.figure_kinds import SI_UNITS
from handover.schedule.milestones import season_of_pour
from handover.schedule.printed_times import half_hour_down
from handover.units import to_reader

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords
    from handover.practice.silica import Respirator
    from handover.schedule.model import (
        Assumption,
        Blanket,
        Figure,
        Gate,
        Measurement,
        Milestone,
        Protection,
        SawWindow,
    )

TABLE_FIELDS = {"ticket", "cylinder", "walkthrough", "assumed", "readings", "infrared", "scratch"}
RECORD_DIGITS = 4
"""Significant digits of a quantity of the record."""
FIGURE_DIGITS = 3
"""Significant digits of a figure on the data sheet."""
DAILY_UNTIL_DAY = 28
"""Days for which the history of the slab is printed daily; afterwards it is printed every four weeks."""


@dataclass(frozen=True)
class GateWords:
    """One condition of a date in words."""

    rule: str
    dates: str
    source: str
    mark: str
    figures: str


@dataclass(frozen=True)
class DateWords:
    """A date with its reason, in words."""

    title: str
    likely: str
    cautious: str
    not_after: str
    when: str
    basis: str
    spread: str
    tests: str
    governing: GateWords
    following: GateWords | None
    others: tuple[GateWords, ...]


@dataclass(frozen=True)
class FitWords:
    """The fit of the cylinders in words: the curve, whether it is used, and a row for each test."""

    curve: str
    verdict: str
    source: str
    mark: str
    tests: tuple[tuple[str, str, str, str], ...]


class DataSheet:
    """The contents of a data sheet."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.job = wording.job
        self.schedule = wording.schedule
        self.quantities = wording.quantities
        self.say = wording.say

    @property
    def document_title(self) -> str:
        """Return the title that a PDF viewer shows."""
        return f"{self.say('data.name')}: {self.job.site.name}"

    def moment(self, when: datetime | None) -> str:
        """Return "Tue Jul 14, 2:07 pm", with the year if it differs, or that it is not reached."""
        if when is None:
            return self.say("data.none")
        return self._with_year(self.wording.speak.moment(when).short, when)

    def _with_year(self, short: str, when: datetime, *, is_named: bool = False) -> str:
        other_year = when.year != self.schedule.placement_start.year and not is_named
        return self.say("data.moment-year", moment=short, year=when.year) if other_year else short

    def letter(self, mark: Mark) -> str:
        """Return the letter of how sure a figure is, as the legend explains it."""
        return self.say(f"mark.letter.{slug(mark)}")

    @property
    def mark_legend(self) -> str:
        """Return what each letter means, in one sentence."""
        meanings = (f"{self.letter(each)} {self.say(f'mark.{slug(each)}')}" for each in get_args(Mark))
        return self.say("mark.legend", meanings="; ".join(meanings))

    # ---- dates

    @cached_property
    def dates(self) -> tuple[DateWords, ...]:
        """Return every date with its reason."""
        return tuple(self._date(each) for each in self.schedule.milestones)

    def _date(self, milestone: Milestone) -> DateWords:
        others = tuple(self._gate(each) for each in milestone.because.others)
        after = milestone.not_after
        words = self.wording.dates.milestone(milestone)
        confidence = milestone.confidence
        sure = (
            self.say("data.confidence", share=self.quantities.percent(confidence))
            if confidence
            else self.say("data.bounding")
        )
        return DateWords(
            title=words.crew_title,
            likely=self.moment(milestone.likely),
            cautious="" if words.in_stages else self.moment(milestone.not_before),
            not_after=self.say("data.not-after", when=self.moment(after)) if after else "",
            when=self._as_printed(words),
            # In stages, no one hour has a share.
            basis="; ".join([self.say(f"basis.{milestone.basis}"), *([] if words.in_stages else [sure])]),
            spread=self._spread(milestone),
            tests=self._tests(milestone),
            governing=self._gate(milestone.because.governing),
            following=others[0] if others else None,
            others=others[1:],
        )

    @property
    def has_tests(self) -> bool:
        """Return whether a date has both its share of the computed cases and that of the tests."""
        return any(each.tests for each in self.dates)

    def _as_printed(self, words: MilestoneWords) -> str:
        """Return a date as the sheet prints it; part by part, there is only an end."""
        if words.when is None:
            return words.when_text
        if words.in_stages and words.not_after:
            return self.say("milestone.words.stages-by", when=words.not_after.short)
        begin = self._with_year(words.when.short, words.when.instant, is_named=words.when.with_year)
        if words.not_after is None:
            return begin
        return f"{begin}; {self.say('data.not-after', when=words.not_after.short)}"

    def _tests(self, milestone: Milestone) -> str:
        """Return how many of a hundred test pours of the season came later than such a date."""
        later = milestone.later_in_tests
        if later is None or milestone.not_before is None:
            return ""
        season = self.say(f"data.season.{season_of_pour(self.job)}")
        return self.say("data.tests", count=round(100 * later), season=season)

    def _spread(self, milestone: Milestone) -> str:
        return ", ".join(
            self.say(
                "data.spread", name=self.say(f"spread.{each.name}"), share=self.quantities.percent(each.value)
            )
            for each in milestone.spread_by
        )

    def _gate(self, gate: Gate) -> GateWords:
        return GateWords(
            rule=self.wording.dates.rule(gate.rule),
            dates=f"{self.moment(gate.likely)} / {self.moment(gate.not_before)}",
            source=gate.source,
            mark=self.letter(gate.mark),
            figures=self.figures(gate.figures),
        )

    def figures(self, figures: tuple[Figure, ...]) -> str:
        """Return figures as "required strength 500 psi; age 24 h"."""
        words = self.quantities
        return "; ".join(
            f"{words.figure_name(each)} {words.figure(each, figures, FIGURE_DIGITS)}" for each in figures
        )

    @cached_property
    def joints(self) -> tuple[tuple[str, str], ...]:
        """Return the rows of the joints: label and value."""
        joints = self.schedule.joints
        if joints is None:
            return ()
        depths = {"early-entry-depth": joints.early_entry_depth_m}
        if self.wording.job.slab.joints == "sawn":
            depths = {"depth": joints.depth_m, **depths}
        spacings = {"longest-spacing": joints.longest_spacing_m, "spacing": joints.spacing_m}
        values = {"cracks-from": self.moment(joints.cracks_from)}
        values |= {name: self.quantities.measure(depth, "thickness", 3) for name, depth in depths.items()}
        values |= {
            name: self.quantities.measure(spacing, "length", 3)
            for name, spacing in spacings.items()
            if spacing
        }
        windows = [(self._saw(each), self._window(each)) for each in joints.windows]
        rows = [(self.say(f"joints.{name}"), value) for name, value in values.items()]
        return (
            *windows,
            *rows,
            *((self.say(f"joints.{each.saw}"), self._dust(each)) for each in joints.dust),
        )

    def _dust(self, dust: Respirator) -> str:
        """Return the respiratory protection, by hours of sawing."""
        over = (
            self.say("joints.dust-over", hours=self.quantities.fixed_decimals(dust.over_h, 0))
            if dust.over_h
            else ""
        )
        key = "joints.dust-none" if not dust.protection_factor else "joints.dust-factor"
        mask = self.say(key, factor=self.quantities.fixed_decimals(dust.protection_factor, 0))
        basis = f"{dust.source} ({self.letter(dust.mark)})"
        return " ".join(part for part in (over, mask, basis) if part)

    def _saw(self, window: SawWindow) -> str:
        """Return the name of a saw, with the part of the slab that the window is for."""
        saw = self.say(f"joints.{window.saw}")
        return saw if window.part == "whole" else self.say(f"joints.part-{window.part}", saw=saw)

    def _window(self, window: SawWindow) -> str:
        """Return the hours of a saw; without the hour that most members allow, where there is none."""
        best, closes = window.opens_not_before, window.closes
        fits = best is None or closes is None or best < closes
        return self.say(
            "joints.window" if fits and window.share else "joints.window-trial",
            likely=self.moment(window.opens),
            closes=self.moment(closes),
            **(
                {"opens": self.moment(best), "share": self.quantities.percent(window.share)}
                if fits and window.share
                else {}
            ),
        )

    @cached_property
    def surface(self) -> tuple[tuple[str, str], ...]:
        """Return the rows of the crew's work between the last pass and curing: label and value."""
        task = self.schedule.surface
        if task is None:
            return ()
        start = self.moment(task.start)
        rows = {
            "finished": start if task.finish_recorded else self.say("data.surface-estimated", when=start),
            "dry": self.moment(task.not_after) if task.not_after else "",
            "firm": self.moment(task.cover_from) if task.cover_from else "",
            "water": self.moment(task.until) if task.work == "damp" else "",
        }
        last = {
            "figures": self.figures(task.figures),
            "rule": f"{task.source} ({self.letter(task.mark)})",
        }
        return (
            *((self.say(f"data.surface-{name}"), value) for name, value in rows.items() if value),
            *((self.say(f"data.surface-{name}"), value) for name, value in last.items() if value),
        )

    @cached_property
    def protection(self) -> tuple[tuple[str, ...], ...]:
        """Return a row for each blanket tried: R-value, coldest top, safe from frost, may freeze from."""
        protection = self.schedule.protection
        if protection is None:
            return ()
        return tuple(
            (
                self._blanket(each),
                self.quantities.measure(each.coldest_surface_c, "temperature"),
                self.moment(each.frost_safe),
                self.moment(half_hour_down(each.freezes_from)) if each.freezes_from else "",
            )
            for each in protection.blankets
        )

    def _blanket(self, blanket: Blanket) -> str:
        """Return the R-value; that of the record is marked, as its row has more members than the others."""
        resistance = self.quantities.measure(blanket.resistance, "thermal resistance")
        return f"{resistance} *" if self._is_own(blanket) else resistance

    def _is_own(self, blanket: Blanket) -> bool:
        protection, cures = self.schedule.protection, self.schedule.curing_method == "insulating blanket"
        return cures and protection is not None and blanket.resistance == protection.laid

    @property
    def protection_notes(self) -> tuple[str, ...]:
        """Return the notes on the cover beside the table."""
        protection = self.schedule.protection
        if protection is None:
            return ()
        drop = (
            ""
            if protection.drop_k is None
            else self.quantities.measure(protection.drop_k, "temperature difference")
        )
        on = self.schedule.blankets_on
        marked = any(map(self._is_own, protection.blankets))
        notes = [
            self.say("protection.own-row") if marked else "",
            "" if on is None else self.say("protection.on", when=self.moment(on)),
            self._blankets_laid(protection),
            self.wording.warnings.blanket,
            self.say(
                "protection.largest-drop",
                most=self.quantities.measure(protection.largest_drop_k, "temperature difference"),
            ),
            self.say("protection.drop", drop=drop) if drop else "",
        ]
        return tuple(note for note in notes if note)

    def _blankets_laid(self, protection: Protection) -> str:
        """Return the blankets that lie on the slab; those of another method are brought for a frost."""
        brought = self.job.curing.blanket_r_value
        if self.schedule.curing_method == "insulating blanket" or not brought:
            laid = self.quantities.measure(protection.laid, "thermal resistance")
            return self.say("protection.laid", laid=laid)
        return self.say("protection.on-record", laid=self.quantities.measure(brought, "thermal resistance"))

    # ---- inputs

    @cached_property
    def recorded(self) -> tuple[tuple[str, str, bool], ...]:
        """Return every value of the record: its name, the value, and whether it was assumed."""
        assumed = {each.field for each in self.schedule.assumed}
        return tuple((name, value, name in assumed) for name, value in self._values(self.job, ""))

    def _values(self, part: BaseModel, above: str) -> Iterator[tuple[str, str]]:
        for name in type(part).model_fields:
            value = getattr(part, name)
            if name in TABLE_FIELDS or value is None or value == ():
                continue
            if isinstance(value, BaseModel):
                yield from self._values(value, f"{above}{name}.")
            else:
                yield f"{above}{name}", self.value(f"{above}{name}", value)

    @cached_property
    def assumed(self) -> tuple[tuple[str, str, str], ...]:
        """Return the assumptions: field, value in the reader's unit, why."""
        return tuple((each.field, self._assumption_text(each), each.why) for each in self.schedule.assumed)

    def _assumption_text(self, assumption: Assumption) -> str:
        """Return an assumed value; a quantity of the record in the reader's unit."""
        number, _, unit = assumption.value.partition(" ")
        quantity = _quantity_of(assumption.field)
        if quantity is not None and (ends := re.fullmatch(r"(\S+) to (\S+) (\S+)", assumption.value)):
            low, high = (replace(assumption, value=f"{end} {ends[3]}") for end in ends.groups()[:2])
            return self.say("data.range", low=self._assumption_text(low), high=self._assumption_text(high))
        if quantity is None or unit != SI_UNITS[quantity.kind]:  # a number, or words such as "final set"
            return assumption.value
        return self.quantities.measure(float(number), quantity.kind, FIGURE_DIGITS)

    def value(self, path: str, value: object) -> str:
        """Return the value of a field of the record in the reader's units."""
        match value:
            case None:
                return ""
            case bool():
                return self.say("data.yes" if value else "data.no")
            case int() | float():
                return self._number(path, float(value))
            case datetime():
                return self.moment(value)
            case tuple():
                return ", ".join(str(each) for each in value)
        return str(value)

    def _number(self, path: str, value: float) -> str:
        quantity = _quantity_of(path)
        if quantity is None:
            return self.quantities.round_number(value, 6)
        number, label = to_reader(value, quantity.kind, self.wording.units)
        digits = significant(number, RECORD_DIGITS)
        return self.quantities.with_label(round(number) if quantity.kind == "temperature" else digits, label)

    # ---- measurements

    @cached_property
    def measurements(self) -> tuple[tuple[str, str, str, str], ...]:
        """Return a row for each measurement: what, its numbers, the estimate, the outcome."""
        return tuple(self._measurement_row(each) for each in self.schedule.measurements)

    def _measurement_row(self, each: Measurement) -> tuple[str, str, str, str]:
        outcome = self.say(f"data.measured.outcomes.{each.outcome}")
        measured, estimated, numbers = (
            self.figures(figures) for figures in (each.measured, each.estimated, each.figures)
        )
        return (
            self.say(f"data.measured.kind.{each.kind}", name=each.name),
            measured,
            estimated,
            f"{outcome}: {numbers}" if numbers else outcome,
        )

    @cached_property
    def fit(self) -> FitWords | None:
        """Return the fit of the cylinders, or None where there are too few."""
        fit = self.schedule.strength_fit
        if fit is None:
            return None
        measure, percent = self.quantities.measure, self.quantities.percent
        return FitWords(
            curve=self.say(
                "data.measured.curve",
                ultimate=measure(fit.ultimate_mpa, "strength", 3),
                rate=self.quantities.round_number(fit.rate_per_h * 24, 3),
                offset=self.quantities.round_number(fit.offset_h, 2),
                reference=measure(fit.reference_c, "temperature"),
                scatter=percent(fit.scatter),
                most_scatter=percent(fit.most_scatter),
                reach=self.quantities.round_number(fit.reach, 3),
                most_reach=self.quantities.round_number(fit.most_reach, 2),
            ),
            verdict=self.say(f"data.measured.verdict.{fit.verdict}"),
            source=fit.source,
            mark=self.letter(fit.mark),
            tests=tuple(
                (
                    measure(test.age_h, "duration", 3),
                    measure(test.measured_mpa, "strength", 3),
                    measure(test.fitted_mpa, "strength", 3),
                    percent(test.deviation),
                )
                for test in fit.tests
            ),
        )

    # ---- weather

    @property
    def weather_age(self) -> str:
        """Return the age of the forecast at the time of issue."""
        issued = self.schedule.weather.issued_at
        old = self.schedule.forecast_age
        if issued is None or old is None:
            return self.say("data.weather-unknown")
        local = issued.astimezone(self.schedule.issued_at.tzinfo)
        age = self.wording.speak.length(old)
        return f"{self.moment(local)}; {self.say('data.weather-age', age=age)}"

    @property
    def weather_spread(self) -> str:
        """Return where the spread of the forecast comes from; empty where it is that of the rules."""
        spread = self.schedule.weather.spread
        if spread is None:
            return ""
        return self.say(
            f"data.spread-{spread.kind}",
            count=self.quantities.fixed_decimals(spread.members, 0),
            source=spread.source,
            until=self.moment(spread.until),
        )

    @property
    def alerts(self) -> tuple[str, ...]:
        """Return the warnings that came with the forecast, one sentence each."""
        return tuple(
            self.say(
                f"data.alert-{each.kind}",
                event=each.event,
                onset=self.moment(each.onset),
                until=self.moment(each.until),
                sender=each.sender,
            )
            for each in self.schedule.weather.alerts
        )

    # ---- history

    @cached_property
    def history(self) -> tuple[tuple[str, ...], ...]:
        """Return a row for each day; the columns are those of the table's heading."""
        history = self.schedule.history
        last = int(history.hours[-1] // 24)
        days = [
            *range(1, min(last, DAILY_UNTIL_DAY) + 1),
            *range(DAILY_UNTIL_DAY * 2, last + 1, DAILY_UNTIL_DAY),
        ]
        return tuple(self._history_row(day) for day in days)

    def _history_row(self, number: int) -> tuple[str, ...]:
        day = day_history(self.schedule.history, number)
        words = self.quantities
        coldest, warmest = (
            to_reader(each, "temperature", words.units)[0]
            for each in (day.coldest_surface_c, day.warmest_surface_c)
        )
        return (
            str(day.day),
            self.moment(day.end.astimezone(self.schedule.placement_end.tzinfo)),
            f"{words.fixed_decimals(coldest, 0)} / {words.fixed_decimals(warmest, 0)}",
            words.fixed_decimals(day.equivalent_age_h, 0),
            words.fixed_decimals(day.hydration, 2),
            *(words.number(each, "strength") for each in day.strength_mpa),
            words.number(day.highest_evaporation, "evaporation"),
            words.number(day.evaporation_mm, "rain"),
        )

    @property
    def reference(self) -> str:
        """Return the reference temperature of the equivalent age."""
        return self.quantities.measure(self.schedule.history.reference_c, "temperature")


def _quantity_of(path: str) -> QuantityField | None:
    """Return the quantity of a field of the record, or None."""
    try:
        return mark_of(declaration_of(path), QuantityField)
    except KeyError:
        return None
