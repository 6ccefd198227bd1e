"""The return visits of the crew in the owner's words, one sentence each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.printed_times import saw_meets_water
from handover.schedule.tasks import LAY_HOSE, PIPES_FROST, is_laid_by_crew, is_over

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords

CREW_KINDS = (Kind.SAW_JOINTS, Kind.STRIP_EDGE_FORMS)
MAX_REPAIRS = 4
"""Maximum number of repairs on the first page."""


def crew_visits(wording: Wording) -> tuple[str, ...]:
    """Return the crew's work on the surface, its return visits, those without a date, and the repairs."""
    lines = list(_dates(wording))
    if saw_meets_water(wording.schedule):  # the saw is in the first line
        lines[0] = f"{lines[0]} {wording.say('sheet.crew-water')}"
    tasks = wording.schedule.tasks_of("crew", LAY_HOSE, PIPES_FROST)
    left = {each.kind: each for each in tasks if not is_over(wording.schedule, each)}
    if (hose := left.get(LAY_HOSE)) is not None:
        lines.insert(0, wording.say("sheet.crew-hose-timer" if hose.how else "sheet.crew-hose"))
    if (pipes := left.get(PIPES_FROST)) is not None:
        lines.insert(0, wording.say("sheet.crew-pipes", when=wording.speak.moment(pipes.end).text))
    if (surface := wording.surface.to_come) is not None:
        lines.insert(0, surface.owner)
    if wording.surface.rains:
        lines.insert(0, wording.surface.rains[0].owner)
    lines += cover_visits(wording)
    lines += [
        wording.say("sheet.crew-withheld", title=each.title, why=each.sentence)
        for each in wording.dates.withheld
        if each.kind in CREW_KINDS
    ]
    if repairs := [each.item for each in wording.job.walkthrough if each.ok is False]:
        lines.append(wording.say("sheet.crew-mends", items=_list_repairs(wording, repairs)))
    return tuple(lines)


def cover_visits(wording: Wording, *, after_first: bool = False) -> tuple[str, ...]:
    """Return when the crew lays blankets and takes them off, one sentence each, without what is over.

    Args:
        wording: The words of the schedule.
        after_first: Whether to leave out the cover that is the owner's first job.
    """
    first = wording.cover.start if after_first and wording.cover else None
    return tuple(_cover_visits(wording, first))


def _cover_visits(wording: Wording, first: datetime | None) -> Iterator[str]:
    schedule, issued = wording.schedule, wording.schedule.issued_at
    ends = schedule.milestone(Kind.PROTECTION_ENDS)
    if schedule.blankets_on is not None:
        off = None if ends is None else ends.not_before
        if off is None or off > issued:
            yield wording.say(
                "sheet.crew-blankets",
                start=wording.speak.moment(schedule.blankets_on).text,
                until=wording.say("cover.until-told") if off is None else wording.speak.moment(off).text,
            )
    for each in wording.visits.covers:
        if is_laid_by_crew(each) and each.start != first and wording.visits.is_to_lie(each):
            yield wording.say(
                "sheet.crew-cover",
                start=wording.speak.moment(each.start.astimezone(issued.tzinfo)).text,
                until=wording.visits.cover_end(each),
            )


def _dates(wording: Wording) -> Iterator[str]:
    """Yield a sentence for each visit that has a date and is not past at the time of issue."""
    known = {each.kind: each for each in wording.dates.milestones}
    if (saw := wording.dates.undated_saw) is not None:
        yield wording.say("sheet.crew-undated", title=saw.title, why=saw.why, how=saw.how)
    for kind in CREW_KINDS:
        words = known.get(kind)
        if words is not None and words.when is not None and not _is_missed(wording, words):
            yield _date(wording, words, words.when)


def _date(wording: Wording, words: MilestoneWords, when: DatePhrase) -> str:
    if words.not_after is None:
        return wording.say("sheet.crew-from", title=words.title, when=_from_now_on(wording, when))
    if words.in_stages:
        start = _from_now_on(wording, words.trial or words.not_after)
        last = wording.speak.not_after(words.last_cut).text if words.last_cut else ""
        return wording.say(
            "sheet.crew-stages", title=words.title, start=start, to=words.not_after.text, last=last
        )
    if when.instant <= wording.schedule.issued_at:
        return wording.say("sheet.crew-until", title=words.title, last=words.not_after.text)
    window = wording.dates.window(when, words.not_after)
    if words.night:
        window = wording.say("milestone.words.with-night", when=window, night=words.night)
    return wording.say("sheet.crew-line", title=words.title, when=window)


def _is_missed(wording: Wording, words: MilestoneWords) -> bool:
    """Return whether its last hour is past at the time of issue."""
    return words.last_cut is not None and words.last_cut <= wording.schedule.issued_at


def _from_now_on(wording: Wording, when: DatePhrase) -> str:
    """Return the hour from which the crew may come: an hour that is past is not printed as one to come."""
    past = when.instant <= wording.schedule.issued_at
    return wording.say("sheet.crew-now") if past else when.text


def _list_repairs(wording: Wording, repairs: list[str]) -> str:
    """Return the repairs for the first page; the list on the last page has all of them."""
    names = "; ".join(repairs[:MAX_REPAIRS])
    if len(repairs) <= MAX_REPAIRS:
        return names
    return wording.say("sheet.crew-mends-more", items=names, n=len(repairs) - MAX_REPAIRS)
