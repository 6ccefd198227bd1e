"""The events of the calendars: one entry for each task or allowed use, with its times."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.practice.rules import general_rules
from handover.schedule.cover_times import (
    COVERING,
    STRIPPING,
    is_covered_between_waterings,
    is_hose_by_crew,
    is_walkable,
    may_water_freeze,
    pipes_by,
    walk_through,
)
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import SLEEPING_HOUR, evening_of, warmest_up
from handover.schedule.salt_season import first_cold, has_salt_season
from handover.schedule.timer import LOOKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords
    from handover.schedule.cover_times import FrostCover

Audience = Literal["owner", "crew"]
EventLook = Literal["water", "may", "protect", "work"]

EVENT_LENGTH = general_rules().duration("visit.permission")
"""Length of an event that has only a beginning: from then on something is allowed."""

SAWING = general_rules().duration("visit.sawing")
RUBBING = general_rules().duration("visit.rubbing")
"""Time in the calendar for each kind of work."""

EARLIEST_START = general_rules().clock_time("start.earliest")
"""Before this hour a crew works at night."""

PERMISSIONS = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.CURING_ENDS,
)
"""Printed with the hour."""

DISTANT = (MilestoneKind.SEAL, MilestoneKind.HEATING, MilestoneKind.FLOOR_COVERING)
"""Printed with the day only."""


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
    """

    audience: Audience
    kind: str
    occasion: str
    start: datetime | date
    end: datetime | date
    title: str
    description: str
    look: EventLook
    work: str = ""


@lru_cache(maxsize=4)  # sheet, page and calendar use the same events
def owner_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return the owner's events, in order of time; none for a date past the estimate."""
    return _EventBuilder(words).of_owner()


def crew_work(words: Wording) -> tuple[CareEvent, ...]:
    """Return the crew's events as `crew_events`, for a list of one site: their titles do not name it."""
    return _EventBuilder(words).of_crew()


def next_timer_task(words: Wording) -> tuple[CareEvent, datetime] | None:
    """Return what the owner does next about a timer, and when, in the zone of the site.

    None without a timer, or when all of it is over.
    """
    if not words.visits.by_timer:
        return None
    zone = ZoneInfo(words.schedule.timezone)
    tasks = ((each, each.start) for each in owner_events(words) if each.kind == "watering")
    return next(
        (
            (event, start.astimezone(zone))
            for event, start in tasks
            if isinstance(start, datetime) and words.schedule.is_ahead(start + LOOKING)
        ),
        None,
    )


def cover_occasion(start: datetime, zone: ZoneInfo) -> str:
    """Return what tells the events of one cover from those of another: the hour at which it is laid."""
    return f"{start.astimezone(zone):%Y-%m-%d %H}"


def crew_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return the crew's events, in order of time; none for a date past the estimate."""
    builder = _EventBuilder(words)
    return tuple(map(builder.at_site, builder.of_crew()))


