"""What changed since the issue before, in the words of the reader: a sentence a change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.spoken import capital

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.documents.spoken import Spoken
    from handover.documents.wording import Wording
    from handover.schedule.model import Change


def told_changes(wording: Wording) -> tuple[str, ...]:
    """Return what changed, a sentence each; nothing of a date that is told by the same words as before."""
    told = _Told(wording)
    return tuple(told.sentence(each, text) for each in wording.schedule.changes for text in told.text(each))


class _Told:
    """Words the changes of one schedule."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.say = wording.say
        self.speak = wording.speak

    def sentence(self, change: Change, text: str) -> str:
        """Return a change with its causes."""
        if not change.because:
            return self.say("change.plain", change=capital(text))
        reasons = self.speak.listed([self.say(f"change.because.{each}") for each in change.because])
        return self.say("change.reasoned", change=capital(text), reasons=reasons)

    def text(self, change: Change) -> Iterator[str]:
        """Give a change in words, or nothing where it reads as before."""
        if change.kind == "watering":
            yield self._visits(change)
        elif change.kind == "frost":
            yield self._frost(change)
        else:
            yield from self._date(change)

    def _date(self, change: Change) -> Iterator[str]:
        what = self._what(change.kind)
        before, after = ([self._spoken(change.kind, each) for each in side] for side in _sides(change))
        if before and after:
            if before[0].text != after[0].text:
                yield self._moved(what, before[0], after[0])
        elif after:
            yield self.say("change.found", what=what, after=_short(after[0]))
        else:
            yield self.say("change.lost", what=what, before=_short(before[0]))

    def _moved(self, what: str, before: Spoken, after: Spoken) -> str:
        if before.exact and after.exact and before.day == after.day:
            hours = {"before": self._hour(before.instant), "after": self._hour(after.instant)}
            return self.say("change.moved-hour", what=what, day=after.day, **hours)
        return self.say("change.moved", what=what, before=_short(before), after=_short(after))

    def _visits(self, change: Change) -> str:
        what = self.say(f"change.what.watering-{self.wording.keep}")
        day = self.speak.day((*change.after, *change.before)[0])
        before, after = (self.speak.listed([self._hour(each) for each in side]) for side in _sides(change))
        if not after:
            return self.say("change.visits-none", what=what, day=day)
        if not before:
            return self.say("change.visits-new", what=what, day=day, after=after)
        return self.say("change.visits", what=what, day=day, before=before, after=after)

    def _frost(self, change: Change) -> str:
        if change.after:
            return self.say("change.frost-new", when=self.speak.moment(change.after[0]).text)
        return self.say("change.frost-gone", day=self.speak.day(change.before[0]))

    def _what(self, kind: str) -> str:
        special = f"change.what.{kind}--{self.wording.method}"
        return self.say(special if self.wording.words.has(special) else f"change.what.{kind}")

    def _spoken(self, kind: str, when: datetime) -> Spoken:
        return (
            self.speak.not_after(when) if kind == "saw-joints-last" else self.wording.not_before(when, kind)
        )

    def _hour(self, when: datetime) -> str:
        return self.speak.short_hour(when)


def _sides(change: Change) -> tuple[tuple[datetime, ...], tuple[datetime, ...]]:
    return change.before, change.after


def _short(told: Spoken) -> str:
    return told.short if told.exact else told.day
