"""The office's archive: verifying compared with sha256sum, finding among many jobs, archiving one.

Run it on a quiet machine: `make bench`. It prints a table with the goals and judges nothing. The URL
of an empty PostgreSQL database may be given, to find in that instead of in a file.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from handover.archive.bag import Bag
from handover.archive.catalog import Catalog, JobState, Query
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.entry import JobEntry, Task
from handover.archive.store import Archive
from handover.archive.verify import verify_archive

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

COUNTS = (10, 100, 1_000, 10_000, 100_000)
NOW = datetime(2026, 7, 14, 12, 0, tzinfo=UTC)

OWNERS = ("Ana", "Bo", "Zoë", "Li", "Mar", "Tove", "Ida", "Ole", "Kim", "Pat")
NAMES = ("Prueba", "Muster", "Beispiel", "Esempio", "Voorbeeld", "Exemplo", "Example", "Sample")
STREETS = ("Alder", "Birch", "Cedar", "Dogwood", "Elm", "Fir", "Gum", "Hazel", "Ivy", "Juniper", "Larch")

QUERIES = {
    "a rare name and a street": Query("prueba 1234"),
    "two common words": Query("zoe birch"),
    "a word that every job has": Query("flatwork"),
    "the beginning of a word that every job has": Query("flat"),
    "a word that no job has": Query("zzz"),
    "all, by date": Query(placed_from=NOW.date() - timedelta(days=300), placed_until=NOW.date()),
    "curing": Query(states=frozenset({JobState.CURING}), at=NOW),
    "not acknowledged": Query(states=frozenset({JobState.NOT_ACKNOWLEDGED}), at=NOW),
    "frost ahead, of which there is none": Query(states=frozenset({JobState.FROST_AHEAD}), at=NOW),
    "a word that every job has, cylinder low": Query(
        "flatwork", states=frozenset({JobState.CYLINDER_LOW}), at=NOW
    ),
    "a word that every job has, frost ahead": Query(
        "flatwork", states=frozenset({JobState.FROST_AHEAD}), at=NOW
    ),
}


class Line(NamedTuple):
    """A line of a table."""

    what: str
    value: str
    goal: str = ""

    def print(self) -> None:
        print(f"{self.what:56} {self.value:>12}   {self.goal}")


def jobs() -> Iterator[Bag]:
    """Give invented jobs without end, the last placed first, four a day; as bags that are only entries."""
    chance = random.Random(1)  # noqa: S311 - the same jobs every time
    number = 0
    while True:
        placed = NOW - timedelta(hours=6 * number)
        entry = JobEntry(
            f"{placed:%Y-%m-%d}-{number}",
            placed,
            1,
            placed,
            owner=f"{chance.choice(OWNERS)} {chance.choice(NAMES)}",
            street=f"{chance.randrange(2000)} {chance.choice(STREETS)} Lane",
            contractor="Example Flatwork",
            mix=f"{chance.choice((3000, 3500, 4000))} psi, type {chance.choice(('I', 'II', 'V'))}",
            supplier=f"Sample Ready Mix {chance.randrange(20)}",
            remarks=" ".join(chance.choices(STREETS, k=8)),
            curing_ends=placed + timedelta(days=7),
            acknowledged=None if chance.random() < 0.02 else placed,
            cylinder_low=chance.random() < 0.001,
            tasks=tuple(
                Task(kind, placed + timedelta(days=1)) for kind in ("strip-edge-forms", "saw-joints")
            ),
        )
        yield Bag(Path(entry.job), {}, (), entry, b"", frozenset(), "0" * 64)
        number += 1


def median_ms(work: Callable[[], object], times: int = 15) -> float:
    """Return how many ms some work takes, after a first time."""
    work()
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken) * 1000


def resident_mb() -> float:
    """Return what this process has in memory, in MB."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6


