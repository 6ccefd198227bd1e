"""The catalog, rebuilt from the bags."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.archive.bag import Bag
from handover.archive.deposit import recover
from handover.archive.errors import CorruptBag

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.archive.store import Archive


def rebuild_catalog(archive: Archive, progress: Callable[[str, int], None] | None = None) -> list[CorruptBag]:
    """Rebuild the catalog from the bags. Others may archive at the same time.

    Args:
        archive: The archive. A catalog file that is no longer readable is deleted first.
        progress: Called after each bag with its name and the number of all bags.

    Returns:
        The fault of each bag that could not be read. What the catalog knew of such a bag stays.

    Raises:
        LockTimeout: Another process holds a bag.
        CatalogFailed: The catalog cannot be written.
    """
    archive.replace_broken_catalog()
    recover(archive)
    damaged: list[CorruptBag] = []
    names = archive.names()
    for name in names:
        with archive.lock(name):
            try:
                archive.catalog.put([Bag.open(archive.bags / name)])
            except CorruptBag as fault:
                damaged.append(fault)
        if progress is not None:
            progress(name, len(names))
    for name in sorted(archive.indexed_digests().keys() - names):
        with archive.lock(name):
            if not (archive.bags / name).exists():
                archive.catalog.drop(name)
    archive.catalog.rebuild_search()
    return damaged
