"""The QR code on the sheet: the address of the care page, or the first job itself.

Source: ISO/IEC 18004 (QR code), drawn by segno; RFC 5545 (the event).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING

from markupsafe import Markup

from handover.base.text import one_line
from handover.documents.crew_visits import CREW_KINDS
from handover.documents.events import event_of
from handover.schedule.model import MilestoneKind
from handover.schedule.tasks import PERMISSION, later_watering, next_watering

if TYPE_CHECKING:
    from datetime import datetime

    from handover.documents.wording import Wording
    from handover.documents.words.dates import MilestoneWords

QUIET_ZONE = 4
"""White modules around a code, as the standard requires."""


@dataclass(frozen=True)
class QrCode:
    """A QR code.

    Attributes:
        content: The text that the phone reads.
        svg: The picture.
        says: The sentence that says what it does.
    """

    content: str
    svg: Markup
    says: str


def sheet_code(wording: Wording) -> QrCode | None:
    """Return the code of a sheet: the address of its care page, else the first job.

    Once the first job is past, it is the owner's next visit, else their next date.
    """
    url = wording.job.contractor.page_url
    if url:
        return QrCode(url, draw_code(url, wording.say("qr.page-alt", url=url)), wording.say("qr.page"))
    cover = wording.visits.cover
    if cover is not None and wording.schedule.is_ahead(cover.start):
        return _of_event(wording, cover.title, cover.start, cover.when)
    task = next_watering(wording.schedule)
    if task is not None and task.how:
        work = event_of(wording, task).work
        return _of_event(wording, work, task.start, wording.speak.moment(task.start).text)
    return _next_job(wording)


def _next_job(wording: Wording) -> QrCode | None:
    """Return the code of the owner's first job; once it is past, of their next visit, else of a date."""
    owners = {each.kind: each for each in wording.dates.owner_milestones if each.kind not in CREW_KINDS}
    first = owners.get(MilestoneKind.FIRST_WATER)
    if first is None:
        return None
    watering = later_watering(wording.schedule)
    if watering is not None and _is_past(wording, first):
        part = wording.say(f"your-part.{wording.dates.method}")
        return _of_event(wording, part, watering.start, wording.speak.moment(watering.start).text)
    later = (each for kind, each in owners.items() if kind != MilestoneKind.FIRST_WATER)
    for words in (first, *later):
        if words.when and not words.in_stages and wording.schedule.is_ahead(words.when.instant):
            return _of_event(wording, words.title, words.when.instant, words.when.text)
    return None


def _is_past(wording: Wording, words: MilestoneWords) -> bool:
    return words.when is not None and not wording.schedule.is_ahead(words.when.instant)


def _of_event(wording: Wording, title: str, start: datetime, when: str) -> QrCode:
    content = event(title, start)
    alt = wording.say("qr.event-alt", title=title, when=when)
    return QrCode(content, draw_code(content, alt), wording.say("qr.event", title=title))


def event(title: str, when: datetime) -> str:
    """Return a date as a minimal VEVENT: fewer and larger squares are easier to read.

    It has no UID: a camera app makes its own entry in any case.
    """
    from icalendar import Event  # noqa: PLC0415 - heavy

    start = when.astimezone(UTC)
    entry = Event()
    entry.add("summary", one_line(title))
    entry.add("dtstart", start)
    entry.add("dtend", start + PERMISSION)
    content: str = entry.to_ical().decode("utf-8")
    return content


def draw_code(content: str, alt: str) -> Markup:
    """Return a code as SVG: one path on white, with its white margin."""
    import segno  # noqa: PLC0415 - heavy

    svg: str = segno.make_qr(content, error="m", boost_error=False).svg_inline(
        border=QUIET_ZONE,
        dark="#000000",
        light="#ffffff",
        title=alt,
        svgclass=None,
        lineclass=None,
        omitsize=True,
    )
    return Markup(svg.replace("<svg", '<svg role="img"', 1))  # noqa: S704 - numbers, and a text that segno escapes
