"""Whether every file of every bag is what it was when it was filed."""

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
    INFO_FILE,
    MANIFESTS,
    TAG_MANIFESTS,
    Digests,
    both_manifests,
    digests,
    read_info,
    seal_of,
)
from handover.archive.errors import CatalogFailed, LockTimeout
from handover.base import atomic
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
    """What became of one bag: how many files were read, how many octets, and what is wrong."""

    bag: str
    files: int
    octets: int
    faults: tuple[FileFault, ...]


@dataclass
class Report:
    """What became of an archive: totals, the bags in which something is wrong, and why the catalog failed."""

    bags: int = 0
    files: int = 0
    octets: int = 0
    damaged: list[BagReport] = field(default_factory=list)
    catalog_fault: str = ""

    @property
    def sound(self) -> bool:
        """Whether every file is what it was, and the catalog can be asked."""
        return not self.damaged and not self.catalog_fault

    def add(self, report: BagReport) -> None:
        """Count one more bag."""
        self.bags += 1
        self.files += report.files
        self.octets += report.octets
        if report.faults:
            self.damaged.append(report)


def verify_archive(archive: Archive, progress: Callable[[BagReport, int], None] | None = None) -> Report:
    """Check every bag of an archive against its manifests, and against what the catalog says of it.

    Nothing is written. Memory does not grow with the number of sound bags.

    Args:
        archive: The archive.
        progress: Called after each bag with what became of it and the number of bags there are in all.
    """
    names, report = archive.names(), Report()
    catalogued: Mapping[str, str] | None = None
    try:
        if archive.has_catalog:
            catalogued = archive.indexed_digests()
        elif names:
            report.catalog_fault = "there is none, though there are bags; `reindex` makes it anew"
    except (CatalogFailed, UnusableInput) as fault:
        report.catalog_fault = str(fault)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for each in _map_in_order(pool, lambda name: _verify_bag(archive, name, catalogued), names):
            report.add(each)
            if progress is not None:
                progress(each, len(names))
    for name in sorted((catalogued or {}).keys() - names):
        if not (archive.bags / name).exists():  # else it was filed while we looked
            report.add(BagReport(name, 0, 0, (FileFault("", "missing", "the catalog knows this bag"),)))
    for name in archive.unexpected_files():
        report.add(BagReport(name, 0, 0, (FileFault("", "unexpected", "is no bag"),)))
    return report


def _verify_bag(archive: Archive, name: str, catalogued: Mapping[str, str] | None) -> BagReport:
    """Check one bag, while nobody writes to it; against its seal in the catalog, too, where there is one."""
    folder = archive.bags / name
    try:
        with archive.lock_to_read(name):
            report = verify_folder(folder)
            if report.faults or catalogued is None or archive.is_pending(name):
                return report
            found = seal_of(folder)
            if catalogued.get(name) == found:
                return report
            seal = archive.catalog.seal(name)  # somebody may have filed while we looked
    except LockTimeout as fault:
        return BagReport(name, 0, 0, (FileFault("", "changed", str(fault)),))
    if seal == found:
        return report
    other = (
        FileFault(
            "", "unexpected", "is whole, but the catalog does not know it; `reindex` if it belongs here"
        )
        if seal is None
        else FileFault("", "changed", "is whole, but not as the catalog knows it; `reindex` if that is meant")
    )
    return replace(report, faults=(other,))


# ---- one bag ----------------------------------------------------------------------------------------


def verify_folder(folder: Path) -> BagReport:
    """Check every file of a bag against its manifests; what is in no manifest is unexpected."""
    found = dict(atomic.walk(folder))
    faults: dict[str, FileFault] = {}

    def tell(path: str, kind: FaultKind, detail: str = "") -> None:
        faults.setdefault(path, FileFault(path, kind, detail))

    payload = _read_listed(folder, MANIFESTS, tell, payload=True)
    tags = _read_listed(folder, TAG_MANIFESTS, tell, payload=False)
    expected = payload | tags
    for path in sorted({*expected, *MANIFESTS, *TAG_MANIFESTS, INFO_FILE, DECLARATION_FILE} - found.keys()):
        tell(path, "missing")
    if payload and tags:
        for path in sorted(found.keys() - expected.keys() - {*TAG_MANIFESTS}):
            tell(path, "unexpected")

    octets = 0
    for path in sorted(expected.keys() & found.keys()):
        if not found[path].is_file(follow_symlinks=False):
            tell(path, "changed", "is no file")
            continue
        size, actual = digest_file(folder / path)
        octets += size
        if actual != expected[path]:
            tell(path, "changed")
    if not faults:
        _check_tags(folder, {path: found[path].stat().st_size for path in payload}, tell)
    return BagReport(folder.name, len(expected.keys() & found.keys()), octets, tuple(faults.values()))


def _read_listed(
    folder: Path, names: Sequence[str], on_fault: OnFault, *, payload: bool
) -> dict[str, Digests]:
    """Return what a pair of manifests lists; nothing where they cannot be read, and tell so."""
    try:
        listed = both_manifests(folder, names)
    except FileNotFoundError:
        return {}  # told as missing
    except (OSError, ValueError) as fault:
        on_fault(names[0], "changed", str(fault))
        return {}
    if odd := [path for path in listed if path.startswith(DATA_FOLDER) != payload]:
        on_fault(names[0], "changed", f"names {odd[0]}, which is not its business")
    return listed


def _check_tags(folder: Path, sizes: Mapping[str, int], on_fault: OnFault) -> None:
    """Check what the tag files of a bag say, which its manifests cannot."""
    if (folder / DECLARATION_FILE).read_bytes() != DECLARATION:
        on_fault(DECLARATION_FILE, "changed", "is not the declaration of a bag of version 1.0")
    oxum = f"{sum(sizes.values())}.{len(sizes)}"
    if dict(read_info((folder / INFO_FILE).read_bytes())).get("Payload-Oxum") != oxum:
        on_fault(INFO_FILE, "changed", f"the payload is {oxum}")


def digest_file(file: Path) -> tuple[int, Digests]:
    """Return size [octets] and digests of a file. Threads read and reckon side by side: hashlib lets them."""
    size = file.stat().st_size
    if size <= SMALL_FILE_BYTES:
        data = file.read_bytes()
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
    with file.open("rb", buffering=0) as stream:
        while count := stream.readinto(block):
            for each in hashes:
                each.update(block[:count])
    return [each.hexdigest() for each in hashes]


def _map_in_order(
    pool: ThreadPoolExecutor, work: Callable[[str], BagReport], names: Iterable[str]
) -> Iterator[BagReport]:
    """Give the results of some work in order, with no more of it under way than keeps the threads busy."""
    waiting = iter(names)
    under_way: deque[Future[BagReport]] = deque()
    for name in islice(waiting, 4 * (os.cpu_count() or 1)):
        under_way.append(pool.submit(work, name))
    while under_way:
        yield under_way.popleft().result()
        for name in islice(waiting, 1):
            under_way.append(pool.submit(work, name))
