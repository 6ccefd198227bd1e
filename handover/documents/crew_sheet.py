"""The contents of the crew sheet: one page for the contractor, hours first.

Every line has a rank. The lines fill one page by rank; what does not fit is left out, and the sheet says how
much that is. The measures are those of `style/crew.css`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from itertools import groupby
from math import inf
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.documents.care_sheet import MAX_CHANGES, CareSheet
from handover.documents.change_sentences import change_sentences, foremost_changes
from handover.documents.events import crew_work
from handover.documents.text_measure import BOLD, MM, REGULAR, count_lines
from handover.practice.rules import general_rules
from handover.schedule.cover_times import DRYING, first_frost, is_soft, ways_left
from handover.schedule.delivery_tickets import TICKET_LIMIT, USUAL_LIMIT
from handover.schedule.joints import saw_of
from handover.schedule.loading import bare_frost_hours, is_hot_work, materials_to_load, pour_weather
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.printed_times import danger_hours, half_hour_down
from handover.schedule.surface_observations import SET_CONTRADICTED
from handover.schedule.tasks import (
    BLANKETS_OFF,
    BRING_COVER,
    LOOK_JOINTS,
    PIPES_FROST,
    RAIN_COVER,
    RUB_EDGES,
    SHEET_LAY,
    SURFACE,
    is_begun,
    is_over,
    is_return,
    unwatched_covers,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.documents.events import CareEvent
    from handover.documents.text_measure import Run
    from handover.documents.wording import Wording
    from handover.schedule.loading import Material, PourWeather
    from handover.schedule.model import Caution, Risk, Task

OWNER_DATES = (Kind.FOOT_TRAFFIC, Kind.LIGHT_VEHICLES, Kind.CURING_ENDS)
"""The owner's dates that the crew must know."""

DAY_KINDS = ("surface", "rain-cover")
"""Events of the crew that are dangers of the day, or the work against them.

A cover before rain is a visit as well, once the crew has finished the slab."""

URGENT_KINDS = ("lay-hose", "build-rim", "pipes-frost", Kind.SAW_JOINTS)
"""Visits of the crew whose sentences say what must not be missed."""

SPARING_KINDS = (Kind.STRIP_EDGE_FORMS, BLANKETS_OFF, BRING_COVER)
"""Visits of the crew whose sentences say what must stay on the slab, or how slowly it cools."""

ON_FROM_NOW = (Kind.STRIP_EDGE_FORMS, BRING_COVER)
"""Visits of the crew without a last hour of their own: one that has begun is due from now on."""

SPANS = (Kind.SAW_JOINTS, RUB_EDGES, PIPES_FROST)
"""Visits with both hours: which must not come too late, or of which the owner reads the end."""

LATE = "late-discharge"
"""The caution of a load that was too long in its truck."""

RANK_OF_LIMIT = {TICKET_LIMIT: 3, USUAL_LIMIT: 6}
"""How urgent the time limit of a truck is: crews know the usual one."""

DRYING_LEVELS = ("drying-precaution", "drying-watch")
MAX_ALERTS = 2

DRYING_DIGITS = 3
"""As many as the data sheet has for the same peak."""

TYPE = 9.3
"""Size of the type. [pt]"""

LINE = TYPE * 1.32
"""Height of a line. [pt]"""

HEADING_HEIGHT = 11.5 * 1.32 + (3.6 + 0.8) * MM + 1.0
"""A heading with the space around it and its rule. [pt]"""

ROW_SPACE = 2 * 0.5 * MM + 0.4
"""The space around the lines of a row, and its rule. [pt]"""

TITLE = 18.0
"""Size of the type of the name. [pt]"""

HEAD_SPACE = 2 * LINE + (2.0 + 2.5) * MM + 2.2
"""The eyebrow, its rule, and the space above the name. [pt]"""

LOAD_TYPE = 10.0
LOAD_SPACE = (1.2 + 2 * 0.8) * MM + 2 * 1.2
"""What to load: its type, and the space and the frame around its lines. [pt]"""

