"""What is to be done and from when, one entry for each moment of action: what the calendars are made from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from handover.documents.words.events import EventWords
from handover.practice.rules import general_rules
from handover.schedule.cover_times import COVERING, frost_covers
from handover.schedule.model import MilestoneKind
from handover.schedule.salt_season import first_cold

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.documents.wording import Wording
    from handover.schedule.model import Milestone

Audience = Literal["owner", "crew"]
EventLook = Literal["water", "may", "protect", "work"]

EVENT_LENGTH = general_rules().duration("visit.permission")
"""Length of what has a beginning only: from here on you may."""

SAWING = general_rules().duration("visit.sawing")
STRIPPING = general_rules().duration("visit.stripping")
RUBBING = general_rules().duration("visit.rubbing")
"""What a calendar sets aside for each piece of work."""

PERMISSIONS = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_WORK,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.CURING_ENDS,
)
"""Told to the hour."""

DISTANT = (MilestoneKind.SEAL, MilestoneKind.FLOOR_COVERING)
"""Told to the day."""


@dataclass(frozen=True)
class CareEvent:
    """One entry of a calendar.

    Attributes:
        audience: Whose calendar.
        kind: What it is about; with `occasion`, what makes it the same event in every revision.
        occasion: Which of its kind, "2026-07-15 1"; empty for what happens once.
        start: UTC, or a date for a whole day.
        end: After `start`; for a whole day the day after.
        words: Title and description.
        look: How it shows.
    """

    audience: Audience
    kind: str
    occasion: str
    start: datetime | date
    end: datetime | date
    words: EventWords
    look: EventLook


@lru_cache(maxsize=4)  # sheet, page and calendar ask for the same events
def owner_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return what the owner is to do or may do, in order of time; nothing for a date past the estimate."""
    return _EventBuilder(words).of_owner()


def crew_events(words: Wording) -> tuple[CareEvent, ...]:
    """Return what the crew comes back for, in order of time; nothing for a date past the estimate."""
    return _EventBuilder(words).of_crew()


