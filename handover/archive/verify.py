"""Whether every file of every bag is unchanged since it was archived."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import TYPE_CHECKING, Literal

from handover.archive.bag import (
    ALGORITHMS,
    DATA_FOLDER,
    DECLARATION,
    DECLARATION_FILE,
    ENTRY_FILE,
    INFO_FILE,
    MANIFESTS,
    TAG_MANIFESTS,
    Bag,
    Digests,
    both_manifests,
    digests,
    read_info,
    seal_of,
)
from handover.archive.errors import CatalogFailed, CorruptBag, LockTimeout
from handover.base import atomic
from handover.base.regular_files import open_regular, read_regular
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from concurrent.futures import Future
    from pathlib import Path

    from handover.archive.store import Archive

SMALL_FILE_BYTES = 1 << 20  # up to here a file is read at once
BLOCK_BYTES = 1 << 18
LARGE_FILE_BYTES = 8 << 20  # from here on the two algorithms are worth a thread each

FaultKind = Literal["missing", "changed", "unexpected"]
OnFault = Callable[..., None]


@dataclass(frozen=True, order=True)
class FileFault:
    """A file that is missing, changed or unexpected; the path is "" for a bag as a whole."""

    path: str
    kind: FaultKind
    detail: str = ""


@dataclass(frozen=True)
class BagReport:
    """The result for one bag: how many files and octets were read, and the faults."""

    bag: str
    files: int
    octets: int
    faults: tuple[FileFault, ...]


@dataclass
class Report:
    """The result for an archive: totals, the bags with faults, and why the catalog failed."""

    bags: int = 0
    files: int = 0
    octets: int = 0
    damaged: list[BagReport] = field(default_factory=list)
    catalog_fault: str = ""

    @property
    def sound(self) -> bool:
        """Whether every file is unchanged and the catalog can be read."""
        return not self.damaged and not self.catalog_fault

    def add(self, report: BagReport) -> None:
        """Count one more bag."""
        self.bags += 1
        self.files += report.files
        self.octets += report.octets
        if report.faults:
            self.damaged.append(report)


def verify_archive(archive: Archive, progress: Callable[[BagReport, int], None] | None = None) -> Report:
    """Check every bag of an archive against its manifests and against the catalog.

    Nothing is written. Memory does not grow with the number of sound bags.

    Args:
        archive: The archive.
        progress: Called after each bag with its result and the number of all bags.
    """
    names, report = archive.names(), Report()
    catalogued: Mapping[str, str] | None = None
    try:
        if archive.has_catalog:
            catalogued = archive.indexed_digests()
        elif names:
            report.catalog_fault = "there is none, though there are bags; `handover reindex` rebuilds it"
    except (CatalogFailed, UnusableInput) as fault:
        report.catalog_fault = str(fault)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for each in _map_in_order(pool, lambda name: _verify_bag(archive, name, catalogued), names):
            report.add(each)
            if progress is not None:
                progress(each, len(names))
    for name in sorted((catalogued or {}).keys() - names):
        if not (archive.bags / name).exists():  # else it was archived meanwhile
            report.add(BagReport(name, 0, 0, (FileFault("", "missing", "the catalog knows this bag"),)))
    for name in archive.unexpected_files():
        report.add(BagReport(name, 0, 0, (FileFault("", "unexpected", "is not a bag"),)))
    for name in archive.strays():
        stray = FileFault("", "unexpected", "belongs to no bag; remove it")
        report.damaged.append(BagReport(name, 0, 0, (stray,)))
    return report


def _verify_bag(archive: Archive, name: str, catalogued: Mapping[str, str] | None) -> BagReport:
    """Check one bag under its lock; against its seal in the catalog, too, if there is one."""
    folder = archive.bags / name
    try:
        with archive.lock_to_read(name):
            report = verify_folder(folder)
            if report.faults or catalogued is None or archive.is_pending(name):
                return report
            found = seal_of(folder)
            if catalogued.get(name) == found:
                return report
            seal = archive.catalog.seal(name)  # another process may have archived meanwhile
    except (LockTimeout, CatalogFailed) as fault:
        return BagReport(name, 0, 0, (FileFault("", "changed", str(fault)),))
    except (OSError, ValueError, RecursionError) as fault:  # of this bag alone; the others are checked
        return BagReport(name, 0, 0, (FileFault("", "changed", f"cannot be read: {fault}"),))
    if seal == found:
        return report
    other = (
        FileFault(
            "", "unexpected", "is intact, but not in the catalog; run `handover reindex` if it belongs here"
        )
        if seal is None
        else FileFault(
            "", "changed", "is intact, but differs from the catalog; run `handover reindex` if that is right"
        )
    )
    return replace(report, faults=(other,))


# ---- one bag ----------------------------------------------------------------------------------------


def verify_folder(folder: Path) -> BagReport:
    """Check every file of a bag against its manifests; a file in no manifest is unexpected."""
    found = dict(atomic.walk(folder))
    faults: dict[str, FileFault] = {}

    def report(path: str, kind: FaultKind, detail: str = "") -> None:
        faults.setdefault(path, FileFault(path, kind, detail))

    payload = _read_listed(folder, MANIFESTS, report, payload=True)
    tags = _read_listed(folder, TAG_MANIFESTS, report, payload=False)
    expected = payload | tags
    for path in sorted({*expected, *MANIFESTS, *TAG_MANIFESTS, INFO_FILE, DECLARATION_FILE} - found.keys()):
        report(path, "missing")
    if payload and tags:
        for path in sorted(found.keys() - expected.keys() - {*TAG_MANIFESTS}):
            report(path, "unexpected")

    octets = 0
    for path in sorted(expected.keys() & found.keys()):
        if not found[path].is_file(follow_symlinks=False):
            report(path, "changed", "is not a file")
            continue
        size, actual = digest_file(folder / path)
        octets += size
        if actual != expected[path]:
            report(path, "changed")
    if not faults:
        _check_tags(folder, {path: found[path].stat().st_size for path in payload}, report)
    return BagReport(folder.name, len(expected.keys() & found.keys()), octets, tuple(faults.values()))


def _read_listed(
    folder: Path, names: Sequence[str], on_fault: OnFault, *, payload: bool
) -> dict[str, Digests]:
    """Return what a pair of manifests lists; nothing if they cannot be read, which is reported."""
    try:
        listed = both_manifests(folder, names)
    except FileNotFoundError:
        return {}  # reported as missing
    except (OSError, ValueError) as fault:
        on_fault(names[0], "changed", str(fault))
        return {}
    if odd := [path for path in listed if path.startswith(DATA_FOLDER) != payload]:
        on_fault(names[0], "changed", f"names {odd[0]}, which belongs to another manifest")
    return listed


def _check_tags(folder: Path, sizes: Mapping[str, int], on_fault: OnFault) -> None:
    """Check the content of the tag files of a bag, which manifests do not cover."""
    if read_regular(folder / DECLARATION_FILE) != DECLARATION:
        on_fault(DECLARATION_FILE, "changed", "is not the declaration of a bag of version 1.0")
    oxum = f"{sum(sizes.values())}.{len(sizes)}"
    if dict(read_info(read_regular(folder / INFO_FILE))).get("Payload-Oxum") != oxum:
        on_fault(INFO_FILE, "changed", f"the payload is {oxum}")
    try:
        Bag.open(folder)
    except CorruptBag as fault:
        on_fault(ENTRY_FILE, "changed", str(fault))


def digest_file(file: Path) -> tuple[int, Digests]:
    """Return size [octets] and digests of a file. Threads run side by side: hashlib releases the lock."""
    with open_regular(file) as stream:
        size = os.fstat(stream.fileno()).st_size
        if size <= SMALL_FILE_BYTES:
            data = stream.read()
            return len(data), digests(data)
    if size < LARGE_FILE_BYTES:
        return size, Digests(*_digest(file, ALGORITHMS))
    with ThreadPoolExecutor(len(ALGORITHMS)) as pool:
        one, other = pool.map(lambda algorithm: _digest(file, (algorithm,))[0], ALGORITHMS)
    return size, Digests(one, other)


def _digest(file: Path, algorithms: Sequence[str]) -> list[str]:
    """Return the digests of a file by some algorithms, reading it once."""
    hashes = [hashlib.new(each) for each in algorithms]
    block = memoryview(bytearray(BLOCK_BYTES))
    with open_regular(file) as stream:
        while count := stream.readinto(block):  # type: ignore[attr-defined]
            for each in hashes:
                each.update(block[:count])
    return [each.hexdigest() for each in hashes]


def _map_in_order(
    pool: ThreadPoolExecutor, work: Callable[[str], BagReport], names: Iterable[str]
) -> Iterator[BagReport]:
    """Yield the results of some work in order, with only as much in progress as keeps the threads busy."""
    waiting = iter(names)
    under_way: deque[Future[BagReport]] = deque()
    for name in islice(waiting, 4 * (os.cpu_count() or 1)):
        under_way.append(pool.submit(work, name))
    while under_way:
        yield under_way.popleft().result()
        for name in islice(waiting, 1):
            under_way.append(pool.submit(work, name))