SPARE = 2.0
"""What stays free of the room of a page. [pt]"""


@dataclass(frozen=True)
class PageRoom:
    """The room of a page between its margins, in pt."""

    width: float
    height: float

    @property
    def hours(self) -> float:
        """Width of the hours of a row, in pt."""
        return 0.27 * self.width - 2.5 * MM

    @property
    def text(self) -> float:
        """Width of the text beside them, in pt."""
        return 0.73 * self.width

    @property
    def load(self) -> float:
        """Width of what to load, within its frame, in pt."""
        return self.width - 2 * (2.0 * MM + 1.2)


def _page_room(width_mm: float, height_mm: float) -> PageRoom:
    """Return the room of a paper of a size, with a little to spare."""
    return PageRoom((width_mm - 2 * 14.0) * MM - SPARE / 2, (height_mm - 11.0 - 13.0) * MM - SPARE)


PAGE_ROOMS = {"letter": _page_room(215.9, 279.4), "a4": _page_room(210.0, 297.0)}
"""By the name of the paper."""


@dataclass(frozen=True)
class CrewRow:
    """One row: the hours, what is to be done or known, and how; `rank` 1 is the most urgent.

    `kind` is that of the event of a visit.
    """

    when: str
    what: str
    detail: str = ""
    rank: int = 1
    detail_rank: int = 7
    kind: str = ""

    @property
    def text(self) -> str:
        """What, and how."""
        return " ".join(part for part in (self.what, self.detail) if part)


@dataclass(frozen=True)
class CrewSection:
    """A heading and its rows."""

    code: str
    heading: str
    rows: tuple[CrewRow, ...]