def bench_finding(where: Path | str) -> None:
    """Measure how long finding takes, against the number of jobs."""
    catalog = Catalog.open(where)
    source = jobs()
    table: dict[str, list[float]] = {what: [] for what in QUERIES}
    table["what is due on a day"] = []
    put: list[float] = []
    given: list[float] = []
    there = 0
    for count in COUNTS:
        began = time.perf_counter()
        while there < count:
            batch = list(islice(source, min(1000, count - there)))
            catalog.put(batch)
            there += len(batch)
        put.append(
            (time.perf_counter() - began) / (count - (COUNTS[COUNTS.index(count) - 1] if there > 10 else 0))
        )
        for what, query in QUERIES.items():
            table[what].append(median_ms(lambda query=query: catalog.find(query)))
        table["what is due on a day"].append(median_ms(lambda: catalog.due(NOW.date(), NOW)))
        began = time.perf_counter()
        there = sum(1 for _ in catalog.entries())
        given.append((time.perf_counter() - began) / there)
    print(f"{'find, ms; goal at 100,000 jobs: within 50':48}", *(f"{count:>9,}" for count in COUNTS))
    for what, times in table.items():
        print(f"  {what:46}", *(f"{each:9.1f}" for each in times))
    print(f"{'cost of one job, ms; the same at any number':48}")
    print(f"  {'to put it in':46}", *(f"{each * 1000:9.2f}" for each in put))
    print(f"  {'to give it out, as all are for an export':46}", *(f"{each * 1000:9.2f}" for each in given))

    before = resident_mb()
    for _ in range(100):
        for query in QUERIES.values():
            catalog.find(query)
    Line("memory after 1,100 queries more", f"{resident_mb() - before:+.1f} MB", "flat").print()
    sum(1 for _ in catalog.entries())
    Line(
        "memory after all entries were given, page by page", f"{resident_mb() - before:+.1f} MB", "flat"
    ).print()
    catalog.close()


def bench_verifying(folder: Path, what: str, sizes: tuple[int, ...], bags: int) -> None:
    """Measure verifying beside sha256sum on the same files."""
    chance = random.Random(2)  # noqa: S311
    with Archive(folder) as archive:
        for number in range(bags):
            files = {
                f"file {each}": chance.randbytes(1000) * (size // 1000) for each, size in enumerate(sizes)
            }
            deposit_files(archive, Deposit(JobEntry(f"job {number}", NOW, 1, NOW), files), NOW)
        files = sorted(str(file) for file in archive.bags.rglob("*") if file.is_file())
        octets = sum(Path(file).stat().st_size for file in files)
        listed = "\0".join(files).encode()
        ours, bare = [], []
        for _ in range(5):
            began = time.perf_counter()
            assert verify_archive(archive).sound
            ours.append(time.perf_counter() - began)
            began = time.perf_counter()
            subprocess.run(["xargs", "-0", "sha256sum"], input=listed, stdout=subprocess.DEVNULL, check=True)
            bare.append(time.perf_counter() - began)
    Line(f"verify, {bags} bags of {what}", f"{octets / min(ours) / 1e6:.0f} MB/s").print()
    Line(
        "  beside sha256sum on the same files", f"{min(bare) / min(ours):.2f} x", "at least 0.8 x its speed"
    ).print()


def bench_filing(folder: Path) -> None:
    """Measure filing one issue of a job, until it is on the disk."""
    numbers = iter(range(1000))
    issue = {f"{name}.pdf": bytes(60_000) for name in "abcdefg"}
    with Archive(folder) as archive:

        def file_one() -> None:
            deposit_files(archive, Deposit(JobEntry(f"job {next(numbers)}", NOW, 1, NOW), issue), NOW)

        Line("to file one issue of seven files", f"{median_ms(file_one, 30):.0f} ms").print()


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bench_filing(folder / "filing")
        bench_verifying(folder / "sheets", "12 files of 60 kB", (60_000,) * 12, 200)
        bench_verifying(
            folder / "photos", "12 files of 60 kB, 8 of 3 MB", (60_000,) * 12 + (3_000_000,) * 8, 12
        )
        bench_verifying(folder / "film", "one file of 300 MB", (300_000_000,), 1)
        bench_finding(sys.argv[1] if len(sys.argv) > 1 else folder / "catalog.sqlite")


if __name__ == "__main__":
    main()
