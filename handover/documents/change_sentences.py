"""The changes since the previous issue in the reader's words: one sentence each.

A date counts as moved if its printed text differs, even by a quarter of an hour, and if a document shows it
to the owner.
"""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from handover.documents.date_phrases import capitalise
from handover.schedule.changes import BLANKET_NEED, FROST, SAW_LAST, SPELLS, TIMER, WATERING
from handover.schedule.model import RAIN, MilestoneKind, PrintedTime

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.wording import Wording
    from handover.schedule.model import Change, Precision


_FEW_DAYS = 2
"""So many days one after another are named; of more, the first and the last."""

MOST_URGENT = (
    RAIN,
    FROST,
    BLANKET_NEED,
    MilestoneKind.PROTECTION_ENDS,
    MilestoneKind.FIRST_WATER,
    TIMER,
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.CURING_ENDS,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.LIGHT_WORK,
    WATERING,
)
"""The changes most important to an owner first: something done too early harms people or the slab."""


def change_sentences(wording: Wording) -> tuple[str, ...]:
    """Return the changes in the owner's documents, one sentence each, in order of time."""
    return tuple(text for text, _ in _worded_changes(wording))


def foremost_changes(wording: Wording, most: int) -> tuple[str, ...]:
    """Return the changes most important to the owner, up to a maximum, in order of time."""
    sentences = _worded_changes(wording)
    first = sorted(range(len(sentences)), key=lambda at: (_rank(sentences[at][1]), at))[:most]
    return tuple(sentences[at][0] for at in sorted(first))


def _worded_changes(wording: Wording) -> list[tuple[str, Change]]:
    writer = _ChangeWriter(wording)
    shown = {SAW_LAST, WATERING, TIMER, BLANKET_NEED, *SPELLS, *wording.dates.owner_kinds}
    changes = [each for each in wording.schedule.changes if each.kind in shown]
    groups = _alike(changes)
    return [(writer.sentence(each[0], text), each[0]) for each in groups for text in writer.text(each)]


def _alike(changes: list[Change]) -> list[list[Change]]:
    """Return the changes in order, as groups of one sentence each.

    The waterings that moved alike, for the same reason, are one group; so are all new frosts, and all frosts
    that are not expected any more.
    """
    groups: dict[object, list[Change]] = {}
    for index, each in enumerate(changes):
        key: object = index
        if each.kind == WATERING:
            key = (tuple(tuple(when.timetz() for when in side) for side in _sides(each)), each.because)
        elif each.kind in SPELLS:
            key = (each.kind, bool(each.after))
        groups.setdefault(key, []).append(each)
    return list(groups.values())


def _rank(change: Change) -> int:
    """Return the rank of a change by its importance to an owner; what is not expected any more is last."""
    if change.kind in SPELLS and not change.after:
        return len(MOST_URGENT)
    return MOST_URGENT.index(change.kind) if change.kind in MOST_URGENT else len(MOST_URGENT)


