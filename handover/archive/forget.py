"""Privacy: what is personal goes from bag and catalog, what is technical stays, and the bag says so."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from handover.archive.bag import DATA, Bag
from handover.archive.bag_writer import State, contact_of
from handover.archive.deposit import renew, tidy
from handover.archive.entry import Entry

if TYPE_CHECKING:
    from datetime import datetime

    from handover.archive.store import Archive

Redact = Callable[[str, bytes], bytes | None]
"""From a file's path below "data/" and its contents to what stays of them; None for nothing."""


def forget(
    archive: Archive,
    job: str,
    redact: Redact,
    redact_entry: Callable[[Entry], Entry],
    at: datetime,
    *,
    redact_text: Callable[[str], str] = str,
) -> list[str]:
    """Remove personal data from the bag of a job and from the catalog.

    Both states of the bag are never mixed, and once this has returned the old one is nowhere: not in the bag,
    not beside it, not in unused pages of the catalog. Copies made elsewhere, a backup say, are not reached.

    Args:
        archive: The archive.
        job: The id of the job.
        redact: What stays of a file.
        redact_entry: What stays of the entry. The id of the job stays.
        at: Time of removal, aware; written into the bag.
        redact_text: What stays of the path of a file that is gone, in the list of what was removed.

    Returns:
        The paths below "data/" of the files that were removed or changed.

    Raises:
        UnusableInput: There is no such job.
        Damaged, Busy, NotFiled, Unfinished, CatalogFailed: As `file_job`.
    """
    tidy(archive)
    with archive.hold(job):
        bag = archive.bag(job)
        new, gone = _redacted(bag, redact)
        entry = redact_entry(bag.entry)
        if entry.job != job:
            raise ValueError("the id of a job stays as it is")
        fields_gone = [each.name for each in fields(Entry) if _differs(entry, bag.entry, each.name)]
        if not (new or gone or fields_gone):
            return []
        state = State(
            entry=entry,
            at=at,
            contact=contact_of(bag),
            kept={path: made for path, made in bag.payload.items() if path not in new and path not in gone},
            new=new,
            removed=_noted(bag, at, [redact_text(path) for path in gone], new, fields_gone),
        )
        renew(archive, state, bag)
    return sorted(path.removeprefix(DATA) for path in (*gone, *new))


def _redacted(bag: Bag, redact: Redact) -> tuple[dict[str, bytes], list[str]]:
    """Return the files of which less stays, and the paths of those of which nothing does."""
    new: dict[str, bytes] = {}
    gone: list[str] = []
    for path in sorted(bag.payload):
        data = bag.read(path)
        stays = redact(path.removeprefix(DATA), data)
        if stays is None:
            gone.append(path)
        elif stays != data:
            new[path] = stays
    return new, gone


def _noted(bag: Bag, at: datetime, gone: list[str], new: Iterable[str], names: list[str]) -> bytes:
    """Return the list of what was ever removed from a bag. It says what and when, never what it said."""
    earlier: list[Any] = json.loads(bag.removed) if bag.removed else []
    note = {
        "at": at.isoformat(),
        "files_removed": gone,
        "files_changed": sorted(new),
        "entry_fields_changed": names,
    }
    return (json.dumps([*earlier, note], ensure_ascii=False, indent=1) + "\n").encode()


def _differs(one: Entry, other: Entry, name: str) -> bool:
    return bool(getattr(one, name) != getattr(other, name))
