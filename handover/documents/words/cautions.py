"""What may hurt people or the slab, and the limits of the estimate, in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.documents.translations import slug
from handover.documents.words.schedule_words import ScheduleWords
from handover.schedule.cover_times import (
    early_frosts,
    first_visit,
    is_soft,
    left_on_until_water,
    sheet_after_blankets,
    soft_top_cover,
)
from handover.schedule.delivery_tickets import TICKET_LIMIT
from handover.schedule.loading import bare_frost_hours
from handover.schedule.model import BURLAP, SHEET, MilestoneKind
from handover.schedule.owner_dates import forecast_to_call_at, uncovered_in_cold_until
from handover.schedule.printed_times import danger_hours, frost_safe_under_blankets
from handover.schedule.tasks import RAIN_COVER, WALK_THROUGH, cover_tasks, is_laid_by_crew, staying_cover

if TYPE_CHECKING:
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.schedule.model import Caution, Figure, Protection


RISK_OF_CAUTION = {"drying": "drying-precaution", "rain-on-fresh": "rain-on-fresh"}
"""The risk whose hours a caution is about."""

OF_PLACEMENT = ("hot-air", "hot-discharge", "cold-discharge", "frozen-ground")
"""Cautions about the hours of the placement."""


@dataclass(frozen=True)
class Notice:
    """A caution or a limit: its code, a short title, and the sentences."""

    code: str
    title: str
    text: str


_COLDEST = ("coldest_air", "forecast_air")
"""The temperatures of the air in a caution of cold."""


class CautionWording(ScheduleWords):
    """The cautions and limits of one schedule in the words of one reader."""

    @cached_property
    def notices(self) -> tuple[Notice, ...]:
        """The cautions that the job calls for, in the schedule's order."""
        return tuple(self._notice(each) for each in self.schedule.cautions)

    def _notice(self, caution: Caution) -> Notice:
        values = {figure.name: self._figure(figure, caution) for figure in caution.figures}
        key = f"caution.{caution.code}"
        values["colder"] = self._colder(caution)
        if "forecast_air" in values:
            values["goes_down"] = self._goes_down(caution, values["forecast_air"])
        if caution.at is not None:
            values["at"] = self.speak.hour(caution.at)
        title, text = f"{key}.title", self._text_key(key, caution)
        if caution.code == "slips" and self._has_plastic:
            title, text = (f"{each}-plastic" for each in (title, text))
        if self._is_ahead(caution):
            title, text = (f"{each}-ahead" for each in (title, text))
        longer = self.left_on(f"{key}.left-on") if caution.code == "dry-before-frost" else ""
        call = self.call_in_cold if caution.code == "cold-weather" else ""
        sentences = filter(None, (self.say(text, **values), longer, call))
        return Notice(caution.code, self.say(title, **values), " ".join(sentences).strip())

    @property
    def _has_plastic(self) -> bool:
        """Whether plastic may lie on the slab: as its cover, over burlap or blankets, or against rain."""
        covers = {self.schedule.between.cover if self.schedule.between else None}
        covers.add(left_on_until_water(self.schedule))
        by_method = self.schedule.curing_method in {SHEET, BURLAP, "insulating blanket"}
        against_weather = cover_tasks(self.schedule) or self.schedule.tasks_of("crew", RAIN_COVER)
        return by_method or bool(covers & {SHEET, "any"}) or bool(against_weather)

    def _goes_down(self, caution: Caution, forecast_air: str) -> str:
        """Return how cold it gets by the forecast, and when; empty where the caution of frost says it."""
        if self._is_told_by_frost(caution):
            return ""
        where = "" if self.schedule.room is None else "-room"
        frosts = early_frosts(self.schedule) if caution.code == "frost" else ()
        part, hours = "-curing" if caution.code == "cold-weather" else "", ""
        if frosts:
            part = "-hours"
            ends = danger_hours(frosts[0].start, frosts[-1].end)
            zone = ZoneInfo(self.schedule.timezone)
            first, last = (each.astimezone(zone) for each in ends)
            same = first.date() == last.date()
            end = self.speak.short_hour(last) if same else self.speak.moment(last).short
            hours = self.say("calendar-words.short-span", start=self.speak.moment(first).short, end=end)
        return self.say(f"caution.goes-down{part}{where}", forecast_air=forecast_air, hours=hours)

    def _is_told_by_frost(self, caution: Caution) -> bool:
        """Return whether a caution of cold weather has the temperatures of that of frost, as printed."""
        frost = next((each for each in self.schedule.cautions if each.code == "frost"), None)
        if frost is None or caution.code != "cold-weather":
            return False
        printed = (
            {each.name: self._figure(each, one) for each in one.figures if each.name in _COLDEST}
            for one in (frost, caution)
        )
        return next(printed) == next(printed)

    @property
    def call_in_cold(self) -> str:
        """From which forecast on the owner calls, where no cover is planned; empty where one is."""
        if self.cold_to_call_at is None:
            return ""
        limit, until = self.cold_to_call_at
        return self.say(f"caution.cold-weather.call{self._of_room}", limit=limit, until=until.text)

    @property
    def cold_to_call_at(self) -> tuple[str, DatePhrase] | None:
        """At which air the owner calls, and until when; None where a cover is planned, or it is over."""
        until = uncovered_in_cold_until(self.schedule)
        if until is None or not self.schedule.is_ahead(until):
            return None
        limit = self.quantities.measure(forecast_to_call_at(self.schedule, until), "temperature")
        return limit, self.speak.moment(until.astimezone(ZoneInfo(self.schedule.timezone)))

    @property
    def cold_call_title(self) -> str:
        """What the crew reads of a call in cold; empty where the owner is not asked to."""
        if self.cold_to_call_at is None:
            return ""
        return self.say(f"crew.call-cold.title{self._of_room}", limit=self.cold_to_call_at[0])

    @property
    def _of_room(self) -> str:
        return "" if self.schedule.room is None else "-room"

    def left_on(self, key: str) -> str:
        """Return until when blankets would stay on for repeated frost; empty where no date is known."""
        until = self.dates.blankets_left_on
        return self.say(key, until=until) if until else ""

    def _colder(self, caution: Caution) -> str:
        """Return that it may be colder than the forecast; empty if that is printed as the same."""
        values = {each.name: each for each in caution.figures}
        coldest, forecast = values.get("coldest_air"), values.get("forecast_air")
        if coldest is None or forecast is None or coldest.value >= forecast.value:
            return ""
        if self._is_told_by_frost(caution):
            return ""
        text, other = (self._figure(each, caution) for each in (coldest, forecast))
        return "" if text == other else self.say("caution.colder", coldest_air=text)

    def _is_ahead(self, caution: Caution) -> bool:
        """Return whether the hours of a caution are still to come at the time of issue, in part or all."""
        placed = self.schedule.placement_end if caution.code in OF_PLACEMENT else None
        code = RISK_OF_CAUTION.get(caution.code)
        ends = [placed] if placed else [each.end for each in self.schedule.risks if each.code == code]
        return any(map(self.schedule.is_ahead, ends))

    def _text_key(self, key: str, caution: Caution) -> str:
        """Return the key of the sentences: some have an hour, some differ by joints, blankets or pipes."""
        if caution.at is not None:
            return f"{key}.text-at"
        blankets: tuple[str, ...] = ()
        if self.schedule.curing_method == "insulating blanket":
            blankets = ("blankets",)
        elif self.job.curing.blanket_r_value:
            blankets = ("brought", "stays") if staying_cover(self.schedule) else ("brought",)
        elif any(map(is_laid_by_crew, cover_tasks(self.schedule))):
            blankets = ("stays", "crew") if staying_cover(self.schedule) else ("crew",)
        elif not cover_tasks(self.schedule):
            blankets = ("uncovered",)
        timer = ("timer",) if self.job.curing.timer else ()
        bare = () if self.job.slab.covers else (*_no_better_timer(caution), "no-cover")
        between = (slug(self.schedule.between.cover),) if self.schedule.between else ()
        method = slug(self.schedule.curing_method)
        heated = ("heated",) if self.job.slab.heated else ()
        seals = ("seals",) if self.job.curing.seals else ()
        walk = () if self.schedule.tasks_of("crew", WALK_THROUGH) else ("no-walk",)
        ticket = ("ticket",) if any(each.name == TICKET_LIMIT for each in caution.figures) else ()
        circumstances = (
            *ticket,
            *seals,
            *walk,
            *bare,
            *heated,
            self.job.slab.joints,
            *blankets,
            *timer,
            *between,
            method,
        )
        special = (f"{key}.text-{each}" for each in circumstances)
        return next(filter(self.reader.has, special), f"{key}.text")

    def _figure(self, figure: Figure, caution: Caution) -> str:
        """Return a figure in an owner's words: hours rounded up as "5 hours"; others in the reader's unit."""
        if figure.unit == "h":
            return self.speak.length(timedelta(hours=ceil(figure.value)))
        return self.quantities.figure(figure, caution.figures)

    @cached_property
    def limits(self) -> tuple[str, ...]:
        """The limits of the estimate, in plain sentences, for every document."""
        from_when = self.schedule.weather.typical_from
        when = self.speak.day(from_when) if from_when else ""
        lines = [self.say(f"limits.{key}") for key in ("estimate", "codes", "ground", "cracks")]
        return tuple(lines + ([self.say("limits.typical", day=when)] if from_when else []))

    @property
    def blankets_on(self) -> tuple[str, str]:
        """Title and text for the crew that lays the blankets of the curing; empty where there are none."""
        laid, protection = self.schedule.blankets_on, self.schedule.protection
        if laid is None:
            return "", ""
        part = f"-soft-{soft_top_cover(self.job)}" if is_soft(self.schedule, laid) else ""
        text = self.say(f"event.blankets-on.text{part}", when=self.speak.moment(laid).text).strip()
        bare = None if protection is None else protection.bare_freezes_from
        early = "" if bare is None else self._bare("protection.bare-crew", bare)
        return self.say("event.blankets-on.title"), "\n".join(filter(None, (early, text)))

    @property
    def bare_frost(self) -> Notice | None:
        """That the top may freeze before blankets can lie on it, for the owner; None where it does not."""
        protection = self.schedule.protection
        if protection is None or protection.bare_freezes_from is None:
            return None
        bare = protection.bare_freezes_from
        title, text = (self._bare(f"protection.bare-{each}", bare) for each in ("title", "owner"))
        return Notice("frost-bare", title, text)

    def _bare(self, key: str, bare: datetime) -> str:
        """Return words about frost on the bare top: once its hour is past, that it may have frozen.

        What can still be done, a look and a tent, ends once the blankets lie.
        """
        when = self.speak.moment(bare).text
        if self.schedule.is_ahead(bare):
            return self.say(key, when=when)
        return self.say(f"{key}-{'now' if bare_frost_hours(self.schedule) else 'over'}", when=when)

    @property
    def blanket(self) -> str:
        """The blanket that keeps the slab from frost, and for how long; empty if none is needed.

        If the bare top may freeze before a blanket can lie on it, that is in it too.
        """
        protection = self.schedule.protection
        if protection is None or protection.enough == 0:
            return ""
        bare = protection.bare_freezes_from
        early = "" if bare is None else self._bare("protection.bare", bare)
        return " ".join(each for each in (early, self._least_blanket(protection)) if each)

    def _least_blanket(self, protection: Protection) -> str:
        """Return which blanket is enough once it lies on the slab, and for how long."""
        if self.schedule.curing_method == "plastic sheet" and not cover_tasks(self.schedule):
            return self.say("protection.sheet-enough")  # it lies in the simulation that finds no frost
        if protection.enough is None:
            return self.say("protection.none-enough")
        values = {"blanket": self._named_blanket(protection)}
        if self.schedule.covered_for_frost and not sheet_after_blankets(self.schedule):
            return self._on_days_without_water(values)
        if nights := self._nights():
            return self.say("protection.enough-nights", **values, **nights)
        stays = self._blanket_end(protection)
        if stays is None:
            return self.say("protection.enough", **values)
        until = self.dates.not_before(stays, MilestoneKind.PROTECTION_ENDS).text
        stated = self.say("protection.enough-until", **values, until=until)
        return f"{stated} {self._sooner(stays)}".strip()

    def _on_days_without_water(self, values: dict[str, str]) -> str:
        """Return that the table has the days of the blanket; without waterings there is none, but an end."""
        cover = staying_cover(self.schedule)
        end = None if cover is None or cover.span is None else cover.span.end
        if first_visit(self.schedule) is not None:
            return self.say("protection.enough-table", **values)
        if end is None:
            return self.say("protection.enough", **values)
        until = self.dates.not_before(end, MilestoneKind.CURING_ENDS).text
        return self.say("protection.enough-until", **values, until=until)

    def _named_blanket(self, protection: Protection) -> str:
        """Return the crew's blanket if it is enough, else the least that is, and what edges ask for."""
        own, least = self.job.curing.blanket_r_value, protection.enough or 0.0
        edges = least * protection.edges
        is_own = own is not None and protection.suffices(own)
        named = own if own is not None and is_own else least
        resistance = self.quantities.measure(named, "thermal resistance")
        text = self.say("protection.own" if is_own else "protection.least", resistance=resistance)
        if named >= edges:
            return text
        at_edges = self.quantities.measure(edges, "thermal resistance")
        return f"{text} {self.say('protection.at-edges', edges=at_edges)}"

    def _nights(self) -> dict[str, str]:
        """Return from when until when the first cover lies that comes off before a watering."""
        spans = ((each.start, each.span) for each in cover_tasks(self.schedule))
        found = next(((start, span) for start, span in spans if span and span.off is None), None)
        if found is None or found[1].end is None:
            return {}
        zone = self.schedule.issued_at.tzinfo
        pairs = {"start": found[0], "until": found[1].end}
        return {name: self.speak.moment(when.astimezone(zone)).text for name, when in pairs.items()}

    def _sooner(self, stays: datetime) -> str:
        """Return from when a slab stands a frost that lies under blankets from the start, if days sooner."""
        if self.schedule.curing_method == "insulating blanket":
            return ""
        safe, placed = frost_safe_under_blankets(self.schedule, stays), self.schedule.placement_end
        return self.say("protection.sooner", safe=self.speak.printed_time(safe, placed).day) if safe else ""

    def _blanket_end(self, protection: Protection) -> datetime | None:
        """Return until when the blanket stays: the end of protection, by the slab as it is covered."""
        ends = self.schedule.milestone(MilestoneKind.PROTECTION_ENDS)
        if ends is None or (ends.not_before is None and not self.schedule.covered_in_cold):
            return protection.until
        return ends.not_before


def _no_better_timer(caution: Caution) -> tuple[str, ...]:
    """Return the circumstance that a hose timer would leave the slab dry for as long; none where it helps."""
    dry = {each.name: each.value for each in caution.figures}
    by_timer, planned = dry.get("dry_with_timer"), dry.get("dry_hours")
    return ("no-timer",) if by_timer is not None and planned is not None and by_timer >= planned else ()
