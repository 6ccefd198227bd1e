"""The events of the calendars: each task of the schedule in words.

What is to be done, and when, is in the task (`handover.schedule.tasks`); here are the words of each kind.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.documents.words.what_if import what_if
from handover.schedule.cover_times import (
    DRYING,
    is_sheet_drawn,
    is_walkable,
    sheet_after_blankets,
    soft_top_cover,
)
from handover.schedule.joints import saw_of
from handover.schedule.model import CONVENTIONAL, EARLY_ENTRY, PONDING, MilestoneKind, Party
from handover.schedule.printed_times import early_entry_hours, evening_of, is_sawn_within, saw_meets_water
from handover.schedule.tasks import (
    BENEATH_COVER,
    BLANKETS_OFF,
    BLANKETS_ON,
    BRING_BLANKETS,
    BRING_COVER,
    BUILD_RIM,
    COVER_NOT_WATER,
    DISTANT,
    FROST_COVER,
    IN_DOUBT,
    LAY_HOSE,
    LOOK_COAT,
    LOOK_JOINTS,
    NEXT,
    NO_SALT,
    OWNER_SETS,
    PERMISSIONS,
    PIPES_FROST,
    RAIN_COVER,
    RAIN_COVER_OFF,
    RAIN_DAY,
    RESPIRATOR,
    RUB_EDGES,
    SURFACE,
    UNDATED,
    WAIT,
    WALK_THROUGH,
    WATERING,
    from_issue_on,
    is_begun,
    is_held_clear,
    is_over,
    is_pond_filled_by,
    rain_on_coat,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords
    from handover.documents.words.watering import VisitWords
    from handover.schedule.model import Task

EventLook = Literal["water", "may", "protect", "work"]

CUT_DIGITS = 3
"""As many as the data sheet has for the same depth."""


@dataclass(frozen=True)
class CareEvent:
    """One entry of a calendar.

    Attributes:
        audience: Whose calendar.
        kind: The kind; with `occasion`, it identifies the event in every revision.
        occasion: Number within its kind, "2026-07-15 1"; empty for a single event.
        start: UTC, or a date for a whole day.
        end: After `start`; for a whole day the day after.
        title: Says the action, mostly with its hour.
        description: What to do, in lines.
        look: How it shows.
        work: The title without its hour, for a list that has the hours beside it; empty: the title has none.
        promise: What the owner's papers promise of the visit, besides its hours.
    """

    audience: Party
    kind: str
    occasion: str
    start: datetime | date
    end: datetime | date
    title: str
    description: str
    look: EventLook
    work: str = ""
    promise: str = ""


@lru_cache(maxsize=4)  # sheet, page and calendar use the same events
def owner_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return the owner's events, in order of time.

    A first issue leaves out what is over by then; a later one leaves the past as it was printed.
    """
    schedule = words.schedule
    events = map(_TaskWording(words).event, tasks := schedule.tasks_of("owner"))
    each_event = zip(tasks, events, strict=True)
    is_first = schedule.is_first_issue
    return tuple(event for task, event in each_event if not is_first or schedule.is_ahead(task.end))


def crew_work(words: Wording) -> tuple[CareEvent, ...]:
    """Return the crew's events as `crew_events`, for a list of one site: their titles do not name it."""
    return tuple(map(_TaskWording(words).event, words.schedule.tasks_of("crew")))


def crew_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return the crew's events, in order of time: the titles name the site, as a crew has several jobs."""
    site = words.job.site.name
    return tuple(
        replace(each, title=words.say("calendar.at-site", title=each.title, site=site))
        for each in crew_work(words)
    )


def event_of(words: Wording, task: Task) -> CareEvent:
    """Return a task as the event of its party's calendar, without the name of the site."""
    return _TaskWording(words).event(task)


@dataclass(frozen=True)
class _TaskWords:
    """A task in words: what to do, how, its look; and its title, if that is not the work with its hour."""

    work: str
    text: str
    look: EventLook = "work"
    title: str = ""
    promise: str = ""


