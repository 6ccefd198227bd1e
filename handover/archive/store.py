"""The folders of an archive, the locks of its bags, and its catalog."""

from __future__ import annotations

import logging
import os
import threading
from contextlib import contextmanager, nullcontext
from functools import cached_property
from typing import TYPE_CHECKING, Self

from filelock import FileLock, Timeout

from handover.archive.access import Access, make_archive_folder
from handover.archive.bag import Bag
from handover.archive.errors import CatalogFailed, LockTimeout
from handover.base.atomic import DESKTOP_FILES, write_new_file
from handover.base.file_names import safe_name
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from handover.archive.catalog import Catalog

LOG = logging.getLogger("handover")

LOCK_TIMEOUT_S = 60.0
"""How long to wait for another process that holds a bag. [s]"""


class Archive:
    """An archive: a folder, and the place of its catalog.

    Nothing is created or opened before it is needed. Closing it, or leaving its `with`, closes the catalog.
    """

    def __init__(
        self,
        folder: Path,
        catalog: str | None = None,
        *,
        timeout_s: float = LOCK_TIMEOUT_S,
        group: str | None = None,
    ) -> None:
        """Describe an archive.

        Args:
            folder: Where the bags are, or will be.
            catalog: URL of a PostgreSQL database; None for a file beside the bags.
            timeout_s: How long to wait for another process that holds a bag. [s]
            group: The group of a new archive, whose members may read and write it; None: it is private.
        """
        self._group = group
        self.folder = folder
        self.bags = folder / "bags"
        self.working = folder / ".working"
        self._locks = folder / ".locks"
        self._url = catalog
        self._timeout_s = timeout_s
        self._local = threading.local()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the catalog, if it is open."""
        if "catalog" in self.__dict__:
            self.catalog.close()
            del self.__dict__["catalog"]

    # ---- rights -----------------------------------------------------------------------------------------

    @property
    def access(self) -> Access:
        """The rights of what is made in the archive."""
        return Access.of(self.folder)

    def make_folder(self, folder: Path) -> None:
        """Make a folder of the archive, and the archive, unless they exist.

        Raises:
            UnusableInput: There is no such group.
            OSError: One cannot be made.
        """
        make_archive_folder(self.folder, self._group)
        if folder != self.folder:
            self.access.make_folder(folder)

    # ---- bags -------------------------------------------------------------------------------------------

    def names(self) -> list[str]:
        """Return the names of the folders of all bags, in order."""
        if not self.bags.is_dir():
            return []
        with os.scandir(self.bags) as found:
            return sorted(each.name for each in found if each.is_dir(follow_symlinks=False))

    def unexpected_files(self) -> list[str]:
        """Return the names of files among the bags, where only folders belong."""
        if not self.bags.is_dir():
            return []
        with os.scandir(self.bags) as found:
            names = [each.name for each in found if not each.is_dir(follow_symlinks=False)]
        return sorted(set(names) - DESKTOP_FILES)

    def pending(self) -> list[str]:
        """Return the names of the bags for which a run has left something to do, in order."""
        return [name for name, is_work in self._in_working() if is_work]

    def strays(self) -> list[str]:
        """Return the paths of what lies among the work of runs, and is of none."""
        return [
            f"{self.working.name}/{name}"
            for name, is_work in self._in_working()
            if not is_work and name not in DESKTOP_FILES
        ]

    def _in_working(self) -> list[tuple[str, bool]]:
        """Return each name in the folder of work, and whether it can be the work for a bag."""
        if not self.working.is_dir():
            return []
        with os.scandir(self.working) as found:
            return sorted(
                (each.name, each.is_dir(follow_symlinks=False) and bag_name(each.name) == each.name)
                for each in found
            )

    def is_pending(self, name: str) -> bool:
        """Whether a run has something left to do for a bag, such as the catalog; see `recover`."""
        return (self.working / name).exists()

    def bag(self, job: str) -> Bag:
        """Open the bag of a job to read it. Hold its lock while others may write to it.

        Raises:
            UnusableInput: There is no such job.
            CorruptBag: The bag cannot be read.
        """
        bag = self.bag_or_none(job)
        if bag is None:
            finding = Finding(
                f"there is no job {job!r} in this archive",
                file=str(self.folder),
                expected="the id of an archived job; `handover find` lists them",
            )
            raise UnusableInput([finding])
        return bag

    def bag_or_none(self, job: str) -> Bag | None:
        """Open the bag of a job to read it; None if there is none.

        Raises:
            UnusableInput: The bag of another job has the name that this one's would have.
            CorruptBag: The bag cannot be read.
        """
        folder = self.bags / bag_name(job)
        if not folder.exists():
            return None
        bag = Bag.open(folder)
        if bag.job != job:
            finding = Finding(
                f"the bag of another job, {bag.job!r}, has the name that the bag of {job!r} would have",
                file=str(folder),
                expected="ids that differ by more than case and punctuation",
            )
            raise UnusableInput([finding])
        return bag

    # ---- locks ------------------------------------------------------------------------------------------

    @contextmanager
    def lock(self, job: str, timeout_s: float | None = None) -> Iterator[None]:
        """Lock the bag of a job against writing by others.

        The holder may lock it again, so that a job can be read, computed again and archived under one lock.

        Args:
            job: The id of the job, or the name of its bag's folder.
            timeout_s: How long to wait; that of the archive where None. [s]

        Raises:
            LockTimeout: Another process holds it.
        """
        with self._lock_name(bag_name(job), self._timeout_s if timeout_s is None else timeout_s):
            yield

    @contextmanager
    def _lock_name(self, name: str, timeout_s: float) -> Iterator[None]:
        if name in self._locked_names:
            yield
            return
        self.make_folder(self._locks)
        lock = FileLock(self._locks / f"{name}.lock", timeout=timeout_s, mode=self.access.file)
        try:
            lock.acquire()
        except Timeout:
            raise LockTimeout(f"another process is working on {name}") from None
        self._locked_names.add(name)
        try:
            yield
        finally:
            self._locked_names.discard(name)
            lock.release()

    def lock_to_read(self, name: str) -> AbstractContextManager[None]:
        """Lock a bag, unless we may not write to the archive, and so hardly anybody may."""
        return self.lock(name) if self.is_writable else nullcontext()

    @property
    def _locked_names(self) -> set[str]:
        held: set[str] = self._local.__dict__.setdefault("names", set())
        return held

    # ---- catalog ----------------------------------------------------------------------------------------

    @cached_property
    def catalog(self) -> Catalog:
        """The catalog, opened at first use; created or migrated if necessary.

        If the archive is read-only, so is the catalog.

        Raises:
            CatalogFailed: It cannot be opened.
        """
        from handover.archive.catalog import Catalog  # noqa: PLC0415 - SQLAlchemy takes its time

        if self._url is None and self._catalog_file.exists() and not self._may_write_catalog:
            return Catalog.open_to_read(self._catalog_file)
        with self._lock_name(_CATALOG, self._timeout_s):
            if self._url is None and not os.path.lexists(self._catalog_file):
                write_new_file(self._catalog_file, b"", self.access.file)
            return Catalog.open(self._catalog_file if self._url is None else self._url)

    @property
    def _catalog_file(self) -> Path:
        return self.folder / "catalog.sqlite"

    @property
    def has_catalog(self) -> bool:
        """Whether there is a catalog."""
        return self._url is not None or self._catalog_file.exists()

    @property
    def is_writable(self) -> bool:
        """Whether we may write to the archive."""
        return os.access(self.folder, os.W_OK)

    @property
    def _may_write_catalog(self) -> bool:
        return self.is_writable and os.access(self._catalog_file, os.W_OK)

    def replace_broken_catalog(self) -> None:
        """Delete a catalog file that can no longer be read; a new one is created at the next use."""
        try:
            self.indexed_digests()
        except CatalogFailed:
            if self._url is not None:
                raise
            self.close()
            for ending in ("", "-wal", "-shm"):
                self._catalog_file.with_name(f"catalog.sqlite{ending}").unlink(missing_ok=True)

    def indexed_digests(self) -> dict[str, str]:
        """Return the seals of the bags that the catalog knows, by name; none where there is no catalog."""
        return self.catalog.seals() if self.has_catalog else {}


_CATALOG = "catalog."  # no bag is called that: no safe name ends in a full stop


def bag_name(job: str) -> str:
    """Return the name of the folder of a job's bag: its id in lower case, as any system takes it."""
    return safe_name(job.lower())
