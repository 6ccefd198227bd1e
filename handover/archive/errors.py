"""What can go wrong with an archive.

    HandoverError
     |-- NotFiled        nothing was changed: the disk is full, or the like
     |-- Unfinished      it is filed, but not all is done; the next run does the rest
     |-- Busy            somebody else is at work on the bag
     |-- Damaged         a bag is not what its manifests say
     `-- CatalogFailed   the catalog could not be read or written; the bags are whole

What came in and cannot be used is `UnusableInput`, as everywhere.
"""

from __future__ import annotations

from handover.errors import HandoverError


class NotArchived(HandoverError):
    """Nothing was filed; the archive holds what it held before."""


class IndexPending(HandoverError):
    """It is filed, but the old state may linger, or the catalog not know; the next run sees to that."""


class LockTimeout(HandoverError):
    """Somebody else has held the bag for longer than we were ready to wait."""


class CorruptBag(HandoverError):
    """A bag is not what its manifests say; nothing is added to it until it is mended from a copy."""


class CatalogFailed(HandoverError):
    """The catalog could not be read or written. The bags are not touched by that."""