class _TaskWording:
    """The tasks of one schedule in words."""

    def __init__(self, words: Wording) -> None:
        self.job = words.job
        self.schedule = words.schedule
        self.wording = words
        self.words = words.events
        self.zone = ZoneInfo(self.schedule.timezone)

    def event(self, task: Task) -> CareEvent:
        """Return a task as an event."""
        words = _WORDS[task.kind](self, task)
        if task.all_day:
            start, end, title, work = task.start.date(), task.end.date(), words.work, ""
        else:
            start, end = task.start.astimezone(UTC), task.end.astimezone(UTC)
            title, work = words.title or self._at_hour(words.work, task), "" if words.title else words.work
        return CareEvent(
            task.by, task.kind, task.occasion, start, end, title, words.text, words.look, work, words.promise
        )

    # ---- the owner's

    def watering(self, task: Task) -> _TaskWords:
        """Return one watering or look, or what the owner does about a timer."""
        if task.how:
            return self._timer(task)
        visit = self._visit(task)
        lines = [self.wording.say("watering.cover-off")] if "cover-off" in task.notes else []
        rain = filter(None, [self.wording.visits.rain_at(visit.start)])
        lines += [*self._saw(task), *rain, self.words.visit_text(visit, task)]
        return _TaskWords("", "\n".join(lines), "water", visit.title)

    def _timer(self, task: Task) -> _TaskWords:
        work, text = self.words.event(task.how, program=self.wording.visits.program)
        if task.how == "first-run" and is_walkable(self.schedule, task.start):
            text = self.wording.say("event.first-run.text-walk", program=self.wording.visits.program)
        lines = [text]
        if task.how == "set-timer":
            lines.insert(0, self._visit(task).action)
        elif "cover-off" in task.notes:
            lines.insert(0, self.wording.visits.uncover_at(task.start))
        lines = [*self._saw(task), *lines]
        return _TaskWords(work, self._with_closing("\n".join(filter(None, lines)), task), "water")

    def _saw(self, task: Task) -> Iterator[str]:
        """Yield who goes first where the crew saws in the hours of a watering, or of a run of a new timer."""
        meets = saw_meets_water(self.schedule) and task.how in OWNER_SETS
        if meets or is_sawn_within(self.schedule, task.start, task.end):
            yield self.wording.say("watering.saw")

    def _visit(self, task: Task) -> VisitWords:
        return self.wording.visits.visit_at(task.start)

    def permission(self, task: Task) -> _TaskWords:
        """Return a use that is allowed from then on; with its week or half month if it is known no better."""
        words = self._date(task.kind)
        when = words.when.text if words.when and not words.when.hour else self._hour(task)
        title = self.wording.say("calendar.from", title=words.title, hour=when)
        if task.kind == MilestoneKind.FOOT_TRAFFIC:
            words = replace(words, sentence=f"{words.sentence} {self.wording.dates.nails}".strip())
        return _TaskWords("", self.words.owner_text(words), "may", title)

    def distant(self, task: Task) -> _TaskWords:
        """Return a use that is known to the day."""
        words = self._date(task.kind)
        return _TaskWords(words.title, self.words.owner_text(words), "may")

    def no_salt(self, task: Task) -> _TaskWords:
        """Return that salt must stay off, until when or for good."""
        if task.how:
            title, text = self.words.event("never-salt")
        else:
            salt = self._date(MilestoneKind.DEICING_SALT)
            title, text = self.words.event("no-salt", when=salt.when.text if salt.when else "")
        return _TaskWords(title, self._with_closing(text, task), "protect")

    # ---- the crew's

    def surface(self, task: Task) -> _TaskWords:
        """Return what keeps the finished surface damp, covers it or coats it; whether its sheet lies."""
        words = self.wording.surface.in_hours
        if words and task.how == IN_DOUBT:
            owner = task.by == "owner"
            text = self._with_closing(words.owner, task) if owner else "\n".join(words.lines)
            return _TaskWords("", text, "protect", self.wording.say("surface.in-doubt.event"))
        return _TaskWords(words.title, "\n".join(words.lines)) if words else _TaskWords("", "")

    def rain_cover(self, task: Task) -> _TaskWords:
        """Return the cover of the fresh slab before rain."""
        rain = self.wording.surface.rains[int(task.occasion) - 1]
        return _TaskWords(rain.title, rain.text, "protect")

    def rain_cover_off(self, task: Task) -> _TaskWords:
        """Return how the plastic comes off that kept rain from the fresh slab."""
        title, text = self.words.event(task.kind)
        return _TaskWords(title, self._with_night(text, task), "protect")

    def look_at_coat(self, _: Task) -> _TaskWords:
        """Return the look at the compound after rain, with the hours of the rain."""
        rain = rain_on_coat(self.schedule)
        if rain is None:
            return _TaskWords("", "")
        speak = self.wording.speak
        start, end = (speak.moment(each.astimezone(self.zone)).text for each in (rain.start, rain.end))
        return _TaskWords(
            *self.words.event(LOOK_COAT, start=start, end=end, hours=speak.length(DRYING)), "protect"
        )

    def soaker_hose(self, task: Task) -> _TaskWords:
        """Return how the soaker hose is laid, and its timer is set."""
        code = "lay-hose-timer" if task.how else "lay-hose"
        loops, program = self.wording.hose_loops, self.wording.visits.program
        return _TaskWords(*self.words.event(code, program=program, loops=loops))

    def plain(self, task: Task) -> _TaskWords:
        """Return a task whose words are those of its kind."""
        return _TaskWords(*self.words.event(task.kind))

    def rim(self, task: Task) -> _TaskWords:
        """Return how the rim of a pond is built: before the crew leaves, later, or under a cover.

        It is built clear of the forms that come off later, so that nobody drains the pond to strip them.
        """
        title, text = self.words.event(task.kind)
        when = self.wording.say(f"event.build-rim.{task.how or 'at-once'}")
        stripping = self.schedule.tasks_of("crew", MilestoneKind.STRIP_EDGE_FORMS)
        has_forms = any(task.start <= each.start for each in stripping)
        where = self.wording.say("event.build-rim.inside-forms") if has_forms else ""
        return _TaskWords(title, " ".join(filter(None, (when, where, text))))

    def saw(self, task: Task) -> _TaskWords:
        """Return how the joints are sawn; what is in the slab comes first."""
        if task.how == UNDATED:
            title, text = self._undated_saw()
        else:
            words = self._date(task.kind)
            title, text = words.crew_title, self.words.crew_text(words)
        room = (self.wording.dates.saw_in_room,) if self.wording.dates.saw_in_room else ()
        water = self._water_meets(task)
        lines = [*self._respirator(task), *self._cut(), *water, text, *room, *self._at_joints(task)]
        text = "\n".join(lines)
        if "over-pipes" in task.notes:
            title = self.wording.say("milestone.words.saw-heated-title", title=title)
            text = f"{self._over_pipes}\n{text}"
        return _TaskWords(title, self._with_night(text, task))

    def _water_meets(self, task: Task) -> Iterator[str]:
        """Yield who yields where the owner waters in the hours of the saw: as the owner reads it."""
        visits = (each for day in self.schedule.watering for each in day.visits if each.litres)
        meets = (
            each.start.astimezone(self.zone)
            for each in visits
            if is_sawn_within(self.schedule, each.start, each.end)
            and self.schedule.is_ahead(each.end)
            and task.how != UNDATED
        )
        if (first := min(meets, default=None)) is not None:
            yield self.wording.say("milestone.words.saw-water", when=self.wording.speak.moment(first).text)

    def rain_day(self, task: Task) -> _TaskWords:
        """Return a day on which rain should water the slab, and what the owner does if it stays dry."""
        title, text = self.words.event(task.kind)
        return _TaskWords(title, self._with_closing(text, task), "protect")

    def joints_in_doubt(self, task: Task) -> _TaskWords:
        """Return the question whether the joints were cut, and how they are cut so late."""
        title, text = self.words.event(LOOK_JOINTS)
        lines = [text, *self._late_cut(), *self._respirator(task), *self._at_joints(task)]
        if "over-pipes" in task.notes:
            lines.insert(0, self._over_pipes)
        return _TaskWords("", "\n".join(lines), title=title)

    def _late_cut(self) -> Iterator[str]:
        """Yield how deep a late cut is: a shallow one draws no crack once the slab is hard."""
        if (joints := self.schedule.joints) is not None:
            depth = self.wording.quantities.measure(joints.depth_m, "thickness", CUT_DIGITS)
            yield self.wording.say(f"saw.cut-late{self._pipes}", depth=depth)

    @property
    def _pipes(self) -> str:
        """The end of the keys of the words for a slab with heating in it."""
        return "-pipes" if self.job.slab.heated else ""

    def _at_joints(self, task: Task) -> Iterator[str]:
        """Yield what else who cuts joints must do: with a cover, with a compound, in frost."""
        if BENEATH_COVER in task.notes:
            yield self.wording.say("milestone.words.saw-under-cover")
        if self._is_on_coat():
            yield self.wording.say("milestone.words.saw-coated")
        yield from what_if(self.wording.say, task)

    def _cut(self) -> Iterator[str]:
        """Yield which saw cuts, and how deep; then from when an early-entry saw may cut instead."""
        joints, say, speak = self.schedule.joints, self.wording.say, self.wording.speak
        if joints is None:
            return
        depths = {CONVENTIONAL: joints.depth_m, EARLY_ENTRY: joints.early_entry_depth_m}
        deep = {
            saw: self.wording.quantities.measure(depth, "thickness", CUT_DIGITS)
            for saw, depth in depths.items()
        }
        saw = saw_of(self.job)
        yield say(f"saw.cut-{saw}{self._pipes}", depth=deep[saw])
        if (hours := early_entry_hours(self.schedule)) is not None:
            opens, closes = (speak.moment(each.astimezone(self.zone)).text for each in hours)
            now = "" if self.schedule.is_ahead(hours[0]) else "-now"
            yield say(f"saw.or-early-entry{now}", opens=opens, closes=closes, depth=deep[EARLY_ENTRY])

    def _is_on_coat(self) -> bool:
        """Return whether the joints are cut through a compound that is on the slab by then."""
        surface = self.schedule.surface
        waits = surface is not None and surface.choices[:1] and surface.choices[0].how in WAIT
        return self.schedule.cure_mode == "coat" and not waits

    @property
    def _over_pipes(self) -> str:
        """Return what to mind over heating pipes; those under pressure hold no water that may freeze."""
        frost = ("-frost",) if self.schedule.has_caution("pipes-freeze") else ()
        return " ".join(self.wording.say(f"milestone.words.saw-over-pipes{each}") for each in ("", *frost))

    def _respirator(self, task: Task) -> Iterator[str]:
        """Yield the respirator without which nobody saws, where there is one."""
        joints = self.schedule.joints
        if RESPIRATOR in task.notes and joints is not None:
            factor = self.wording.quantities.fixed_decimals(joints.protection_factor, 0)
            yield self.wording.say("milestone.words.saw-respirator", factor=factor)

    def _undated_saw(self) -> tuple[str, str]:
        saw = self.wording.dates.undated_saw
        return self.words.event("saw-undated", why=saw.why, how=saw.how) if saw else ("", "")

    def strip(self, task: Task) -> _TaskWords:
        """Return the stripping of the forms, and what becomes of the cover over an edge."""
        words = self._date(task.kind)
        no_pond = task.cover == PONDING and not is_pond_filled_by(self.schedule, task.start)
        key = f"milestone.words.strip-under--{slug('' if no_pond else task.cover or '')}"
        under = self.wording.say(key) if self.wording.reader.has(key) else ""
        clear = self.wording.say("event.strip.clear")
        lines = filter(None, (self.words.crew_text(words), under, clear))
        return _TaskWords(words.crew_title, "\n".join(lines), promise=clear)

    def rub(self, task: Task) -> _TaskWords:
        """Return the repair of the edges, with the promised repairs."""
        title, text = self.words.event(task.kind, self.schedule.curing_method)
        return _TaskWords(title, self.words.with_repairs(text), promise=self.words.repairs)

    def walk_through(self, task: Task) -> _TaskWords:
        """Return the walk-through of crew and owner."""
        owner = task.by == "owner"
        title, text = self.words.walkthrough(task.by)
        promise = "" if owner else self._promised_walk()
        if not task.all_day:
            why = self.wording.say(f"event.walk-through.{task.how or 'uncovered'}", hour=self._hour(task))
            text = f"{why} {text}"
        text = self._with_closing(text, task) if owner else f"{promise}\n{text}"
        return _TaskWords(title, text, promise=promise)

    def _promised_walk(self) -> str:
        """Return what the owner is promised of it: a call, a stamped slab washed, repairs without hours."""
        stamps = ("stamps",) if self.schedule.has_caution("stamped") and not self.job.curing.seals else ()
        lines = [self.wording.say(f"event.walk-through.{each}") for each in ("hour-crew", *stamps)]
        rubs = any(not is_over(self.schedule, each) for each in self.schedule.tasks_of("crew", RUB_EDGES))
        return " ".join(filter(None, [*lines, "" if rubs else self.words.repairs]))

    def blankets_on(self, task: Task) -> _TaskWords:
        """Return how the blankets that cure the slab are laid."""
        title, text = self.wording.warnings.blankets_on
        leave = self.wording.say("event.blankets-on.leave")
        return _TaskWords(title, self._with_night(f"{text}\n{leave}", task), promise=leave)

    def blankets_off(self, task: Task) -> _TaskWords:
        """Return how a cover is lifted: for the next watering, or when its date has come."""
        if task.how:
            return _TaskWords(*self.words.event("cover-off", when=self.wording.speak.moment(task.end).text))
        title, text = self.words.event("blankets-off", when=self._date(task.because).when_text)
        after = "sheet" if sheet_after_blankets(self.schedule) else "after" if task.cover else None
        last = self.wording.say(f"event.blankets-off.{after}") if after else ""
        longer = self.wording.warnings.left_on("event.blankets-off.left-on")
        return _TaskWords(title, "\n".join(filter(None, (text, longer, last))), promise=longer)

    # ---- both

    def frost_cover(self, task: Task) -> _TaskWords:
        """Return the cover before a frost; where it is the owner's next job, titled as on the first page."""
        method, code = self._method_at(task), f"frost-cover-{task.how or task.by}"
        title, text = self.words.event(code, method, **self._frost(task))
        box = self.wording.visits.cover
        if box is not None and task.by == "owner" and NEXT in task.notes:
            title = box.title
        text = self._with_night(f"{text}\n{self._until(task)}", task)
        text = self._held_clear(text, task)
        if task.by == "crew" and (under := self.wording.surface.sheet_under(task.start)):
            text = f"{under}\n{text}"
        return _TaskWords(title, self._with_closing(text, task) if task.by == "owner" else text, "protect")

    def _method_at(self, task: Task) -> str:
        """Return the method of curing, for words about a cover; empty for a pond without water."""
        method = self.schedule.curing_method
        return "" if method == PONDING and not is_pond_filled_by(self.schedule, task.start) else method

    def _frost(self, task: Task) -> dict[str, str]:
        """Return from when to when the slab may freeze under a cover."""
        span = task.span
        found = {} if span is None else {"start": span.frost_start, "end": span.frost_end}
        return {name: self.wording.speak.moment(when).text for name, when in found.items() if when}

    def cover_not_water(self, task: Task) -> _TaskWords:
        """Return the cover while watering has to wait; the crew's, in the owner's calendar, as theirs."""
        by, of_method = ("-crew" if task.how else ""), self.wording.visits.of_method
        text = f"{self.wording.visits.cover_text(task.start, by)}\n{self._until(task)}"
        text = self._with_night(text, task)
        text = self._with_closing(text, task) if task.by == "owner" else self._held_clear(text, task)
        return _TaskWords(of_method(f"cover.title{by}"), text, "protect")

    def _held_clear(self, text: str, task: Task) -> str:
        """Return the text of a cover; one of the crew must not touch a slab that has not likely set."""
        if not is_held_clear(self.schedule, task):
            return text
        way: str = soft_top_cover(self.job)
        if way == "plastic" and is_sheet_drawn(self.schedule):
            way = "sheet"  # the words of the sheet say the rest
        return f"{text}\n{self.wording.say(f'cover.hold-clear-{way}')}"

    def _until(self, task: Task) -> str:
        visits = self.wording.visits
        stays = self.wording.say("cover.stays", until=visits.cover_end(task))
        source = visits.blanket_source(task) if task.by == "owner" else ""
        lifts = visits.lifts(task) if task.by == "owner" else ()
        return "\n".join(filter(None, (visits.under(task), source, stays, *lifts, visits.timer_off(task))))

    def bring_blankets(self, task: Task) -> _TaskWords:
        """Return which blankets the crew leaves with the owner, and by when."""
        first = next(each for each in self.schedule.tasks_of("owner", FROST_COVER, COVER_NOT_WATER))
        when = self.wording.speak.moment(first.start).text
        blanket = self.wording.visits.blanket_for_owner
        return _TaskWords(*self.words.event(task.kind, blanket=blanket, when=when), "protect")

    def bring_cover(self, task: Task) -> _TaskWords:
        """Return which cover the crew leaves with the owner for between waterings, and by when."""
        due = self.wording.speak.moment((task.until or task.end).astimezone(self.zone)).text
        return _TaskWords(*self.words.event(f"{task.kind}.{slug(task.cover or '')}", when=due), "protect")

    # ---- parts

    def _date(self, kind: str) -> MilestoneWords:
        return next(each for each in self.wording.dates.milestones if each.kind == kind)

    def _hour(self, task: Task) -> str:
        return self.wording.speak.hour(task.start)

    def _at_hour(self, title: str, task: Task) -> str:
        """Return a title with the hour in it, because not every phone shows the hour.

        What the crew is to have begun by the time of issue has no hour that is past: the saw has its last
        hour, and work on the surface that of its text.
        """
        speak, say, hour = self.wording.speak, self.wording.say, self._hour(task)
        if is_begun(self.schedule, task) and task.kind == MilestoneKind.SAW_JOINTS:
            return say("calendar.reminder-until", title=title, hour=speak.hour(task.end))
        if is_begun(self.schedule, task) and task.kind == SURFACE:
            hour = speak.hour(from_issue_on(self.schedule, task))
        return say("calendar.reminder", title=title, hour=hour)

    def _with_night(self, text: str, task: Task) -> str:
        """Return the text of the crew's work; work at night is called so, by the day of its evening."""
        evening = evening_of(task.start) if "night" in task.notes else None
        if evening is None:
            return text
        night = self.wording.say("milestone.words.night", day=self.wording.speak.weekday(evening))
        return f"{capitalise(night)}.\n{text}"

    def _with_closing(self, text: str, task: Task) -> str:
        return f"{text}\n{self.words.closing(task)}"


