"""Privacy: personal data is removed from bag and catalog, technical data stays, and the bag records it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import fields
from typing import TYPE_CHECKING

from handover.archive.bag import DATA_FOLDER, REMOVED_FILE, Bag
from handover.archive.bag_writer import BagContents, bag_contact
from handover.archive.deposit import recover, replace_contents
from handover.archive.entry import JobEntry
from handover.archive.errors import CorruptBag

if TYPE_CHECKING:
    from datetime import datetime

    from handover.archive.store import Archive

RedactFile = Callable[[str, bytes], bytes | None]
"""From a file's path below "data/" and its contents to what stays of them; None for nothing."""


def forget_job(
    archive: Archive,
    job: str,
    redact: RedactFile,
    redact_entry: Callable[[JobEntry], JobEntry],
    at: datetime,
    *,
    redact_text: Callable[[str], str] = str,
    may_stay: Callable[[str], bool] = bool,
) -> list[str]:
    """Remove personal data from the bag of a job and from the catalog.

    The two states of the bag are never mixed. Once this has returned, nothing of the old one remains in the
    bag, beside it, or in unused pages of the catalog. Copies elsewhere, such as a backup, are not reached.

    Args:
        archive: The archive.
        job: The id of the job.
        redact: What stays of a file.
        redact_entry: What stays of the entry. The id of the job stays.
        at: Time of removal, aware; written into the bag.
        redact_text: What stays of the path of a file that is gone, in the list of what was removed.
        may_stay: Whether something of a file with this path may stay: only then is it read.

    Returns:
        The paths below "data/" of the files that were removed or changed.

    Raises:
        UnusableInput: There is no such job.
        CorruptBag, LockTimeout, NotArchived, IndexPending, CatalogFailed: As `deposit_files`.
    """
    recover(archive)
    with archive.lock(job):
        bag = archive.bag(job)
        new, removed = _redact_files(bag, redact, may_stay)
        entry = redact_entry(bag.entry)
        if entry.job != job:
            raise ValueError("the id of a job stays as it is")
        fields_gone = [each.name for each in fields(JobEntry) if _differs(entry, bag.entry, each.name)]
        if not (new or removed or fields_gone):
            return []
        state = BagContents(
            entry=entry,
            at=at,
            contact=bag_contact(bag),
            kept={
                path: made for path, made in bag.payload.items() if path not in new and path not in removed
            },
            new=new,
            removed=_removal_list(bag, at, [redact_text(path) for path in removed], new, fields_gone),
        )
        replace_contents(archive, state, bag)
    return sorted(path.removeprefix(DATA_FOLDER) for path in (*removed, *new))


def _redact_files(
    bag: Bag, redact: RedactFile, may_stay: Callable[[str], bool]
) -> tuple[dict[str, bytes], list[str]]:
    """Return the files that change, and the paths of the files that are removed."""
    new: dict[str, bytes] = {}
    removed_paths: list[str] = []
    for path in sorted(bag.payload):
        below = path.removeprefix(DATA_FOLDER)
        if not may_stay(below):
            removed_paths.append(path)
            continue
        data = bag.read(path)
        stays = redact(below, data)
        if stays is None:
            removed_paths.append(path)
        elif stays != data:
            new[path] = stays
    return new, removed_paths


def _removal_list(bag: Bag, at: datetime, removed: list[str], new: Iterable[str], names: list[str]) -> bytes:
    """Return the list of all removals from a bag: what was removed and when, never its content."""
    try:
        earlier = json.loads(bag.removed) if bag.removed else []
    except (ValueError, RecursionError):
        earlier = None
    if not isinstance(earlier, list):
        raise CorruptBag(f"{bag.folder}: {REMOVED_FILE} cannot be read; restore it from a copy")
    note = {
        "at": at.isoformat(),
        "files_removed": removed,
        "files_changed": sorted(new),
        "entry_fields_changed": names,
    }
    return (json.dumps([*earlier, note], ensure_ascii=False, indent=1) + "\n").encode()


def _differs(one: JobEntry, other: JobEntry, name: str) -> bool:
    return bool(getattr(one, name) != getattr(other, name))
