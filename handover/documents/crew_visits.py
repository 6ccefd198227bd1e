"""The return visits of the crew in the owner's words, one sentence each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.translations import slug
from handover.schedule.cover_times import is_soft, soft_top_cover
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.printed_times import COVERING, saw_meets_water
from handover.schedule.tasks import (
    BENEATH_COVER,
    BRING_BLANKETS,
    BRING_COVER,
    BUILD_RIM,
    LAY_HOSE,
    LOOK_COAT,
    PIPES_FROST,
    RAIN_COVER,
    RAIN_COVER_OFF,
    RUB_EDGES,
    SURFACE,
    WALK_THROUGH,
    is_laid_by_crew,
    is_over,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from handover.documents.date_phrases import DatePhrase
    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords
    from handover.schedule.model import Task

CREW_KINDS = (Kind.SAW_JOINTS, Kind.STRIP_EDGE_FORMS)
_AT_FRESH_SLAB = (
    RAIN_COVER,
    RAIN_COVER_OFF,
    SURFACE,
    PIPES_FROST,
    LAY_HOSE,
    BUILD_RIM,
    LOOK_COAT,
    BRING_COVER,
    BRING_BLANKETS,
)

CrewVisit = tuple["datetime", str]
"""When a visit begins, and its sentence."""


def crew_visits(wording: Wording) -> tuple[str, ...]:
    """Return the crew's work and return visits in order of time, those without a date, and the repairs."""
    now = wording.schedule.issued_at.timestamp()
    dated = sorted(
        (*_before_it_leaves(wording), *_dates(wording), *cover_visits(wording)),
        key=lambda each: max(now, each[0].timestamp()),
    )
    lines = [line for _, line in dated]
    lines += [
        wording.say("sheet.crew-withheld", title=each.title, why=each.sentence)
        for each in wording.dates.withheld
        if each.kind in CREW_KINDS
    ]
    return (*lines, *_repairs(wording), *_walk_through(wording))


def _before_it_leaves(wording: Wording) -> Iterator[CrewVisit]:
    """Yield what the crew does at the fresh slab: the cover before rain, the surface, pipes, the hose."""
    tasks = wording.schedule.tasks_of("crew", *_AT_FRESH_SLAB)
    left = {each.kind: each for each in reversed(tasks) if not is_over(wording.schedule, each)}
    surface, pipes, hose = wording.surface.to_come, left.get(PIPES_FROST), left.get(LAY_HOSE)
    if (cover := left.get(RAIN_COVER)) is not None:  # nobody covers it before a rain that has begun
        yield cover.start, wording.surface.rains[int(cover.occasion) - 1].owner
    if surface is not None:
        yield _surface_begin(wording, left), surface.owner
    if pipes is not None:
        yield pipes.start, wording.say("sheet.crew-pipes", when=wording.speak.moment(pipes.end).text)
    for kind in (RAIN_COVER_OFF, LOOK_COAT, BRING_BLANKETS):
        if (task := left.get(kind)) is not None:
            begun = task.start <= wording.schedule.issued_at
            when = wording.say("crew.now") if begun else wording.speak.moment(task.start).text
            yield task.start, wording.say(f"sheet.crew-{kind}", when=when)
    if (brings := left.get(BRING_COVER)) is not None:
        by = wording.speak.moment((brings.until or brings.end).astimezone(brings.start.tzinfo)).text
        yield brings.start, wording.say(f"sheet.crew-bring-cover.{slug(brings.cover or '')}", when=by)
    if hose is not None:
        yield hose.start, wording.say("sheet.crew-hose-timer" if hose.how else "sheet.crew-hose")
    if (rim := left.get(BUILD_RIM)) is not None:
        lifted = "-under-cover" if rim.how == BENEATH_COVER else ""
        when = wording.speak.moment(rim.start).text
        yield rim.start, wording.say(f"sheet.crew-rim{lifted}", when=when)


def _begin(wording: Wording, tasks: Mapping[str, Task], kind: str) -> datetime:
    """Return when a task of a kind begins; one that is on begins now."""
    return tasks[kind].start if kind in tasks else wording.schedule.issued_at


def _surface_begin(wording: Wording, tasks: Mapping[str, Task]) -> datetime:
    """Return when the work on the surface begins: what keeps it damp does so before its cover is laid."""
    task = wording.schedule.surface
    return task.start if task and task.work == "damp" else _begin(wording, tasks, SURFACE)


def cover_visits(wording: Wording, *, after_first: bool = False) -> tuple[CrewVisit, ...]:
    """Return when the crew lays blankets and takes them off, one sentence each, without what is over.

    Args:
        wording: The words of the schedule.
        after_first: Whether to leave out the cover that is the owner's first job.
    """
    first = wording.cover.start if after_first and wording.cover else None
    return tuple(_cover_visits(wording, first))


