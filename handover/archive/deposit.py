"""Deposits: a bag gets a new state, completely or not at all, and loses nothing that it held.

The new state is written beside the old one, in `.working/BAG`, checked there, and exchanged with it by name.
`.working/BAG` exists as long as something is left to do, the catalog included. The next run sees
from it that a run was killed, and recovers the bag.
"""

from __future__ import annotations

import shutil
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handover.archive.bag import DATA_FOLDER, ISSUES_FOLDER, Bag, Digests, digests, issue_folder
from handover.archive.bag_names import NameAllocator
from handover.archive.bag_writer import BagContents, bag_contact, contact_info, write_bag
from handover.archive.errors import CatalogFailed, CorruptBag, IndexPending, LockTimeout, NotArchived
from handover.archive.store import LOG, Archive, bag_name
from handover.base import atomic
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from handover.archive.entry import Contact, JobEntry

NEW_FOLDER, OLD_FOLDER = "fresh", "old"


@dataclass(frozen=True)
class Deposit:
    """Files and facts to add to the bag of a job.

    Attributes:
        entry: What the catalog knows of the job from now on.
        issue: The files of the issue that ``entry.revision`` counts; empty where nothing was issued.
        others: Other files by path: photos, messages, acknowledgements; as bytes, or where they are. Where
            another file has that path already, the new one gets a number.
        contact: The contact of the bag; None to leave it unchanged.
    """

    entry: JobEntry
    issue: Mapping[str, bytes] = field(default_factory=dict)
    others: Mapping[str, bytes | Path] = field(default_factory=dict)
    contact: Contact | None = None


@dataclass(frozen=True)
class DepositResult:
    """The result of a deposit.

    Attributes:
        folder: The bag.
        paths: The path in the bag of each of the other files, by the requested path.
        changed: False if the bag held all of it already.
    """

    folder: Path
    paths: Mapping[str, str]
    changed: bool


def deposit_files(archive: Archive, deposit: Deposit, at: datetime) -> DepositResult:
    """Add a deposit to the bag of its job. The bag keeps what it holds; repeating a deposit adds nothing.

    Args:
        archive: The archive; created if there is none.
        deposit: The deposit.
        at: Time of archiving, aware; the bag keeps its date.

    Raises:
        UnusableInput: The revision was issued with other files, or a name cannot be used.
        CorruptBag: The existing bag was changed, or has unexpected files.
        LockTimeout: Another process is working on the bag.
        NotArchived: It could not be written, and nothing was changed.
        IndexPending: It is archived, but the catalog may lack it; the next run adds it.
        CatalogFailed: The catalog cannot take what an earlier run archived.
    """
    recover(archive)
    entry = deposit.entry
    with archive.lock(entry.job):
        _complete(archive, bag_name(entry.job))
        bag = archive.bag_or_none(entry.job)
        taken = bag.payload if bag else {}
        new, paths = _allocate_paths(taken, deposit, bag.revisions if bag else ())
        contact = contact_info(deposit.contact) if deposit.contact else bag_contact(bag) if bag else ()
        folder = archive.bags / bag_name(entry.job)
        if (
            bag
            and not new
            and bag.entry == entry
            and _normalised_info(contact) == _normalised_info(bag_contact(bag))
        ):
            return DepositResult(folder, paths, changed=False)
        removed = bag.removed if bag else b""
        replace_contents(archive, BagContents(entry, at, contact, kept=taken, new=new, removed=removed), bag)
    return DepositResult(folder, paths, changed=True)


def replace_contents(archive: Archive, state: BagContents, old: Bag | None) -> None:
    """Give the bag of a job a new state. The caller holds the bag. Raises as `deposit_files`.

    Args:
        archive: The archive.
        state: What the bag is to hold.
        old: The bag there is.
    """
    name = bag_name(state.entry.job)
    target, work = archive.bags / name, archive.working / name
    if old is not None:
        _refuse_unexpected_files(old)
    try:
        for each in (archive.bags, archive.working):
            archive.make_folder(each)
        work.mkdir()
        work.chmod(archive.access.folder)
        write_bag(work / NEW_FOLDER, state, target, archive.access)
        atomic.replace_folder(work / NEW_FOLDER, target, work / OLD_FOLDER)
    except BaseException as fault:
        with suppress(OSError, CatalogFailed):
            _complete(archive, name)
        if isinstance(fault, OSError):
            raise NotArchived(
                f"{target}: nothing was archived, the bag is unchanged: {fault.strerror}"
            ) from fault
        raise
    try:
        _complete(archive, name)
    except (OSError, CatalogFailed) as fault:
        raise IndexPending(f"{target}: is archived, but {fault}; the next run completes it") from fault


