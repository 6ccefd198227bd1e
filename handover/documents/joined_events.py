"""The events of several slabs in one calendar: what is due at one time is one event that names the slabs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from functools import lru_cache
from itertools import takewhile
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.documents.events import CareEvent, crew_work, owner_events
from handover.schedule.tasks import WATERING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from handover.documents.joined_slabs import ProjectSlab, ProjectSlabs
    from handover.documents.wording import Wording


@dataclass(frozen=True)
class _Part:
    """The event of one slab."""

    slab: ProjectSlab
    event: CareEvent


@lru_cache(maxsize=4)  # sheet, page and calendar use the same events
def joined_owner_events(project: ProjectSlabs) -> tuple[CareEvent, ...]:
    """Return the owner's events of all slabs, in order of time, without those that are over."""
    return _join(project, owner_events)


def joined_crew_events(project: ProjectSlabs) -> tuple[CareEvent, ...]:
    """Return the crew's events of all slabs, likewise; their titles name the project."""
    say = project.words.say
    return tuple(
        replace(each, title=say("calendar.at-site", title=each.title, site=project.name))
        for each in _join(project, crew_work)
    )


def _join(
    project: ProjectSlabs, events_of: Callable[[Wording], tuple[CareEvent, ...]]
) -> tuple[CareEvent, ...]:
    zone = ZoneInfo(project.words.schedule.timezone)
    issued = project.words.schedule.issued_at
    parts = [
        _Part(slab, event)
        for slab in project.slabs
        for event in events_of(slab.words)
        if _instant(event.end, zone) > issued
    ]
    parts.sort(key=lambda each: _instant(each.event.start, zone))  # slabs stay in the order of placement
    return tuple(_one_event(project, each) for each in _groups(parts))


def _instant(when: object, zone: ZoneInfo) -> datetime:
    """Return an instant; of a whole day its first, on the clock of the site."""
    if not isinstance(when, datetime):
        when = datetime.combine(when, time(), zone)  # type: ignore[arg-type]
    return when.astimezone(UTC)


def _groups(parts: Iterable[_Part]) -> list[list[_Part]]:
    """Return the events that are one, in order of time."""
    groups: list[list[_Part]] = []
    for part in parts:
        group = next((each for each in reversed(groups) if _belongs(part, each)), None)
        if group is None:
            groups.append([part])
        else:
            group.append(part)
    return groups


def _belongs(part: _Part, group: Sequence[_Part]) -> bool:
    """Return whether an event of another slab is at the time of a group: of watering, any of its time."""
    first = group[0].event
    if part.event.kind != first.kind or any(each.slab is part.slab for each in group):
        return False
    if first.kind == WATERING:
        return bool(part.event.start <= max(each.event.end for each in group))
    return part.event.start == first.start and part.event.title == first.title


def _one_event(project: ProjectSlabs, parts: Sequence[_Part]) -> CareEvent:
    """Return the event of a group. The slab that was placed first gives its identity."""
    parts = sorted(parts, key=lambda each: project.slabs.index(each.slab))
    first, slabs = parts[0].event, project.list_names(each.slab for each in parts)
    start = min(each.event.start for each in parts)
    end = max(each.event.end for each in parts)
    title = project.words.say("joined.event", slabs=slabs, title=_title(project, parts))
    occasion = f"{parts[0].slab.job} {first.occasion}".strip()
    text = _text([(each.slab.heading, _own_lines(each.event, parts)) for each in parts])
    if first.kind == WATERING and len(parts) > 1:
        text = f"{text}\n{project.words.say('joined.each-slab')}"
    return replace(first, occasion=occasion, start=start, end=end, title=title, description=text)


def _title(project: ProjectSlabs, parts: Sequence[_Part]) -> str:
    """Return the title that the events share; of waterings at other hours, one with the whole time."""
    titles = {each.event.title for each in parts}
    if len(titles) == 1:
        return titles.pop()
    zone = ZoneInfo(project.words.schedule.timezone)
    starts, ends = ([_instant(when, zone) for when in each] for each in _times(parts))
    span = project.words.speak.span(min(starts).astimezone(zone), max(ends).astimezone(zone))
    works = {(each.slab.words.dates.method, each.slab.words.visits.by_timer) for each in parts}
    key = f"visit.{parts[0].slab.words.dates.method}.title"
    if len(works) > 1 or parts[0].slab.words.visits.by_timer:
        key = "joined.visit"
    return project.words.say(key, span=span)


def _times(parts: Sequence[_Part]) -> tuple[list[object], list[object]]:
    return [each.event.start for each in parts], [each.event.end for each in parts]


def _own_lines(event: CareEvent, parts: Sequence[_Part]) -> list[str]:
    """Return the lines of an event; its title, which has its hours, where those of the others differ."""
    titles = {each.event.title for each in parts}
    return [*([f"{event.title}."] if len(titles) > 1 else []), *event.description.split("\n")]


def _text(parts: Sequence[tuple[str, Sequence[str]]]) -> str:
    """Return the lines of a group: what holds for all slabs once, all else under the name of its slab."""
    shared = [line for line in parts[0][1] if all(line in lines for _, lines in parts)]
    own = [(name, [line for line in lines if line not in shared]) for name, lines in parts]
    head = [*takewhile(lambda line: line in shared, parts[0][1])]
    of_slabs = [f"{name}: {' '.join(lines)}" for name, lines in own if lines]
    return "\n".join([*head, *of_slabs, *shared[len(head) :]])