def _cover_visits(wording: Wording, first: datetime | None) -> Iterator[CrewVisit]:
    schedule, issued = wording.schedule, wording.schedule.issued_at
    ends = schedule.milestone(Kind.PROTECTION_ENDS)
    if (start := schedule.blankets_on) is not None:
        off = None if ends is None else ends.not_before
        if off is None or off > issued:
            until = wording.say("cover.until-told") if off is None else wording.speak.moment(off).text
            key = f"sheet.crew-blankets{_first_on_soft(wording, start)}"
            yield start, _laying(wording, key, start, start + COVERING, until)
    for each in wording.visits.covers:
        if is_laid_by_crew(each) and each.start != first and wording.visits.is_to_lie(each):
            until = wording.visits.cover_end(each)
            yield each.start, _laying(wording, "sheet.crew-cover", each.start, each.end, until)


def _first_on_soft(wording: Wording, start: datetime) -> str:
    """Return the end of the key where plastic lies first, as blankets cannot be held clear of a soft top."""
    job, schedule = wording.job, wording.schedule
    has_plastic = is_soft(schedule, start) and soft_top_cover(job) == "plastic"
    return "-plastic" if has_plastic and schedule.is_ahead(start + COVERING) else ""


def _laying(wording: Wording, key: str, start: datetime, end: datetime, until: str) -> str:
    """Return that a cover is laid, from when and until when; of one whose laying is over, that it stays."""
    if not wording.schedule.is_ahead(end):
        return wording.say(f"{key}-lie", until=until)
    laid = wording.speak.moment(start.astimezone(wording.schedule.issued_at.tzinfo))
    return wording.say(key, start=_from_now_on(wording, laid), until=until)


def _dates(wording: Wording) -> Iterator[CrewVisit]:
    """Yield a sentence for each visit that has a date and is not past at the time of issue."""
    known = {each.kind: each for each in wording.dates.milestones}
    if (saw := wording.dates.undated_saw) is not None:
        begin = saw.start or wording.schedule.issued_at
        yield begin, wording.say("sheet.crew-undated", title=saw.title, when=saw.owner)
    for kind in CREW_KINDS:
        words = known.get(kind)
        if words is not None and words.when is not None and not _is_missed(wording, words):
            water = wording.say("sheet.crew-water") if _meets_water(wording, kind) else ""
            room = (
                wording.say("saw-room.owner") if kind == Kind.SAW_JOINTS and wording.dates.saw_in_room else ""
            )
            nails = wording.dates.nails if kind == Kind.STRIP_EDGE_FORMS else ""
            line = " ".join(filter(None, (_date(wording, words, words.when), room, water, nails)))
            yield (words.trial or words.when).instant, line


def _meets_water(wording: Wording, kind: Kind) -> bool:
    """Return whether a visit is the saw, in hours in which the owner waters."""
    return kind == Kind.SAW_JOINTS and saw_meets_water(wording.schedule)


def _date(wording: Wording, words: MilestoneWords, when: DatePhrase) -> str:
    if words.not_after is None:
        return wording.say("sheet.crew-from", title=words.title, when=_from_now_on(wording, when))
    if words.in_stages:
        start = _from_now_on(wording, words.trial or words.not_after)
        last = wording.speak.not_after(words.last_cut).text if words.last_cut else ""
        key = "sheet.crew-stages-room" if wording.dates.saw_in_room else "sheet.crew-stages"
        return wording.say(key, title=words.title, start=start, to=words.not_after.text, last=last)
    comes = words.trial or when  # the crew comes for the trial cut, as its calendar says
    if comes.instant <= wording.schedule.issued_at:
        return wording.say("sheet.crew-until", title=words.title, last=words.not_after.text)
    if comes.instant >= words.not_after.instant:
        return wording.say("sheet.crew-from", title=words.title, when=comes.text)
    window = wording.dates.window(comes, words.not_after)
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


def _repairs(wording: Wording) -> Iterator[str]:
    """Yield what the crew mends, with the hours in which it patches the edges, if these are ahead."""
    items = [each.item for each in wording.job.walkthrough if each.ok is False]
    if not items:
        return
    names, of_list = wording.events.some_of(items), wording.say("sheet.walkthrough")
    mends = wording.say("sheet.crew-mends", items=names, list=of_list)
    yield " ".join([*(_rubbing(wording, each) for each in _ahead(wording, RUB_EDGES)), mends])


def _rubbing(wording: Wording, task: Task) -> str:
    """Return from when to when the crew patches and rubs the edges."""
    title = wording.say("event.rub-edges.title")
    start, end = map(wording.speak.moment, (task.start, task.end))
    if start.instant <= wording.schedule.issued_at:
        return wording.say("sheet.crew-until", title=title, last=end.text)
    return wording.say("sheet.crew-line", title=title, when=wording.dates.window(start, end))


def _walk_through(wording: Wording) -> Iterator[str]:
    """Yield the day on which crew and owner look at the slab together; the hour from which they can."""
    for each in _ahead(wording, WALK_THROUGH):
        if each.all_day:
            yield wording.say("sheet.crew-walk", day=wording.speak.day(each.start.date()))
        else:
            why = f"sheet.crew-walk-{each.how or 'uncovered'}"
            yield wording.say(why, when=wording.speak.moment(each.start).text)


def _ahead(wording: Wording, kind: str) -> list[Task]:
    tasks = wording.schedule.tasks_of("crew", kind)
    return [each for each in tasks if not is_over(wording.schedule, each)]