def recover(archive: Archive) -> None:
    """Clear up what runs that were killed left behind: half-written states, a catalog that does not know.

    Raises:
        CatalogFailed: The catalog cannot be brought up to date.
    """
    for name in archive.pending():
        try:
            with archive.lock(name, timeout_s=0):
                _complete(archive, name)
        except LockTimeout:
            continue  # that run is alive
        except CorruptBag as fault:
            LOG.warning("%s", fault)
        except OSError as fault:
            LOG.warning("%s: cannot be completed: %s", archive.working / name, fault.strerror or fault)


def _complete(archive: Archive, name: str) -> None:
    """Do what is left to do for a bag, if anything is. The caller holds the bag."""
    target, work = archive.bags / name, archive.working / name
    if not work.is_dir() or work.is_symlink():
        return
    atomic.restore_backup(target, work / OLD_FOLDER)
    atomic.flush(archive.bags)  # the new state is on the disk before the old one is removed
    for each in list(work.iterdir()):
        if each.is_dir() and not each.is_symlink():
            shutil.rmtree(each)
        else:  # a desktop or a network file system laid it there
            each.unlink()
    if target.exists():
        bag = Bag.open(target)
        archive.catalog.put([bag])
        if bag.removed:
            archive.catalog.vacuum()
    work.rmdir()


def _allocate_paths(
    present: Mapping[str, Digests], deposit: Deposit, revisions: tuple[int, ...]
) -> tuple[dict[str, bytes | Path], dict[str, str]]:
    """Return the new files of a deposit by their paths in the bag, and where each of the others is."""
    new: dict[str, bytes | Path] = {**_issue_files(present, deposit, revisions)}
    known = {**present, **{path: digests(data) for path, data in new.items()}}
    shelf = NameAllocator(known)
    paths: dict[str, str] = {}
    for wanted, data in deposit.others.items():
        made = digests(data)
        path = shelf.allocate(DATA_FOLDER + wanted, made)
        if path.startswith(ISSUES_FOLDER):
            raise UnusableInput(
                [Finding(f"{wanted!r} is among the documents of an issue", expected="`issue`")]
            )
        if path not in known:
            known[path], new[path] = made, data
        paths[wanted] = path
    return new, paths


def _issue_files(
    present: Mapping[str, Digests], deposit: Deposit, revisions: tuple[int, ...]
) -> dict[str, bytes]:
    """Return the files of the issue of a deposit by their paths in the bag; none where they are there."""
    if not deposit.issue:
        return {}
    revision, folder = deposit.entry.revision, issue_folder(deposit.entry.revision)
    shelf = NameAllocator({})
    new = {shelf.allocate(folder + each, digests(data)): data for each, data in deposit.issue.items()}
    if all(revision > each for each in revisions):
        return new
    there = {path: made for path, made in present.items() if path.startswith(folder)}
    if there == {path: digests(data) for path, data in new.items()}:
        return {}
    finding = Finding(
        f"revision {revision} of {deposit.entry.job} is in the archive with other documents"
        if there
        else f"revision {revision} of {deposit.entry.job} comes after a later one",
        field="revision",
        expected="a revision after the last, because an issue is never overwritten",
        example=str(revisions[-1] + 1),
    )
    raise UnusableInput([finding])


def _refuse_unexpected_files(bag: Bag) -> None:
    """Refuse a bag with files that it does not list, or without files that it lists."""
    found = {path for path, each in atomic.walk(bag.folder) if each.name not in atomic.DESKTOP_FILES}
    odd = [
        *(f"{path} missing" for path in sorted(bag.listed_files - found)),
        *(f"{path} unexpected" for path in sorted(found - bag.listed_files)),
    ]
    if odd:
        problem = (
            f"{bag.folder}: {'; '.join(odd)}. Restore the bag from a copy, take out files that it does not"
        )
        raise CorruptBag(f"{problem} list and archive those separately")


def _normalised_info(info: tuple[tuple[str, str], ...]) -> dict[str, str]:
    return {label: " ".join(value.split()) for label, value in info if value.strip()}
