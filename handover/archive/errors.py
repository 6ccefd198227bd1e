"""The errors of an archive.

    HandoverError
     |-- NotArchived     nothing was changed: the disk is full, or the like
     |-- IndexPending    the files are archived, but not all is done; the next run does the rest
     |-- LockTimeout     another process holds the bag
     |-- CorruptBag      a bag differs from its manifests
     `-- CatalogFailed   the catalog could not be read or written; the bags are intact

Unusable input raises `UnusableInput`, as everywhere.
"""

from __future__ import annotations

from handover.errors import HandoverError


class NotArchived(HandoverError):
    """Nothing was archived; the archive is unchanged."""


class IndexPending(HandoverError):
    """The files are archived, but the old state or the catalog is not up to date; the next run does that."""


class LockTimeout(HandoverError):
    """Another process has held the bag for longer than the timeout."""


class CorruptBag(HandoverError):
    """A bag differs from its manifests; nothing is added to it until it is restored from a copy."""


class CatalogFailed(HandoverError):
    """The catalog could not be read or written. The bags are not affected."""
