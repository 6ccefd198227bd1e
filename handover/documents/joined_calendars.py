"""owner.ics and crew.ics of a project: the events of all its slabs, each reminder once.

The UID of an event is derived from the project, its kind and its slab; where it has several slabs, from that
which was placed first. It is the same in every issue of the joined papers, and no event of one slab's own
calendar has it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.calendars import build_calendar
from handover.documents.joined_events import joined_crew_events, joined_owner_events

if TYPE_CHECKING:
    from handover.documents.joined_slabs import ProjectSlabs


def joined_owner_calendar(project: ProjectSlabs, earlier: bytes | None = None) -> bytes:
    """Return owner.ics of a project. The ``earlier`` one is treated as in `owner_calendar`."""
    remark = project.words.say("joined.calendar-note")
    events = joined_owner_events(project)
    return build_calendar(project.words, events, audience="owner", earlier=earlier, remark=remark)


def joined_crew_calendar(project: ProjectSlabs, earlier: bytes | None = None) -> bytes:
    """Return crew.ics of a project; its ``earlier`` one is treated as in `joined_owner_calendar`."""
    remark = project.words.say("joined.calendar-note")
    events = joined_crew_events(project)
    return build_calendar(project.words, events, audience="crew", earlier=earlier, remark=remark)
