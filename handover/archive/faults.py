"""What can go wrong with an archive.

HandoverError
 |-- NotFiled        nothing was changed: the disk is full, or the like
 |-- Busy            somebody else is at work on the bag
 |-- Damaged         a bag is not what its manifests say
 `-- CatalogFailed   the catalog could not be read or written; the bags are whole
"""

from __future__ import annotations

from handover.errors import HandoverError


class NotFiled(HandoverError):
    """Nothing was filed; the archive holds what it held before."""


class Busy(HandoverError):
    """Somebody else has held the bag for longer than we were ready to wait."""


class Damaged(HandoverError):
    """A bag is not what its manifests say; nothing is added to it until it is mended from a copy."""


class CatalogFailed(HandoverError):
    """The catalog could not be read or written. The bags are not touched by that."""
