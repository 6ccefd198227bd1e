"""Where the joined papers of two slabs contradict the papers of each, or themselves."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from typing import TYPE_CHECKING

import second_hand as read
import tinyhtml5  # type: ignore[import-untyped]
from judge import is_watering

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from random_jobs import RandomJob
    from second_hand import Event


def joined_findings(
    job: RandomJob, joined: Mapping[str, bytes], slabs: Sequence[Mapping[str, bytes]]
) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with joined papers: a short kind, and where it was seen.

    Args:
        job: The slab that was placed last; the papers are joined when it is issued.
        joined: The joined papers by name.
        slabs: The papers of each slab by name.
    """
    for name in ("owner", "crew"):
        together = _events(joined, name, job)
        yield from _doubled(together, name)
        for each in slabs:
            yield from _lost(_events(each, name, job), together, name)
    yield from _first(job, joined)
    if not job.timer:
        yield from day_findings(job, joined)
    for name, data in joined.items():
        if name.endswith(".pdf"):
            for word in read.words_outside(data):
                yield "text outside the joined page", f"{name}: {word}"


def _events(papers: Mapping[str, bytes], name: str, job: RandomJob) -> list[Event]:
    """Return the events of a calendar that are not over."""
    [data] = [data for each, data in papers.items() if each.startswith(name) and each.endswith(".ics")]
    now = job.as_of.astimezone(job.zone)
    ends = ((each, each.end) for each in read.calendar_events(data, job.zone))
    return [each for each, end in ends if (end > now if isinstance(end, datetime) else end > now.date())]


def _doubled(events: list[Event], name: str) -> Iterator[tuple[str, str]]:
    """One reminder of one thing at one time."""
    for (title, start), count in Counter((each.title, each.start) for each in events).items():
        if count > 1:
            yield f"{name}'s joined calendar says it twice", f"{start} {title}"


def _lost(own: list[Event], together: list[Event], name: str) -> Iterator[tuple[str, str]]:
    """What a slab's own calendar has to come is at its time in the joined one; a watering, on its day."""
    for event in own:
        if is_watering(event):
            if not any(_is_near(each, event) for each in together):
                yield f"{name}'s watering is not in the joined calendar", f"{event.start} {event.title}"
        elif not any(_spans(each, event.start) for each in together):
            yield f"{name}'s event is not in the joined calendar", f"{event.start} {event.title}"


def _is_near(event: Event, own: Event) -> bool:
    """Return whether a watering is on the day of another; the only one of a day may have any hour of it."""
    return is_watering(event) and _day(event.start) == _day(own.start)


def _day(when: datetime | date) -> date:
    return when.date() if isinstance(when, datetime) else when


def _spans(event: Event, start: datetime | date) -> bool:
    if isinstance(start, datetime) != isinstance(event.start, datetime):
        return False
    return event.start <= start < event.end


def day_findings(job: RandomJob, joined: Mapping[str, bytes]) -> Iterator[tuple[str, str]]:
    """The table of the page has visits on the days on which the calendar has them."""
    [page] = [data for name, data in joined.items() if name.endswith(".html")]
    tree = tinyhtml5.parse(page, namespace_html_elements=False)
    near = job.as_of.astimezone(job.zone).date()
    on_page = {start.date() for start, end in read.page_visits(tree, near, job.zone) if end > job.as_of}
    in_calendar = {_day(each.start) for each in _events(joined, "owner", job) if is_watering(each)}
    for day in sorted(on_page ^ in_calendar):
        where = "page" if day in on_page else "calendar"
        yield f"day of visits of the joined {where} alone", str(day)


def _first(job: RandomJob, joined: Mapping[str, bytes]) -> Iterator[tuple[str, str]]:
    """Page and sheet have the same first job."""
    [sheet] = [data for name, data in joined.items() if name.endswith(".pdf")]
    [page] = [data for name, data in joined.items() if name.endswith(".html")]
    tree = tinyhtml5.parse(page, namespace_html_elements=False)
    title, *_ = read.first_box(tree, job.as_of.astimezone(job.zone).date())
    if not title:
        yield "joined page without a first job", ""
    elif title not in read.sheet_box(read.pdf_text(sheet)):
        yield "first job differs between joined sheet and page", title
