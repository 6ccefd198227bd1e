"""The events of the calendars in words: a title that says the action, and what to do, in lines."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from handover.documents.words.dates import DateWording, MilestoneWords
    from handover.documents.words.reader import Reader
    from handover.documents.words.watering import WateringWording
    from handover.jobs.record import JobRecord
    from handover.schedule.model import Milestone, Visit


@dataclass(frozen=True)
class EventWords:
    """What a calendar shows for one event."""

    title: str
    description: str


class EventWording:
    """Words the events of one schedule for one reader."""

    def __init__(self, reader: Reader, job: JobRecord, dates: DateWording, watering: WateringWording) -> None:
        self.job = job
        self.dates = dates
        self.watering = watering
        self.say = reader.say

    def owner_event(self, milestone: Milestone) -> EventWords:
        """Return the owner's calendar event for a date."""
        words = self.dates.milestone(milestone)
        lines = [words.when_text + ".", words.sentence, self.caller]
        return EventWords(words.title, "\n".join(lines))

    def crew_event(self, milestone: Milestone) -> EventWords:
        """Return the crew's calendar event for a date, with its reason."""
        words = self.dates.milestone(milestone)
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
        words = self.watering.visit(visit)
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
        words = self.event("walk-through")
        if not self.job.slab.is_jointed:
            words = EventWords(words.title, self.say("event.walk-through.text-unjointed"))
        return self.with_repairs(words)

    def with_repairs(self, words: EventWords) -> EventWords:
        """Return the words of a visit of the crew, with the repairs that it promised."""
        left = [
            f"- {each.item}: {each.note}" if each.note else f"- {each.item}"
            for each in self.job.walkthrough
            if each.ok is False
        ]
        if not left:
            return words
        heading = self.say("event.walk-through.left")
        return EventWords(words.title, "\n".join([words.description, heading, *left]))

    def calendar_name(self, audience: Literal["owner", "crew"], revision: int) -> str:
        """Return the name of a calendar with its revision, so that two of them differ in any list."""
        name = self.say(f"calendar.{audience}-name", site=self.job.site.name)
        return self.say("calendar.version", name=name, n=revision)

    @cached_property
    def caller(self) -> str:
        """Who to call, in one sentence."""
        contractor = self.job.contractor
        who = contractor.name or contractor.phone
        if not contractor.phone or not who:
            return self.say("calendar.call-nobody")
        return self.say("calendar.call", who=who, phone=contractor.phone)
