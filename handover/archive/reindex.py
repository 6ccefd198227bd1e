"""The catalog, rebuilt from the bags."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.archive.bag import Bag
from handover.archive.deposit import recover
from handover.archive.errors import CatalogFailed, CorruptBag, LockTimeout

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.archive.store import Archive
    from handover.errors import HandoverError


def rebuild_catalog(
    archive: Archive, progress: Callable[[str, int], None] | None = None
) -> list[HandoverError]:
    """Rebuild the catalog from the bags. Others may archive at the same time.

    Args:
        archive: The archive. A catalog file that is no longer readable is deleted first.
        progress: Called after each bag with its name and the number of all bags.

    Returns:
        The fault of each bag that could not be read, or that another process holds. What the catalog knew of
        such a bag stays.

    Raises:
        CatalogFailed: The catalog cannot be written.
    """
    archive.replace_broken_catalog()
    recover(archive)
    damaged: list[HandoverError] = []
    names = archive.names()
    for name in names:
        try:
            _index(archive, name)
        except (CorruptBag, LockTimeout) as fault:
            damaged.append(fault)
        if progress is not None:
            progress(name, len(names))
    _drop_missing(archive, names)
    archive.catalog.rebuild_search()
    return damaged


def _index(archive: Archive, name: str) -> None:
    """Put the rows of one bag into the catalog.

    Raises:
        CorruptBag: It cannot be read, or the catalog, which works, cannot hold its entry.
        LockTimeout: Another process holds it.
        CatalogFailed: The catalog does not work.
    """
    with archive.lock(name):
        bag = Bag.open(archive.bags / name)
        try:
            archive.catalog.put([bag])
        except CatalogFailed as fault:
            archive.catalog.seals()  # raises where it works for no bag
            raise CorruptBag(f"{bag.folder}: the catalog cannot hold its entry: {fault}") from fault


def _drop_missing(archive: Archive, names: list[str]) -> None:
    """Remove the rows of bags that are gone."""
    for name in sorted(archive.indexed_digests().keys() - names):
        with archive.lock(name):
            if not (archive.bags / name).exists():
                archive.catalog.drop(name)