class _ChangeWriter:
    """Words the changes of one schedule."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.say = wording.say
        self.speak = wording.speak

    def sentence(self, change: Change, text: str) -> str:
        """Return a change with its causes."""
        if not change.because:
            # Spanish ends an hour with a full stop of its own: "1:00 p.m."
            return self.say("change.plain", change=capitalise(text.removesuffix(".")))
        reasons = self.speak.join_list([self.say(f"change.because.{each}") for each in change.because])
        return self.say("change.reasoned", change=capitalise(text), reasons=reasons)

    def text(self, alike: list[Change]) -> Iterator[str]:
        """Yield changes that are alike in words; nothing if their text is unchanged."""
        change = alike[0]
        if change.kind == WATERING:
            yield self._visits(alike)
        elif change.kind in SPELLS:
            yield self._spell(alike)
        elif change.kind == TIMER:
            yield self.say("change.timer", when=self.speak.moment(change.after[0]).text)
        elif change.kind == BLANKET_NEED:
            yield from self._blanket(change)
        else:
            yield from self._date(change)

    def _date(self, change: Change) -> Iterator[str]:
        what = self._what(change.kind)
        if change.kind == MilestoneKind.SAW_JOINTS and self._sawn_in_stages():
            return  # only the last hour is printed
        was = change.precision_before or change.precision
        before = [self._date_phrase(change, each, was) for each in change.before]
        after = [self._date_phrase(change, each, change.precision) for each in change.after]
        if before and after:
            if before[0].text != after[0].text and not (
                self._past_tense(before[0]) and self._past_tense(after[0])
            ):
                yield self._move_sentence(change.kind, what, before[0], after[0])
        elif after:
            yield self.say("change.found", what=what, after=_shorten(after[0]))
        else:
            yield self.say("change.lost", what=what, before=_shorten(before[0]))

    def _sawn_in_stages(self) -> bool:
        return any(each.in_stages for each in self.wording.dates.milestones)

    def _past_tense(self, sentence: DatePhrase) -> bool:
        return sentence.instant <= self.wording.schedule.issued_at

    def _move_sentence(self, kind: str, what: str, before: DatePhrase, after: DatePhrase) -> str:
        if self._past_tense(after):
            key = "change.over" if kind == SAW_LAST else "change.now"
            return self.say(key, what=what, before=_shorten(before))
        if before.exact and after.exact and before.day == after.day:
            hours = {"before": self._hour(before.instant), "after": self._hour(after.instant)}
            return self.say("change.moved-hour", what=what, day=after.day, **hours)
        return self.say("change.moved", what=what, before=_shorten(before), after=_shorten(after))

    def _visits(self, alike: list[Change]) -> str:
        what = self.say(f"change.what.watering-{self.wording.schedule.cure_mode}")
        change = alike[0]
        day = self._days([(*each.after, *each.before)[0] for each in alike])
        before, after = (self.speak.join_list([self._hour(each) for each in side]) for side in _sides(change))
        if not after:
            return self.say("change.visits-none", what=what, day=day)
        if not before:
            return self.say("change.visits-new", what=what, day=day, after=after)
        return self.say("change.visits", what=what, day=day, before=before, after=after)

    def _days(self, days: list[datetime]) -> str:
        """Return "Friday, August 14", "..., ... and ...", or "Friday, August 14 to Friday, August 21"."""
        spans: list[list[datetime]] = []
        for each in days:
            if spans and (each.date() - spans[-1][-1].date()).days == 1:
                spans[-1].append(each)
            else:
                spans.append([each])
        return self.speak.join_list([text for span in spans for text in self._span(span)])

    def _span(self, days: list[datetime]) -> list[str]:
        if len(days) <= _FEW_DAYS:
            return [self.speak.day(each) for each in days]
        first, last = (self.speak.day(each) for each in (days[0], days[-1]))
        return [self.say("sheet.day-span", first=first, last=last)]

    def _spell(self, alike: list[Change]) -> str:
        """Return the frosts, or the rains on the fresh slab, that are all new or all gone."""
        kind = alike[0].kind
        if not alike[0].after:
            return self.say(f"change.{kind}-gone", days=self._days([each.before[0] for each in alike]))
        values = {"when": self.speak.moment(alike[0].after[0]).text}
        if len(alike) == 1:
            return self.say(f"change.{kind}-new", **values)
        last = self.speak.day(alike[-1].after[0])
        return self.say(f"change.{kind}-new-more", n=len(alike) - 1, last=last, **values)

    def _blanket(self, change: Change) -> Iterator[str]:
        """Yield the blanket that is needed, and the one before; nothing if that of the record does."""
        needed = {each.name: each.value for each in change.figures}
        own, is_enough = self.wording.job.curing.blanket_r_value, isfinite(needed["at_edges"])
        if is_enough and own is not None and own >= needed["at_edges"]:
            return
        measure = self.wording.quantities.measure
        values = {
            name: measure(value, "thermal resistance") for name, value in needed.items() if isfinite(value)
        }
        yield self.say("change.blanket" if is_enough else "change.blanket-none", **values)

    def _what(self, kind: str) -> str:
        return self.say(self.wording.dates.variant(f"change.what.{kind}"))

    def _date_phrase(self, change: Change, when: datetime, precision: Precision | None) -> DatePhrase:
        """Return a time as its issue prints it."""
        if change.kind == SAW_LAST:
            return self.speak.not_after(when)
        if precision is None:  # of an earlier version, which did not round it
            return self.wording.dates.not_before(when, change.kind)
        printed = PrintedTime(when, precision)
        return self.speak.printed_time(printed, self.wording.schedule.placement_end)

    def _hour(self, when: datetime) -> str:
        return self.speak.short_hour(when)


def _sides(change: Change) -> tuple[tuple[datetime, ...], tuple[datetime, ...]]:
    return change.before, change.after


def _shorten(sentences: DatePhrase) -> str:
    return sentences.short if sentences.exact else sentences.day
