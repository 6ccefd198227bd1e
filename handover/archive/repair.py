"""Repair of an archive from itself: what the bags say twice is written again; nothing else is touched.

    an unfinished step     completed, as the next run would do
    a manifest             written again from its twin of the other algorithm, if every file fits
    a lost catalog         rebuilt from the bags

A file of the payload is never written. A bag that differs from the catalog stays as it is: who changed it is
not known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from handover.archive.bag import (
    DATA_FOLDER,
    MANIFESTS,
    TAG_MANIFESTS,
    digests,
    manifests,
    read_manifest,
    seal_of,
)
from handover.archive.deposit import recover
from handover.archive.errors import CatalogFailed, LockTimeout
from handover.archive.reindex import rebuild_catalog
from handover.archive.verify import digest_file
from handover.base.atomic import walk, write_file
from handover.base.regular_files import read_regular

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from handover.archive.store import Archive


class Repair(NamedTuple):
    """Something that was mended: in which bag, or "" for the catalog; and what."""

    bag: str
    what: str


def repair_archive(archive: Archive) -> list[Repair]:
    """Mend what can be mended from the bags alone, and return what was. Repeating it mends nothing more.

    Raises:
        CatalogFailed: The catalog cannot be written.
    """
    seals = _known_seals(archive)
    mended: list[Repair] = []
    for name in archive.names():
        try:
            with archive.lock(name):
                mended += _repair_manifests(archive, name, (seals or {}).get(name))
        except (LockTimeout, OSError, ValueError, RecursionError):
            continue  # `verify` names it
    mended += _finish_steps(archive)
    if seals is None and archive.names():
        rebuild_catalog(archive)
        mended.append(Repair("", "the catalog is rebuilt from the bags"))
    return mended


def _known_seals(archive: Archive) -> Mapping[str, str] | None:
    """Return the seals in the catalog; None if it is lost or cannot be read."""
    if not archive.has_catalog:
        return None
    try:
        return archive.indexed_digests()
    except CatalogFailed:
        return None


def _finish_steps(archive: Archive) -> list[Repair]:
    """Complete what killed runs left to do."""
    before = archive.pending()
    recover(archive)
    left = archive.pending()
    return [Repair(each, "an unfinished step is completed") for each in before if each not in left]


def _repair_manifests(archive: Archive, name: str, seal: str | None) -> list[Repair]:
    """Write the manifests of a bag again that their twins can tell; the caller holds the bag."""
    folder = archive.bags / name
    mended = []
    for file, text in _damaged_manifests(folder, seal):
        write_file(folder / file, text, archive.access.file)
        mended.append(Repair(name, f"{file} is written again from its twin"))
    return mended


def _damaged_manifests(folder: Path, seal: str | None) -> Iterator[tuple[str, bytes]]:
    """Yield each manifest that differs from what its twin and the files say, with its text."""
    for file, text in _from_twins(folder, MANIFESTS):
        if _is_sealed(folder, file, text):
            yield file, text
    for file, text in _from_twins(folder, TAG_MANIFESTS):  # after the manifests that they list
        if _fits_seal(folder, file, text, seal):
            yield file, text


def _from_twins(folder: Path, names: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Yield each manifest of a pair that differs, with the text by its twin, if that fits the files."""
    payload = names == MANIFESTS
    present = {path for path, _ in walk(folder) if path.startswith(DATA_FOLDER) == payload}
    for which, name in enumerate(names):
        listed = _read(folder / names[1 - which])
        if listed is None or listed.keys() != present - {*TAG_MANIFESTS}:
            continue
        made = {path: digest_file(folder / path)[1] for path in listed}
        if all(made[path][1 - which] == digest for path, digest in listed.items()):
            text = manifests(made)[which]
            if text != _bytes(folder / name):
                yield name, text


def _is_sealed(folder: Path, file: str, text: bytes) -> bool:
    """Return whether each tag manifest that can be read, at least one, lists a manifest with this text."""
    made = digests(text)
    listed = [
        (each, made[which]) for which, name in enumerate(TAG_MANIFESTS) if (each := _read(folder / name))
    ]
    return bool(listed) and all(each.get(file) == digest for each, digest in listed)


def _fits_seal(folder: Path, file: str, text: bytes, seal: str | None) -> bool:
    """Return whether a bag with this tag manifest is the one in the catalog, if there is one."""
    if seal is None:
        return True
    return seal == (digests(text)[0] if file == TAG_MANIFESTS[0] else seal_of(folder))


def _read(manifest: Path) -> dict[str, str] | None:
    """Return what a manifest lists; None if it cannot be read."""
    try:
        return read_manifest(read_regular(manifest)) or None
    except (OSError, ValueError):
        return None


def _bytes(file: Path) -> bytes | None:
    try:
        return read_regular(file)
    except OSError:
        return None