class _EventBuilder:
    """The events of one schedule. Instants are in UTC, where sums hold across a clock change."""

    def __init__(self, words: Wording) -> None:
        self.job = words.job
        self.schedule = words.schedule
        self.wording = words
        self.zone = ZoneInfo(self.schedule.timezone)
        self.covers = frost_covers(self.schedule)

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
                *self._sawing(),
                *self._edges(),
                *self._walkthrough(),
                *self._covers("crew"),
                *self._blankets_off(),
            ]
        )

    # ---- the owner's

    def _waterings(self) -> Iterator[CareEvent]:
        for day in self.schedule.watering:
            for number, visit in enumerate(sorted(day.visits, key=lambda each: _utc(each.start)), 1):
                start, end = _utc(visit.start), _utc(visit.end)
                words = self.wording.events.visit_event(visit)
                yield CareEvent("owner", "watering", f"{day.date} {number}", start, end, words, "water")

    def _permissions(self) -> Iterator[CareEvent]:
        for milestone, start in self._dates_in_words(PERMISSIONS):
            words = self._with_hour(self.wording.events.owner_event(milestone), start, "calendar.from")
            yield CareEvent("owner", milestone.kind, "", start, start + EVENT_LENGTH, words, "may")

    def _distant(self) -> Iterator[CareEvent]:
        for milestone, when in self._dates_in_words(DISTANT):
            yield self._all_day_event(
                "owner", milestone.kind, when, self.wording.events.owner_event(milestone), "may"
            )

    def _no_salt(self) -> Iterator[CareEvent]:
        """Remind of the salt that must stay off, when the first cold comes."""
        for _, allowed in self._dates_in_words([MilestoneKind.DEICING_SALT]):
            cold = _utc(first_cold(self.schedule.placement_end.astimezone(self.zone), self.job.site.latitude))
            if cold < allowed:
                when = self.wording.speak.day(allowed.astimezone(self.zone), year=True)
                words = self._with_caller(self.wording.events.event("no-salt", when=when))
                yield self._all_day_event("owner", "no-salt", cold, words, "protect")

    # ---- the crew's

    def _sawing(self) -> Iterator[CareEvent]:
        """Saw from the first hour that does not ravel to the last before the slab cracks by itself.

        Where the part placed first is too late before the last is ready, the work ends with that last hour.
        """
        for milestone, ready in self._dates_in_words([MilestoneKind.SAW_JOINTS]):
            instructions = self.wording.dates.milestone(milestone)
            end = _utc(instructions.not_after.instant) if instructions.not_after else ready + SAWING
            start = end - SAWING if instructions.in_stages else ready
            words = self._with_hour(self.wording.events.crew_event(milestone), start)
            yield CareEvent("crew", milestone.kind, "", start, end, words, "work")

    def _edges(self) -> Iterator[CareEvent]:
        """Strip the forms, then rub the edges while they are green, and mend what was promised."""
        for milestone, start in self._dates_in_words([MilestoneKind.STRIP_EDGE_FORMS]):
            bare = start + STRIPPING
            words = self._with_hour(self.wording.events.crew_event(milestone), start)
            yield CareEvent("crew", milestone.kind, "", start, bare, words, "work")
            words = self._with_hour(
                self.wording.events.with_repairs(self.wording.events.event("rub-edges")), bare
            )
            yield CareEvent("crew", "rub-edges", "", bare, bare + RUBBING, words, "work")

    def _walkthrough(self) -> Iterator[CareEvent]:
        """Meet the owner on the day the curing ends, over what was left open."""
        for _, ended in self._dates_in_words([MilestoneKind.CURING_ENDS]):
            words = self.wording.events.walkthrough_event()
            yield self._all_day_event("crew", "walk-through", ended, words, "work")

    def _blankets_off(self) -> Iterator[CareEvent]:
        """Lift the blankets when the slab stands frost; where they keep it covered to cure, not before."""
        kinds = [MilestoneKind.FROST_SAFE] if self.covers else []
        for milestone, start in self._dates_in_words(
            [MilestoneKind.CURING_ENDS] if self.schedule.stays_covered else kinds
        ):
            when = self.wording.dates.milestone(milestone).when_text
            words = self._with_hour(self.wording.events.event("blankets-off", when=when), start)
            yield CareEvent("crew", "blankets-off", "", start, start + COVERING, words, "work")

    # ---- both

    def _covers(self, audience: Audience) -> Iterator[CareEvent]:
        """Cover the slab before it may freeze, once for all frosts of a night."""
        yield from self._cover_job(audience)
        for each in self.covers:
            start = each.start
            first = each.frosts[0].start.astimezone(self.zone)
            last = each.frosts[-1].end.astimezone(self.zone)
            occasion = f"{start.astimezone(self.zone):%Y-%m-%d %H}"
            jobs = {
                "start": self.wording.speak.moment(first).text,
                "end": self.wording.speak.moment(last).text,
            }
            words = self.wording.events.event(f"frost-cover-{audience}", **jobs)
            if (cover := self.wording.visits.cover) and audience == "owner" and _utc(cover.start) == start:
                description = f"{words.description}\n{cover.title}: {cover.when}."
                words = replace(words, title=cover.title, description=description)
            words = self._with_hour(self._with_caller(words) if audience == "owner" else words, start)
            yield CareEvent(audience, "frost-cover", occasion, start, start + COVERING, words, "protect")

    def _cover_job(self, audience: Audience) -> Iterator[CareEvent]:
        """Cover the slab where watering has to wait, unless a frost of that hour says so already."""
        cover = self.wording.visits.cover
        if cover is None or audience != "owner":
            return
        start = _utc(cover.start)
        if any(each.start == start for each in self.covers):
            return
        words = self._with_hour(
            EventWords(cover.title, f"{cover.when}.\n{cover.sentence}\n{self.wording.events.caller}"), start
        )
        yield CareEvent("owner", "cover-not-water", "", start, start + COVERING, words, "protect")

    # ---- when

    def _dates_in_words(self, kinds: Iterable[MilestoneKind]) -> Iterator[tuple[Milestone, datetime]]:
        """Give each date of these kinds with the instant that the reader is told; none past the estimate."""
        for milestone in filter(None, map(self.schedule.milestone, kinds)):
            when = self.wording.dates.milestone(milestone).when
            if when is not None:
                yield milestone, _utc(when.instant)

    def _in_order(self, events: Iterable[CareEvent]) -> tuple[CareEvent, ...]:
        """Return events in order of time, whatever the order of the schedule."""

        def place(event: CareEvent) -> tuple[datetime, str, str]:
            start = event.start
            if not isinstance(start, datetime):
                start = datetime.combine(start, time(), self.zone)
            return _utc(start), event.kind, event.occasion

        return tuple(sorted(events, key=place))

    # ---- how

    def _with_hour(
        self, words: EventWords, start: datetime, pattern: str = "calendar.reminder"
    ) -> EventWords:
        """Return the words with the hour in the title, for not every phone shows it there, or rings."""
        hour = self.wording.speak.hour(start.astimezone(self.zone))
        return replace(words, title=self.wording.say(pattern, title=words.title, hour=hour))

    def _with_caller(self, words: EventWords) -> EventWords:
        return replace(words, description=f"{words.description}\n{self.wording.events.caller}")

    def _all_day_event(
        self, audience: Audience, kind: str, when: datetime, words: EventWords, look: EventLook
    ) -> CareEvent:
        """Return an event of the local day of an instant. In a calendar it ends on the day after."""
        day = when.astimezone(self.zone).date()
        return CareEvent(audience, kind, "", day, day + timedelta(days=1), words, look)


def _utc(when: datetime) -> datetime:
    return when.astimezone(UTC)
