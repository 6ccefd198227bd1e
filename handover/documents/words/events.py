"""The events of the calendars in words: a title that says the action, and what to do, in lines."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise
from handover.documents.translations import slug
from handover.documents.words.what_if import what_if

if TYPE_CHECKING:
    from handover.documents.words.dates import MilestoneWords
    from handover.documents.words.reader import Reader
    from handover.documents.words.watering import VisitWords
    from handover.jobs.record import JobRecord
    from handover.schedule.model import Party, Task

MAX_REPAIRS = 4
"""Maximum number of repairs on the first page."""


class EventWording:
    """The events of one job in the words of one reader."""

    def __init__(self, reader: Reader, job: JobRecord) -> None:
        self.job = job
        self.say = reader.say
        self.has = reader.has

    def owner_text(self, words: MilestoneWords) -> str:
        """Return the text of the owner's event for a date."""
        return _lines(f"{words.when_text}.", words.sentence, self.caller)

    def crew_text(self, words: MilestoneWords) -> str:
        """Return the text of the crew's event for a date, with its reason; a saw begins with a trial cut."""
        trial = self._trial(words)
        in_stages = self.say("milestone.words.in-stages") if words.in_stages else ""
        # In stages the reason is that of the part placed last, and the hours are those of the first.
        because = "" if words.in_stages else self.say("calendar.because", reason=words.reason)
        return _lines(trial, f"{self._crew_window(words)}.", capitalise(words.night), in_stages, because)

    def _trial(self, words: MilestoneWords) -> str:
        """Return from when the crew tries to cut; once that hour is past, that it tries first."""
        if words.trial is None or words.is_best_past:
            return ""
        key = "milestone.words.trial-first" if words.begun else "milestone.words.trial"
        return self.say(key, when=words.trial.text)

    def _crew_window(self, words: MilestoneWords) -> str:
        """Return from when to when; work in stages has only an end that holds for all parts."""
        if words.not_after is None:
            return words.when_text
        if words.in_stages:
            return self.say("milestone.words.stages-by", when=words.not_after.text)
        last = self.say("milestone.words.not-after", when=words.not_after.text)
        if words.is_best_past:
            return capitalise(last)
        from_when = words.when_text
        if words.when and words.share:
            from_when = self.say("milestone.words.best", when=words.when.text, share=words.share)
        return f"{from_when}; {last}"

    def visit_text(self, visit: VisitWords, task: Task) -> str:
        """Return the text of the owner's event for one watering."""
        takes = self.say("watering.takes", length=visit.length)
        stays = self.say("watering.stay-wet") if visit.amount and not visit.covered else ""
        return _lines(visit.action, takes, visit.amount, stays, self.closing(task))

    def closing(self, task: Task) -> str:
        """Return how the text of an owner's task ends: what if it rains, freezes, or nobody is there."""
        return _lines(*what_if(self.say, task), self.caller)

    def event(self, code: str, method: str = "", **values: object) -> tuple[str, str]:
        """Return title and text of an event that does not belong to a date, by its code under [event].

        Args:
            code: Of the event.
            method: Of curing, for which the text may differ.
            values: To fill in.
        """
        key = f"event.{code}.text"
        special = f"{key}--{slug(method)}"
        text = self.say(special if self.has(special) else key, **values)
        return self.say(f"event.{code}.title", **values), text.strip()

    def walkthrough(self, by: Party) -> tuple[str, str]:
        """Return title and text of the walk-through in a calendar of owner or crew, with its open items."""
        title, text = self.event("walk-through")
        if not self.job.slab.is_jointed:
            text = self.say("event.walk-through.text-unjointed")
        if by == "owner":
            text = f"{text} {self.say('event.walk-through.hour')}"
        return title, self.with_repairs(text)

    @property
    def repairs(self) -> str:
        """What the crew mends, by the names that the first page has; empty where it mends nothing."""
        items = [each.item for each in self.job.walkthrough if each.ok is False]
        return self.say("event.to-mend", items=self.some_of(items)) if items else ""

    def some_of(self, items: list[str]) -> str:
        """Return the repairs for the first page; the list on the last page has all of them."""
        names = "; ".join(items[:MAX_REPAIRS])
        if len(items) <= MAX_REPAIRS:
            return names
        return self.say("sheet.crew-mends-more", items=names, n=len(items) - MAX_REPAIRS)

    def with_repairs(self, text: str) -> str:
        """Return the text of a visit of the crew, with the promised repairs."""
        left = [
            f"- {each.item}: {each.note}" if each.note else f"- {each.item}"
            for each in self.job.walkthrough
            if each.ok is False
        ]
        return _lines(text, self.say("event.walk-through.left"), *left) if left else text

    def calendar_name(self, audience: Party, revision: int) -> str:
        """Return the name of a calendar with its revision, so that two calendars differ in a list."""
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


def _lines(*parts: str) -> str:
    """Return the parts that are not empty, one line each."""
    return "\n".join(filter(None, parts))
