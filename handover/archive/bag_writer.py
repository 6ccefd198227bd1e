"""A new state of a bag, written beside the old one: complete, checked, and on the disk before it counts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NoReturn

from handover.archive.bag import (
    DECLARATION,
    DECLARATION_FILE,
    ENTRY_FILE,
    INFO_FILE,
    MANIFESTS,
    REMOVED_FILE,
    TAG_MANIFESTS,
    Bag,
    Digests,
    Info,
    digests,
    human_size,
    manifests,
    size_of,
    write_info,
)
from handover.archive.entry import Contact, entry_json
from handover.archive.errors import CorruptBag, NotArchived
from handover.archive.verify import verify_folder
from handover.base import atomic
from handover.base.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from handover.archive.access import Access
    from handover.archive.entry import JobEntry
    from handover.archive.verify import FileFault


@dataclass(frozen=True)
class BagContents:
    """The contents of a bag to write.

    Attributes:
        entry: What the catalog knows of the job.
        at: Time of this state.
        kept: Digests of the files of the present bag that stay unchanged.
        new: Contents of the files to add, or where they are, by path, "data/" before each.
        contact: The contact, as (label, value) of bag-info.
        removed: The list of what was removed, as JSON text; empty where nothing was.
    """

    entry: JobEntry
    at: datetime
    contact: Info
    kept: Mapping[str, Digests] = field(default_factory=dict)
    new: Mapping[str, bytes | Path] = field(default_factory=dict)
    removed: bytes = b""


def write_bag(fresh: Path, state: BagContents, old: Path, access: Access) -> None:
    """Write a bag to a new folder, and check it there.

    Files that stay get a second name, not a second copy; their digests are those of the old manifests, so
    that a change since then is found.

    Args:
        fresh: The folder, which must not exist yet.
        state: The contents of the bag.
        old: The folder of the present bag, with the files that stay.
        access: The rights of what is new.

    Raises:
        CorruptBag: A file that stays is not what it was.
        NotArchived: A new file changed while it was read.
    """
    payload = {**state.kept, **{path: digests(data) for path, data in state.new.items()}}
    folders = _make_folders(fresh, payload, access)
    for path in state.kept:
        atomic.link_or_copy(old / path, fresh / path)
    sizes = [(fresh / path).stat().st_size for path in state.kept] + [
        size_of(each) for each in state.new.values()
    ]
    written = {**state.new, **_tag_files(state, payload, sizes)}
    for path, data in written.items():
        atomic.write_new_file(fresh / path, data, access.file)
    for path in (*written, *reversed(folders)):
        atomic.flush(fresh / path)
    if faults := verify_folder(fresh).faults:
        _refuse(faults, state.kept, old)


def _refuse(faults: Sequence[FileFault], kept: Mapping[str, Digests], old: Path) -> NoReturn:
    """Refuse a new state: a file of the present bag is wrong, or else somebody wrote to a new one."""
    named = "; ".join(f"{each.path} {each.kind}" for each in faults)
    if not any(each.path in kept for each in faults):
        raise NotArchived(f"{old}: {named} while it was read. The bag is unchanged; archive it again")
    raise CorruptBag(f"{old}: {named}. Restore the bag from a copy before anything is added to it")


def contact_info(contact: Contact) -> Info:
    """Return the contact of a bag as labels and values of bag-info (RFC 8493, section 2.2.2)."""
    return (
        ("Source-Organization", contact.organization),
        ("Contact-Name", contact.name),
        ("Contact-Phone", contact.phone),
        ("Contact-Email", contact.email),
    )


def bag_contact(bag: Bag) -> Info:
    """Return the contact of an existing bag."""
    labels = {label for label, _ in contact_info(Contact())}
    return tuple(pair for pair in bag.info if pair[0] in labels)


def _tag_files(state: BagContents, payload: Mapping[str, Digests], sizes: list[int]) -> dict[str, bytes]:
    octets = sum(sizes)
    info = (
        *state.contact,
        ("External-Identifier", state.entry.job),
        ("Bagging-Date", state.at.date().isoformat()),
        ("Bag-Size", human_size(octets)),
        ("Payload-Oxum", f"{octets}.{len(sizes)}"),
        ("Bag-Software-Agent", f"handover {VERSION}"),
    )
    tags = {
        DECLARATION_FILE: DECLARATION,
        INFO_FILE: write_info(info),
        ENTRY_FILE: entry_json(state.entry),
        **dict(zip(MANIFESTS, manifests(payload), strict=True)),
    }
    if state.removed:
        tags[REMOVED_FILE] = state.removed
    tag_manifests = manifests({name: digests(data) for name, data in tags.items()})
    return {**tags, **dict(zip(TAG_MANIFESTS, tag_manifests, strict=True))}


def _make_folders(fresh: Path, payload: Mapping[str, object], access: Access) -> list[str]:
    """Create every folder of a bag; return them, the outer before the inner."""
    folders = {"", "data"}
    for path in payload:
        parts = path.split("/")[:-1]
        folders.update("/".join(parts[: count + 1]) for count in range(len(parts)))
    ordered = sorted(folders)
    for each in ordered:
        access.make_folder(fresh / each)
    return ordered