class _EventBuilder:
    """The events of one schedule. Instants are in UTC, where sums are right across a clock change."""

    def __init__(self, words: Wording) -> None:
        self.job = words.job
        self.schedule = words.schedule
        self.wording = words
        self.words = words.events
        self.zone = ZoneInfo(self.schedule.timezone)
        self.covers = words.visits.covers

    def of_owner(self) -> tuple[CareEvent, ...]:
        return self._in_order(
            [
                *self._waterings(),
                *self._permissions(),
                *self._distant(),
                *self._no_salt(),
                *self._covers("owner"),
            ]
        )

    def of_crew(self) -> tuple[CareEvent, ...]:
        return self._in_order(
            [
                *self._rain_covers(),
                *self._surface(),
                *self._hose(),
                *self._pipes(),
                *self._sawing(),
                *self._undated_sawing(),
                *self._edges(),
                *self._walkthrough(),
                *self._covers("crew"),
                *self._blankets(),
                *self._covers_off(),
            ]
        )

    # ---- the owner's

    def _waterings(self) -> Iterator[CareEvent]:
        if self.wording.visits.by_timer:
            yield from self._timer()
            return
        for day in self.wording.watering:
            for number, visit in enumerate(sorted(day.visits, key=lambda each: _utc(each.start)), 1):
                start, end, text = _utc(visit.start), _utc(visit.end), self.words.visit_text(visit)
                if any(each.off is None and each.end == visit.start for each in self.covers):
                    text = f"{self.wording.say('watering.cover-off')}\n{text}"
                occasion = f"{day.date} {number}"
                yield CareEvent("owner", "watering", occasion, start, end, visit.title, text, "water")

    def _timer(self) -> Iterator[CareEvent]:
        """Set the timer once, where the crew does not; then look at the slab, once a day at most."""
        tasks = self.wording.visits.timer
        looks, watched = tasks.looks, tasks.watched
        if tasks.set_by is not None and watched is not None:
            yield self._of_timer("set-timer", tasks.set_by, self.wording.visits.visit(watched).action)
        elif tasks.set_by is not None:
            yield self._of_timer("set-timer-ahead", tasks.set_by)
        elif looks:
            cover = self.wording.visits.uncover(watched) if watched is not None else ""
            yield self._of_timer("first-run", looks[0], *filter(None, [cover]))
            looks = looks[1:]
        for look in looks:
            yield self._of_timer("look-timer", look)

    def _of_timer(self, code: str, when: datetime, *lines: str) -> CareEvent:
        work, text = self.words.event(code, program=self.wording.visits.program)
        text = self._with_caller("\n".join((*lines, text)))
        start, day, set_by = _utc(when), when.astimezone(self.zone).date(), self.wording.visits.timer.set_by
        is_second = code == "look-timer" and set_by is not None and set_by.date() == day
        title, end, occasion = self._at_hour(work, start), start + LOOKING, f"{day} {1 + is_second}"
        return CareEvent("owner", "watering", occasion, start, end, title, text, "water", work)

    def _permissions(self) -> Iterator[CareEvent]:
        shown = self.wording.dates.owner_kinds
        for words, start in self._dates_in_words(kind for kind in PERMISSIONS if kind in shown):
            title, text = self._from(words, start), self.words.owner_text(words)
            yield CareEvent("owner", words.kind, "", start, start + EVENT_LENGTH, title, text, "may")

    def _distant(self) -> Iterator[CareEvent]:
        for words, when in self._dates_in_words(DISTANT):
            text = self.words.owner_text(words)
            yield self._all_day_event("owner", words.kind, when, words.title, text, "may")

    def _no_salt(self) -> Iterator[CareEvent]:
        """A reminder, when the cold begins, that salt must stay off: for some time, or for good."""
        if not has_salt_season(self.job.site):
            return
        cold = _utc(first_cold(self.schedule.placement_end.astimezone(self.zone), self.job.site.latitude))
        if any(each.kind == MilestoneKind.DEICING_SALT for each in self.wording.dates.withheld):
            title, text = self.words.event("never-salt")
            yield self._all_day_event("owner", "no-salt", cold, title, self._with_caller(text), "protect")
        for words, allowed in self._dates_in_words([MilestoneKind.DEICING_SALT]):
            if cold < allowed:
                when = words.when.text if words.when else ""
                title, text = self.words.event("no-salt", when=when)
                yield self._all_day_event("owner", "no-salt", cold, title, self._with_caller(text), "protect")

    # ---- the crew's

    def _surface(self) -> Iterator[CareEvent]:
        """Keep the finished surface damp until the first water, or spray the compound."""
        task = self.wording.surface.to_come
        if task is not None:
            start, end = _utc(task.start), _utc(task.end)
            yield self._work("surface", task.title, "\n".join(task.lines), start, max(end, start + COVERING))

    def _hose(self) -> Iterator[CareEvent]:
        """Lay the soaker hose before the first water, where the owner may not step on the slab by then."""
        if is_hose_by_crew(self.schedule):
            first = min(_utc(visit.start) for day in self.schedule.watering for visit in day.visits)
            start = self._before_night(first - COVERING)
            code = "lay-hose-timer" if self.wording.visits.by_timer else "lay-hose"
            loops, program = self.wording.hose_loops, self.wording.visits.program
            title, text = self.words.event(code, program=program, loops=loops)
            yield self._work("lay-hose", title, text, start, start + COVERING)

    def _before_night(self, start: datetime) -> datetime:
        """Return when work begins that must be done by an hour: not at night, but the evening before.

        That is not before the crew has finished the slab.
        """
        evening = evening_of(start.astimezone(self.zone))
        if evening is None:
            return start
        last = _utc(datetime.combine(evening, SLEEPING_HOUR, self.zone)) - COVERING
        return min(start, max(last, _utc(self.schedule.finished or self.schedule.placement_end)))

    def _pipes(self) -> Iterator[CareEvent]:
        """Leave no water in the heating pipes that may freeze, before the first frost."""
        by = pipes_by(self.schedule)
        if by is not None:
            title, text = self.words.event("pipes-frost")
            yield self._work("pipes-frost", title, text, _utc(by) - COVERING, _utc(by))

    def _rain_covers(self) -> Iterator[CareEvent]:
        """Cover the fresh slab before likely rain, once the pour has begun."""
        for number, rain in enumerate(self.wording.surface.rains, 1):
            start = max(_utc(rain.start) - COVERING, _utc(self.schedule.placement_start))
            end, title = max(_utc(rain.start), start + COVERING), self._at_hour(rain.title, start)
            yield CareEvent("crew", "rain-cover", str(number), start, end, title, rain.text, "protect")

    def _sawing(self) -> Iterator[CareEvent]:
        """Saw from the hour of the first trial cut to the last hour before it is too late."""
        for words, ready in self._dates_in_words([MilestoneKind.SAW_JOINTS]):
            end = _utc(words.last_cut) if words.last_cut else ready + SAWING
            start = _utc(words.trial.instant) if words.trial else ready
            end = end if start < end else start + SAWING
            text = self.words.crew_text(words)
            if self._is_under_blankets(start, end):
                text = f"{text}\n{self.wording.say('milestone.words.saw-under-cover')}"
            if self.job.slab.exposure != "indoors" and may_water_freeze(self.schedule, start, end):
                text = f"{text}\n{self.wording.say('milestone.words.saw-in-frost')}"
            yield self._work(words.kind, *self._over_pipes(words.crew_title, text), start, end)

    def _over_pipes(self, title: str, text: str) -> tuple[str, str]:
        """Return title and text of sawing; what is in the slab comes first."""
        if not self.job.slab.heated:
            return title, text
        say = self.wording.say
        return (
            say("milestone.words.saw-heated-title", title=title),
            f"{say('milestone.words.saw-over-pipes')}\n{text}",
        )

    def _is_under_blankets(self, start: datetime, end: datetime) -> bool:
        """Return whether blankets cover the slab in some of the hours from `start` to `end`."""
        if self.schedule.curing_method == "insulating blanket":
            return True
        return any(each.start < end and (each.end is None or start < _utc(each.end)) for each in self.covers)

    def _undated_sawing(self) -> Iterator[CareEvent]:
        """Try a cut where no hour could be computed: from final set on, or all day if that is not known."""
        saw = self.wording.dates.undated_saw
        if saw is None:
            return
        title, text = self._over_pipes(*self.words.event("saw-undated", why=saw.why, how=saw.how))
        kind = MilestoneKind.SAW_JOINTS
        if saw.start is not None:
            start = _utc(saw.start)
            yield self._work(kind, title, self._with_night(text, start), start, start + SAWING)
        else:
            day = max(self.schedule.placement_end, self.schedule.issued_at, key=_utc)
            yield self._all_day_event("crew", kind, day, title, text, "work")

    def _edges(self) -> Iterator[CareEvent]:
        """Strip the forms; then, where the walk-through left a defect, patch and rub the edges."""
        for words, start in self._dates_in_words([MilestoneKind.STRIP_EDGE_FORMS]):
            bare = start + STRIPPING
            text = "\n".join(filter(None, (self.words.crew_text(words), self._strip_under(start))))
            yield self._work(words.kind, words.crew_title, text, start, bare)
            if not any(each.ok is False for each in self.job.walkthrough):
                continue
            title, text = self.words.event("rub-edges")
            yield self._work("rub-edges", title, self.words.with_repairs(text), bare, bare + RUBBING)

    def _strip_under(self, start: datetime) -> str:
        """Return what becomes of the cover over an edge whose forms are stripped; empty without one."""
        ends, cover = self.schedule.milestone(MilestoneKind.CURING_ENDS), self.schedule.curing_method
        if self.schedule.between is not None and is_covered_between_waterings(self.schedule, start):
            cover = self.schedule.between.cover
        cures = ends is None or ends.not_before is None or start < _utc(ends.not_before)
        key = f"milestone.words.strip-under--{slug(cover)}"
        return self.wording.say(key) if cures and self.wording.reader.has(key) else ""

    def _walkthrough(self) -> Iterator[CareEvent]:
        """Meet the owner about open items: when curing ends, or earlier where that is weeks ahead."""
        when = walk_through(self.schedule)
        if when is not None:
            title, text = self.words.walkthrough()
            yield self._all_day_event("crew", "walk-through", when, title, text, "work")

    def _blankets(self) -> Iterator[CareEvent]:
        """Lay the blankets that cure the slab, and lift them when cold protection ends."""
        if self.schedule.curing_method != "insulating blanket":
            return
        if self.schedule.blankets_on is not None:
            start, (title, text) = _utc(self.schedule.blankets_on), self.wording.warnings.blankets_on
            yield self._work("blankets-on", title, self._with_night(text, start), start, start + COVERING)
        yield from self._lifting(MilestoneKind.PROTECTION_ENDS, "")

    def _covers_off(self) -> Iterator[CareEvent]:
        """Lift the covers that the crew laid; where people may walk by the next watering, the owner does."""
        for each in self.covers:
            if not each.by_crew or each.end is None:
                continue
            occasion = cover_occasion(each.start, self.zone)
            if each.off is not None:
                yield from self._lifting(each.off, occasion)
            elif not is_walkable(self.schedule, each.end):
                when = self.wording.visits.cover_end(each)
                title, text = self.words.event("cover-off", when=when)
                start = _utc(each.end) - COVERING
                yield self._work("blankets-off", title, text, start, start + COVERING, occasion)

    def _lifting(self, off: MilestoneKind, occasion: str) -> Iterator[CareEvent]:
        for words, printed in self._dates_in_words([off]):
            exact = words.when is not None and words.when.exact
            start = printed if exact else _utc(warmest_up(printed.astimezone(self.zone)))
            title, text = self.words.event("blankets-off", when=words.when_text)
            yield self._work("blankets-off", title, text, start, start + COVERING, occasion)

    # ---- both

    def _covers(self, audience: Audience) -> Iterator[CareEvent]:
        """Cover the slab before it may freeze, once for each span of a cover."""
        for each in self.covers:
            if each.frosts and (audience == "owner" or each.by_crew):
                yield self._frost_cover(audience, each)
            elif not each.frosts and (audience == "crew") == each.by_crew:
                yield self._cover_in_place_of_water(audience, each)

    def _frost_cover(self, audience: Audience, cover: FrostCover) -> CareEvent:
        first, last = (
            self.wording.speak.moment(when.astimezone(self.zone)).text
            for when in (cover.frosts[0].start, cover.frosts[-1].end)
        )
        code = "frost-cover-by-crew" if audience == "owner" and cover.by_crew else f"frost-cover-{audience}"
        title, text = self.words.event(code, self.schedule.curing_method, start=first, end=last)
        box, start = self.wording.visits.cover, cover.start
        if box is not None and audience == "owner" and _utc(box.start) == start:
            title = box.title  # as on the first page
        text = f"{text}\n{self._until(cover)}"
        text = self._with_caller(text) if audience == "owner" else self._with_night(text, start)
        occasion = cover_occasion(start, self.zone)
        return CareEvent(
            audience,
            "frost-cover",
            occasion,
            start,
            start + COVERING,
            self._at_hour(title, start),
            text,
            "protect",
            title,
        )

    def _cover_in_place_of_water(self, audience: Audience, cover: FrostCover) -> CareEvent:
        """Cover the slab while watering has to wait: it is safe from frost by then, but the water is not."""
        start = cover.start
        text = f"{self.wording.visits.of_method('cover.text')}\n{self._until(cover)}"
        text = self._with_caller(text) if audience == "owner" else text
        occasion = cover_occasion(start, self.zone)
        work = self.wording.visits.of_method("cover.title")
        title, end = self._at_hour(work, start), start + COVERING
        return CareEvent(audience, "cover-not-water", occasion, start, end, title, text, "protect", work)

    def _until(self, cover: FrostCover) -> str:
        return self.wording.say("cover.stays", until=self.wording.visits.cover_end(cover))

    # ---- when

    def _dates_in_words(self, kinds: Iterable[MilestoneKind]) -> Iterator[tuple[MilestoneWords, datetime]]:
        """Yield each date of these kinds with its printed instant; none past the estimate."""
        for words in map(self.wording.dates.milestone, filter(None, map(self.schedule.milestone, kinds))):
            if words.when is not None:
                yield words, _utc(words.when.instant)

    def _in_order(self, events: Iterable[CareEvent]) -> tuple[CareEvent, ...]:
        """Return events in order of time."""

        def place(event: CareEvent) -> tuple[datetime, str, str]:
            start = event.start
            if not isinstance(start, datetime):
                start = datetime.combine(start, time(), self.zone)
            return _utc(start), event.kind, event.occasion

        return tuple(sorted(events, key=place))

    # ---- how

    def _at_hour(self, title: str, start: datetime, pattern: str = "calendar.reminder") -> str:
        """Return a title with the hour in it, because not every phone shows the hour."""
        return self.wording.say(
            pattern, title=title, hour=self.wording.speak.hour(start.astimezone(self.zone))
        )

    def _with_night(self, text: str, start: datetime) -> str:
        """Return the text of the crew's work; work at night is called so, by the day of its evening."""
        local = start.astimezone(self.zone)
        evening = evening_of(local)
        if evening is None or EARLIEST_START <= local.time() < SLEEPING_HOUR:
            return text
        night = self.wording.say("milestone.words.night", day=self.wording.speak.weekday(evening))
        return f"{capitalise(night)}.\n{text}"

    def _from(self, words: MilestoneWords, start: datetime) -> str:
        """Return the title of an allowed use; with its week or half month where it is known no better."""
        if words.when is not None and not words.when.hour:
            return self.wording.say("calendar.from", title=words.title, hour=words.when.text)
        return self._at_hour(words.title, start, "calendar.from")

    def _with_caller(self, text: str) -> str:
        return f"{text}\n{self.words.caller}"

    def _work(
        self, kind: str, title: str, text: str, start: datetime, end: datetime, occasion: str = ""
    ) -> CareEvent:
        """Return an event of the crew's work."""
        at_hour = self._at_hour(title, start)
        return CareEvent("crew", kind, occasion, start, end, at_hour, text, "work", title)

    def at_site(self, event: CareEvent) -> CareEvent:
        """Return an event of the crew with its site in the title: a crew has several jobs in one calendar."""
        title = self.wording.say("calendar.at-site", title=event.title, site=self.job.site.name)
        return replace(event, title=title)

    def _all_day_event(
        self, audience: Audience, kind: str, when: datetime, title: str, text: str, look: EventLook
    ) -> CareEvent:
        """Return an all-day event on the local day of an instant. In a calendar it ends on the next day."""
        day = when.astimezone(self.zone).date()
        return CareEvent(audience, kind, "", day, day + timedelta(days=1), title, text, look)


def _utc(when: datetime) -> datetime:
    return when.astimezone(UTC)
