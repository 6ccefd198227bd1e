"""message.eml of a project: the message to the owner with the joined papers."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from handover.documents.crew_visits import cover_visits
from handover.documents.joined_sheet import JoinedSheet
from handover.documents.message import REPORTED_KINDS, compose_text, fill_plain_text, keep_off

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from handover.documents.joined_sheet import DateRow
    from handover.documents.joined_slabs import ProjectSlab, ProjectSlabs


def compose_joined_message(project: ProjectSlabs, attachments: Mapping[str, bytes]) -> bytes:
    """Return a draft message to the owner of several slabs. Errors as `compose_message`.

    Args:
        project: In the owner's language.
        attachments: The joined papers by file name, in the order in which they are shown.
    """
    words, sheet = project.words, JoinedSheet(project)
    plain = fill_plain_text(
        words,
        "joined_message.txt",
        slabs=sheet.rows,
        part=sheet.first.text,
        lines=_dated_lines(sheet),
        warnings=sheet.warnings,
        keep_off=sheet.with_names(lambda care: keep_off(care.wording)),
        changes=sheet.changes,
        attached=list(_attachment_list(sheet, attachments)),
    )
    return compose_text(words, plain, attachments)


def _dated_lines(sheet: JoinedSheet) -> list[str]:
    """Return the dates, and the covers that the crew lays, in order of time; what has none comes last."""
    rows = [(row.earliest, _date_line(sheet, row)) for row in sheet.main if row.kind in REPORTED_KINDS]
    covers: dict[str, tuple[datetime, list[ProjectSlab]]] = {}
    for slab in sheet.slabs:
        for start, line in cover_visits(slab.words, after_first=True):
            covers.setdefault(line, (start, []))[1].append(slab)
    laid = [(start.astimezone(UTC), sheet.for_slabs(slabs, line)) for line, (start, slabs) in covers.items()]
    return [line for _, line in sorted((*rows, *laid), key=lambda each: each[0]) if line]


def _date_line(sheet: JoinedSheet, row: DateRow) -> str:
    """Return the dates of a row that are ahead, in one line; empty if there are none."""
    dates = [
        ", ".join(filter(None, ("" if row.same else each.slab, each.day, each.hour)))
        for each in row.groups
        if not each.reached
    ]
    return sheet.say("joined.of-slab", slab=row.title, text="; ".join(dates)) if dates else ""


def _attachment_list(sheet: JoinedSheet, names: Mapping[str, bytes]) -> Iterator[str]:
    """Yield the attachments, each with its purpose."""
    for name in names:
        key = f"message.attached.{name.split('.')[0]}"
        if name.startswith("care-sheet") and not sheet.wet:
            key += "--looking" if sheet.watering.slabs else "--plain"
        yield sheet.say(key, name=name)