class CrewSheet:
    """The contents of a crew sheet, with what is over at the time of issue left out."""

    def __init__(self, wording: Wording, page: PageRoom = PAGE_ROOMS["letter"]) -> None:
        self.wording = wording
        self.page = page
        self.job = wording.job
        self.schedule = wording.schedule
        self.say = wording.say
        self.speak = wording.speak
        self.zone = ZoneInfo(self.schedule.timezone)

    # ---- the head

    @property
    def document_title(self) -> str:
        """Return the title that a PDF viewer shows."""
        return f"{self.say('crew.name')}: {self.job.site.name}"

    @property
    def pour(self) -> str:
        """Return the day and the hours of the pour, and how the slab is cured."""
        start, end = self.schedule.placement_start, self.schedule.placement_end
        hours = self._span(start, end)
        if not self._is_pour_day(end):  # the hours have their days
            return self.say("crew.pour-overnight", hours=hours)
        return self.say("crew.pour", day=self.speak.day(self._local(start)), hours=hours)

    @property
    def client(self) -> str:
        """Return whom the crew calls: the owner's name and number; empty if the record has neither."""
        owner = self.job.owner
        who = ", ".join(filter(None, (owner.name, owner.phone)))
        return self.say("crew.client", who=who) if who else ""

    @property
    def pour_and_client(self) -> str:
        """Return the line of the pour, with whom the crew calls."""
        return " · ".join(filter(None, (self.pour, self.client)))

    @cached_property
    def load(self) -> str:
        """Return what to load, in one sentence; empty if there is nothing."""
        things = [self._material(each) for each in materials_to_load(self.schedule, self.job)]
        return self.say("crew.load", things="; ".join(things)) if things else ""

    def _material(self, material: Material) -> str:
        measure = self.wording.quantities.measure
        values = {"saw": self.say(f"saw.name.{saw_of(self.job)}")}
        if material.resistance is not None:
            values["resistance"] = measure(material.resistance, "thermal resistance")
            whose = "record" if material.of_record else "least"
            values["blanket"] = self.say(f"crew.blanket.{whose}", resistance=values["resistance"])
        if material.protection_factor is not None:
            values["factor"] = self.wording.quantities.fixed_decimals(material.protection_factor, 0)
        text = self.say(f"crew.material.{material.code}", **values)
        if material.at_edges is None:
            return text
        edges = measure(material.at_edges, "thermal resistance")
        return self.say("crew.blanket.edges", blankets=text, edges=edges)

    # ---- the sections

    @cached_property
    def whole(self) -> tuple[CrewSection, ...]:
        """Return all sections, the most urgent first, as if a page had no end."""
        found = {
            "dangers": (self.say("crew.dangers"), self._dangers()),
            "surface": (self._surface_heading, self._surface()),
            "visits": (self.say("crew.visits"), self._visits()),
            "owner": (self.say("crew.owner"), self._owner()),
            "changes": (self._changes_heading, self._changes()),
        }
        sections = (CrewSection(code, heading, tuple(rows)) for code, (heading, rows) in found.items())
        return tuple(each for each in sections if each.rows)

    def rows(self, code: str) -> tuple[CrewRow, ...]:
        """Return all rows of a section by its code; none if it has none."""
        return next((each.rows for each in self.whole if each.code == code), ())

    def _dangers(self) -> Iterator[CrewRow]:
        """Yield what may harm the fresh slab, in order of time: hours, what, and how bad."""
        if (missed := self.wording.visits.missed_water) is not None:
            yield CrewRow(self.say("crew.now"), self.say("crew.missed"), missed.when + ".", 1, 2)
        yield from self._closed_early()
        yield from self._before_pour()
        yield from self._trucks()
        ahead = [each for each in self.schedule.risks if self.schedule.is_ahead(each.end)]
        above = [each for each in ahead if each.code == DRYING_LEVELS[0]]
        for each in ahead:
            level_above = each.code == DRYING_LEVELS[1] and any(
                one.start < each.end and each.start < one.end for one in above
            )
            if each.code != "frost" and not level_above:
                yield self._danger(each)
        yield from self._bare_frost()
        yield from self._frosts([each for each in ahead if each.code == "frost"])
        yield from self._lack_of_watch()
        yield from self._air()
        for alert in self.schedule.weather.alerts[:MAX_ALERTS]:
            if self.schedule.is_ahead(alert.until):
                hours = self._span(alert.onset, alert.until)
                yield CrewRow(hours, self.say("crew.alert", event=alert.event, sender=alert.sender), rank=4)

    def _closed_early(self) -> Iterator[CrewRow]:
        """Yield that the recorded last pass came before the concrete had set: or misread."""
        if any(each.outcome == SET_CONTRADICTED for each in self.schedule.measurements):
            title, text = self.say("crew.closed-early"), self.say("crew.closed-early-text")
            yield CrewRow(self.say("crew.now"), title, text, 1, 2)

    def _before_pour(self) -> Iterator[CrewRow]:
        """Yield what has to be looked at before the pour: ground that may be frozen."""
        if self.schedule.is_ahead(self.schedule.placement_start):
            for each in self.wording.warnings.notices:
                if each.code == "frozen-ground":
                    yield CrewRow(self.say("crew.before-pour"), f"{each.title}.", each.text, 1, 1)

    def _trucks(self) -> Iterator[CrewRow]:
        """Yield the time limit of each truck until the pour is over; then whether one was late, until set."""
        late = next((each for each in self.schedule.cautions if each.code == LATE), None)
        for each in self.schedule.figures:
            if (rank := RANK_OF_LIMIT.get(each.name)) is not None:
                text = self.say(f"crew.trucks.{each.name}", limit=self.wording.quantities.figure(each))
                planned = "" if late is None else self._planned_time(late)
                yield CrewRow(
                    self.say("crew.trucks.when"), text, planned, min(rank, 3 if planned else rank), 3
                )
        if late is not None and self._is_placed_and_soft:
            [notice] = (each for each in self.wording.warnings.notices if each.code == LATE)
            yield CrewRow(self.say("crew.now"), notice.title, notice.text, rank=3, detail_rank=4)

    def _planned_time(self, late: Caution) -> str:
        """Return how long a truck takes by the hours of the record."""
        [took] = (each for each in late.figures if each.name == "time_to_discharge")
        return self.say("crew.trucks.planned", took=self.wording.quantities.figure(took))

    @property
    def _is_placed_and_soft(self) -> bool:
        """Return whether the pour is over and the slab may not have set at the time of issue."""
        final = self.schedule.milestone(Kind.FINAL_SET)
        set_at = None if final is None else final.not_before
        is_soft = set_at is not None and self.schedule.is_ahead(set_at)
        return is_soft and not self.schedule.is_ahead(self.schedule.placement_end)

    def _bare_frost(self) -> Iterator[CrewRow]:
        """Yield the hours in which the top may freeze and cannot be covered yet, and what keeps frost off."""
        hours = bare_frost_hours(self.schedule)
        if hours is None:
            return
        bare, laid = hours
        if not self.schedule.is_ahead(bare):
            when, part = self.say("crew.now"), "-now"
        else:
            when = self._moment(bare) if laid is None or laid <= bare else self._span(bare, laid)
            part = "" if self.schedule.is_ahead(self.schedule.placement_start) else "-placed"
        yield CrewRow(
            when, f"{self.say('crew.bare-frost.title')}.", self.say(f"crew.bare-frost.text{part}"), 1, 1
        )

    def _danger(self, risk: Risk) -> CrewRow:
        values = {
            each.name: self.wording.quantities.figure(each, risk.figures)
            for each in risk.figures
            if each.name not in {"low", "high", "hours_above"}
        }
        start, end = self._local(risk.start), self._local(risk.end)
        peak_at, clear = self._moment(risk.peak_at), self.wording.surface.clear_of_rain
        worst_ahead = risk.code not in DRYING_LEVELS or (
            self.schedule.is_ahead(risk.peak_at) and risk.figures[0].value >= self._later_drying
        )
        return CrewRow(
            self._span(*danger_hours(start, end)),
            f"{self.say(f'risk.{risk.code}.title')}.",
            self.say(f"risk.{risk.code}.text", peak_at=peak_at, clear=clear, **values) if worst_ahead else "",
            rank=3 if risk.code == DRYING_LEVELS[1] else 1,
            detail_rank=4,
        )

    def _frosts(self, frosts: list[Risk]) -> Iterator[CrewRow]:
        """Yield one row for all nights in which the slab may freeze."""
        if not frosts:
            yield from self._frost_under_blankets()
            return
        coldest = min(frosts, key=lambda each: each.figures[0].value)
        figures = {each.name: self.wording.quantities.figure(each) for each in coldest.figures}
        key = "crew.frost-more" if frosts[1:] else "risk.frost.text"
        _, over = danger_hours(frosts[-1].start, frosts[-1].end)
        last, at = self._moment(over), self._moment(coldest.peak_at)
        detail = self.say(key, n=len(frosts) - 1, last=last, at=at, **figures)
        hours = self._span(*danger_hours(self._from_bare(frosts[0]), frosts[0].end))
        yield CrewRow(hours, f"{self.say('risk.frost.title')}.", detail, 1, 4)

    def _from_bare(self, frost: Risk) -> datetime:
        """Return when a frost begins; the first one with the hours before the sheet that cures the slab."""
        first = next(each for each in self.schedule.risks if each.code == "frost")
        return first_frost(self.schedule) or frost.start if frost is first else frost.start

    def _frost_under_blankets(self) -> Iterator[CrewRow]:
        """Yield the first frost that only the blankets keep off, while they are still to lie."""
        protection = self.schedule.protection
        if protection is None or not protection.laid:
            return
        bare = protection.blankets[0]
        if bare.freezes_from is None or bare.coldest_surface_c is None or protection.until is None:
            return
        if self.schedule.is_ahead(protection.until):
            coldest = self.wording.quantities.measure(bare.coldest_surface_c, "temperature")
            keys = (self.wording.variant(f"crew.frost-covered.{each}") for each in ("title", "text"))
            title, text = (self.say(each, coldest=coldest) for each in keys)
            begins = half_hour_down(self._local(bare.freezes_from))
            when = self._moment(begins) if self.schedule.is_ahead(begins) else self.say("crew.now")
            yield CrewRow(when, f"{title}.", text, 1, 4)

    def _lack_of_watch(self) -> Iterator[CrewRow]:
        """Yield that nobody looks after blankets, by the record, from when on."""
        for each in unwatched_covers(self.schedule)[:1]:
            when = self._moment(each.start) if self.schedule.is_ahead(each.start) else self.say("crew.now")
            yield CrewRow(when, self.say("crew.unwatched.title"), self.say("crew.unwatched.text"), 1, 2)

    def _air(self) -> Iterator[CrewRow]:
        """Yield the heat, the wind and the most drying until the crew is done with the fresh slab."""
        air = self._pour_weather
        if air is None:
            return
        measure = self.wording.quantities.measure
        coldest, warmest = (measure(each, "temperature") for each in (air.coldest_c, air.warmest_c))
        where = "" if self.schedule.room is None else "-room"
        text = self.say(
            f"crew.air{where}" if coldest != warmest else f"crew.air-even{where}",
            coldest=coldest,
            warmest=warmest,
            at=self._moment(air.warmest_at),
            until=self._moment(air.until),
            wind=measure(air.wind_ms, "wind speed"),
            wind_at=self._moment(air.windiest_at),
        )
        yield CrewRow(self.say(f"crew.air-when{where}"), text, rank=3)
        if is_hot_work(self.schedule):
            yield CrewRow(self.say("crew.heat-when"), self.say("crew.heat"), rank=2)
        if self._later_drying:
            at, most = self._moment(air.drying_at), measure(air.drying, "evaporation", DRYING_DIGITS)
            yield CrewRow(self.say("crew.drying-when"), self.say("crew.drying", most=most, at=at), rank=2)

    @cached_property
    def _pour_weather(self) -> PourWeather | None:
        return pour_weather(self.schedule)

    @cached_property
    def _later_drying(self) -> float:
        """The most drying, in kg/m2/h, of the hours in which the crew works; 0 where a danger has more."""
        air, limit = self._pour_weather, general_rules()["drying.watch"]
        fresh = [
            each.figures[0].value
            for each in self.schedule.risks
            if each.code in DRYING_LEVELS and self.schedule.is_ahead(each.peak_at)
        ]
        return 0.0 if air is None or air.drying <= max([limit, *fresh]) else air.drying

    @property
    def _surface_heading(self) -> str:
        task = self.schedule.surface
        gap = (task is not None and task.work == "damp") or self.schedule.between is not None
        return self.say("crew.gap" if gap else "crew.after-pass")

    def _surface(self) -> Iterator[CrewRow]:
        """Yield the crew's work on the finished surface, its ways with their cost, and the cover between."""
        if (task := self.wording.surface.to_come) is not None:
            yield CrewRow(self._surface_hour, _sentence(task.title), task.why, detail_rank=2)
            for number, each in enumerate(task.choices):
                yield CrewRow("", each.line, rank=2 if number == 0 else 5)
            if task.note:  # who may step where
                yield CrewRow("", task.note, rank=3)
        if between := self.wording.visits.between:
            yield CrewRow(self.say("crew.between"), between, rank=3)

    @property
    def _surface_hour(self) -> str:
        """Return when the work on the surface begins; "now" where it has begun, or what bridges the hours."""
        [start] = (each.start for each in self.schedule.tasks_of("crew", SURFACE))
        task = self.schedule.surface
        begun = self._is_bridged or not self.schedule.is_ahead(start)
        if begun and task is not None and not task.finish_recorded:
            soft = is_soft(self.schedule, self.schedule.issued_at)
            return self.say("crew.after-pass" if soft else "crew.now")
        return self.say("crew.now") if begun else self._moment(start)

    @property
    def _is_bridged(self) -> bool:
        """Return whether what bridges the hours until the cover is laid has begun."""
        task, left = self.schedule.surface, ways_left(self.schedule)
        bridges = bool(left) and left[0].how.startswith(("fog", SHEET_LAY))
        return bridges and task is not None and not self.schedule.is_ahead(task.start)

    def _visits(self) -> Iterator[CrewRow]:
        """Yield when who comes back for what: the events of the crew's calendar."""
        hour_only = {f"{each.when_text}." for each in self.wording.dates.milestones}
        number = 0
        for task, event in zip(self.schedule.tasks_of("crew"), crew_work(self.wording), strict=True):
            if not self._is_visit(task) or is_over(self.schedule, task):
                continue
            number += 1
            told = {*hour_only, event.promise}
            in_section = task.kind == SURFACE  # of the finished surface
            text = "" if in_section else event.description
            lines = [line for line in text.splitlines() if line not in told]
            rank, detail_rank = self._ranks(event, number)
            yield CrewRow(
                self._event_hours(event, is_on=is_begun(self.schedule, task)),
                " ".join(filter(None, (_sentence(self._work(event)), event.promise))),
                " ".join(map(_sentence, lines)),
                rank=rank,
                kind=event.kind,
                detail_rank=detail_rank,
            )

    @staticmethod
    def _ranks(event: CareEvent, number: int) -> tuple[int, int]:
        """Return how urgent a visit is, and how it is done, by its kind and its number in the list."""
        if event.kind == LOOK_JOINTS:
            return 1, 1
        detail = 3 if event.kind in URGENT_KINDS else 6 if event.kind in SPARING_KINDS else 7
        return 2 if number <= SOON else 5, detail

    def _work(self, event: CareEvent) -> str:
        """Return what a visit is for, without its hour."""
        rain = event.kind == RAIN_COVER
        return self.say("event.rain-cover.title") if rain else event.work or event.title

    def _is_visit(self, task: Task) -> bool:
        """Return whether the crew comes back for a task, which it did not do before it left.

        A cover that is due stays on the sheet until the rain is there, as long as anybody may be at the slab.
        """
        finished = self.schedule.finishing_ends
        to_cover = task.kind == RAIN_COVER and (task.start > finished or is_begun(self.schedule, task))
        is_later = task.kind == SURFACE and is_return(self.schedule, task) and self._is_bridged
        return task.kind not in DAY_KINDS or to_cover or is_later

    def _event_hours(self, event: CareEvent, *, is_on: bool) -> str:
        """Return the hour of an event; both for joints, which must not be cut too late."""
        if not isinstance(event.start, datetime) or not isinstance(event.end, datetime):
            return self.speak.short_day(event.start)
        if is_on and event.kind == LOOK_JOINTS:
            return self.say("crew.now")
        if not self.schedule.is_ahead(event.end) or (is_on and event.kind in ON_FROM_NOW):
            return self.say("sheet.crew-now")
        if event.kind in {Kind.SAW_JOINTS, RAIN_COVER} and not self.schedule.is_ahead(event.start):
            return self.say("crew.now-until", last=self._from_today(event.end))
        if event.kind in SPANS:
            return self._span(event.start, event.end, with_day=True)
        return self._moment(event.start, with_day=True)

    def _owner(self) -> Iterator[CrewRow]:
        """Yield what the owner reads, as the care sheet prints it: the first job, then dates by time."""
        care = CareSheet(self.wording, {})
        if (part := care.ongoing) is not None:
            yield CrewRow(part.when, f"{part.eyebrow}: {part.heading}", rank=2)
        elif (first := care.first) is not None:
            eyebrow = self.say("sheet.first-job" if care.wet else "sheet.first-done")
            when = care.first_when.text if care.first_when else first.when_text
            yield CrewRow(when, f"{eyebrow}: {first.title}.", rank=2)
        dates = [each for each in self.wording.dates.milestones if each.kind in OWNER_DATES]
        for date in sorted(dates, key=lambda each: each.when.instant.timestamp() if each.when else inf):
            no_step = self.wording.dates.no_step(date.kind)
            yield CrewRow(care.when(date), f"{date.title}.", no_step, rank=2, detail_rank=3)
        for each in self.wording.dates.withheld:
            if each.kind in OWNER_DATES:
                yield CrewRow(each.when, f"{each.title}.", each.sentence, rank=2, detail_rank=6)
        yield from self._calls()

    def _calls(self) -> Iterator[CrewRow]:
        """Yield what the owner is told to call about, and what the crew has ready then."""
        say, warnings = self.say, self.wording.warnings
        if (cold := warnings.cold_to_call_at) is not None:
            when = say("crew.call-cold.when", until=cold[1].short)
            yield CrewRow(when, warnings.cold_call_title, say("crew.call-cold.text"), rank=3, detail_rank=4)
        cured = self.schedule.milestone(Kind.CURING_ENDS)
        ends = None if cured is None else cured.not_before
        is_coated = self.schedule.cure_mode == "coat" and self.job.slab.gets_rain
        if is_coated and (ends is None or self.schedule.is_ahead(ends)):
            title = say("crew.call-rain.title", hours=self.speak.length(DRYING))
            yield CrewRow(
                say("crew.call-rain.when"), title, say("crew.call-rain.text"), rank=3, detail_rank=4
            )

    @property
    def _changes_heading(self) -> str:
        return self.say("change.heading", n=self.schedule.revision - 1)

    def _changes(self) -> Iterator[CrewRow]:
        """Yield the changes since the previous issue; where room is short, the most important stay."""
        few = foremost_changes(self.wording, MAX_CHANGES)
        for each in change_sentences(self.wording):
            yield CrewRow("", each, rank=3 if each in few else 8)

    # ---- one page

    @cached_property
    def _cut(self) -> tuple[tuple[CrewSection, ...], int]:
        """Return the sections as far as they fit on the page, and how many lines are left out."""
        parts = sorted(
            (rank, place, row, detail)
            for place, section in enumerate(self.whole)
            for row, each in enumerate(section.rows)
            for rank, detail in ((each.rank, False), (max(each.rank, each.detail_rank), True))
            if not detail or each.detail
        )
        room = self.page.height - self._head_height
        kept = self._fill(parts, room)
        if len(kept) < len(parts):
            kept = self._fill(parts, room - LINE)  # of the line that says so
        return self._keep(kept), len(parts) - len(kept)

    def _fill(self, parts: list[tuple[int, int, int, bool]], room: float) -> set[tuple[int, int, bool]]:
        """Return the parts that fit, the most urgent first.

        A detail that does not fit is left out alone. After a line that does not fit no less urgent line
        stays, but the details of those that do.
        """
        kept: set[tuple[int, int, bool]] = set()
        least_urgent: float = inf
        for rank, place, row, detail in parts:
            if (place, row, False) not in kept if detail else rank > least_urgent:
                continue
            height = self._height(kept, place, row, detail=detail)
            if height <= room:
                room -= height
                kept.add((place, row, detail))
            elif not detail:
                least_urgent = rank
        return kept

    def _lines_of(self, *runs: Run, width: float, size: float = TYPE) -> int:
        return count_lines(runs, width, size, self.wording.templates)

    @cached_property
    def _head_height(self) -> float:
        """Return the height of what is above the sections, in pt."""
        site = self.job.site
        name = TITLE * 1.1 * self._lines_of((site.name, BOLD), width=self.page.width, size=TITLE)
        texts = filter(None, (site.address, self.pour_and_client))
        lines = LINE * sum(self._lines_of((each, REGULAR), width=self.page.width) for each in texts)
        load = self._lines_of((self.load, BOLD), width=self.page.load, size=LOAD_TYPE) if self.load else 0
        loaded = load * LOAD_TYPE * 1.32 + LOAD_SPACE if load else 0.0
        return HEAD_SPACE + name + lines + loaded

    def _height(self, kept: set[tuple[int, int, bool]], place: int, row: int, *, detail: bool) -> float:
        """Return what a part adds to those that are kept, in pt."""
        each = self.whole[place].rows[row]
        bare = self._row_height(each, with_detail=False)
        if detail:
            return self._row_height(each, with_detail=True) - bare
        heading = 0.0 if any(one == place for one, *_ in kept) else HEADING_HEIGHT
        return bare + heading

    def _row_height(self, row: CrewRow, *, with_detail: bool) -> float:
        """Return the height of a row, in pt; what is bold where its detail is beside it."""
        runs = [(row.what, BOLD), (row.detail, REGULAR)] if with_detail else [(row.what, REGULAR)]
        hours = self._lines_of((row.when, BOLD), width=self.page.hours) if row.when else 0
        return max(self._lines_of(*runs, width=self.page.text), hours) * LINE + ROW_SPACE

    def _keep(self, kept: set[tuple[int, int, bool]]) -> tuple[CrewSection, ...]:
        sections = []
        for place, rows in groupby(sorted(kept), key=lambda part: part[0]):
            whole = self.whole[place]
            numbers = [row for _, row, detail in rows if not detail]
            sections.append(
                replace(
                    whole,
                    rows=tuple(
                        whole.rows[row] if (place, row, True) in kept else replace(whole.rows[row], detail="")
                        for row in numbers
                    ),
                )
            )
        return tuple(sections)

    @property
    def sections(self) -> tuple[CrewSection, ...]:
        """Return the sections as far as they fit on the page."""
        return self._cut[0]

    @property
    def left_out(self) -> str:
        """Return how much is left out, and whether that is how to do it alone; empty if all of it fits."""
        sections, count = self._cut
        if not count:
            return ""
        whole, kept = (sum(len(each.rows) for each in part) for part in (self.whole, sections))
        return self.say("crew.left-out" if kept < whole else "crew.left-out-details", n=count)

    # ---- hours

    def _local(self, when: datetime) -> datetime:
        return when.astimezone(self.zone)

    def _is_pour_day(self, when: datetime) -> bool:
        return self._local(when).date() == self._local(self.schedule.placement_start).date()

    def _moment(self, when: datetime, *, with_day: bool = False) -> str:
        """Return an hour; with its day if that is not the day of the pour."""
        local = self._local(when)
        if self._is_pour_day(when) and not with_day:
            return self.speak.short_hour(local)
        return self.speak.moment(local).short

    def _from_today(self, when: datetime) -> str:
        """Return an hour of the day of issue; with its day if that is another."""
        local = self._local(when)
        is_today = local.date() == self._local(self.schedule.issued_at).date()
        return self.speak.short_hour(local) if is_today else self._moment(when)

    def _span(self, start: datetime, end: datetime, *, with_day: bool = False) -> str:
        """Return the hours from start to end; with their days if these are not the day of the pour."""
        first, last = self._local(start), self._local(end)
        if first.date() != last.date():
            values = {"start": self.speak.moment(first).short, "end": self.speak.moment(last).short}
            return self.say("calendar-words.short-span", **values)
        hours = self.speak.short_span(first, last)
        if self._is_pour_day(start) and not with_day:
            return hours
        return self.say("calendar-words.short-moment", day=self.speak.short_day(first), hour=hours)


SOON = 8
"""Number of visits that are most urgent."""


def _sentence(line: str) -> str:
    """Return a line of a list as a sentence, to be followed by others."""
    text = line.removeprefix("- ").strip()
    return text if text.endswith((".", ":", "?", "!")) else f"{text}."
