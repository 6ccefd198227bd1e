"""The catalog made anew from the bags."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.archive.bag import Bag
from handover.archive.deposit import recover
from handover.archive.errors import CorruptBag

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.archive.store import Archive


def rebuild_catalog(archive: Archive, progress: Callable[[str, int], None] | None = None) -> list[CorruptBag]:
    """Make the catalog say what the bags say. Others may go on filing meanwhile.

    Args:
        archive: The archive. A catalog file that is no longer readable is thrown away first.
        progress: Called after each bag with its name and the number of bags there are in all.

    Returns:
        Why each bag that could not be read could not. What the catalog knew of such a bag stays.

    Raises:
        Busy: Somebody else is at work on a bag.
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