_WORDS: Mapping[str, Callable[[_TaskWording, Task], _TaskWords]] = {
    WATERING: _TaskWording.watering,
    RAIN_DAY: _TaskWording.rain_day,
    **dict.fromkeys(PERMISSIONS, _TaskWording.permission),
    **dict.fromkeys(DISTANT, _TaskWording.distant),
    NO_SALT: _TaskWording.no_salt,
    SURFACE: _TaskWording.surface,
    RAIN_COVER: _TaskWording.rain_cover,
    LOOK_COAT: _TaskWording.look_at_coat,
    LOOK_JOINTS: _TaskWording.joints_in_doubt,
    RAIN_COVER_OFF: _TaskWording.rain_cover_off,
    LAY_HOSE: _TaskWording.soaker_hose,
    BUILD_RIM: _TaskWording.rim,
    PIPES_FROST: _TaskWording.plain,
    MilestoneKind.SAW_JOINTS: _TaskWording.saw,
    MilestoneKind.STRIP_EDGE_FORMS: _TaskWording.strip,
    RUB_EDGES: _TaskWording.rub,
    WALK_THROUGH: _TaskWording.walk_through,
    BLANKETS_ON: _TaskWording.blankets_on,
    BLANKETS_OFF: _TaskWording.blankets_off,
    BRING_BLANKETS: _TaskWording.bring_blankets,
    BRING_COVER: _TaskWording.bring_cover,
    FROST_COVER: _TaskWording.frost_cover,
    COVER_NOT_WATER: _TaskWording.cover_not_water,
}
"""The words of each kind of task."""
