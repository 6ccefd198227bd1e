"""How long a person waits: `--help`, one issue, one schedule; each beside what it cannot be quicker than.

Run it on a quiet machine: `make bench`. It prints a table with the goals and judges nothing.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import tempfile
import time
import timeit
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from bench_batch import finished_pages

from handover.documents.pdf import VARIANT
from handover.schedule.ensemble import MEMBERS
from handover.schedule.plan import plan_cure
from handover.service.issuing import check_request, read_request
from handover.service.pdf_workers import MAX_PDF_WORKERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handover.documents.pdf import Attachment

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_jobs" / "summer-garage"
AS_OF = "2026-07-14T12:30:00-04:00"
HANDOVER = Path(sys.executable).with_name("handover")

AS_INSTALLED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""Surroundings in which Python keeps what it has compiled, as it does for a person who installed this."""

BARE_ENGINE = """
import pickle, sys
from pathlib import Path
from weasyprint import HTML, Attachment
for html, options, files in pickle.loads(Path(sys.argv[1]).read_bytes()):
    HTML(string=html).write_pdf(attachments=[Attachment(**each) for each in files], **options)
"""
"""Renders pages one after the other: each a text, options, and the files to be laid inside."""


class Run(NamedTuple):
    """What a process took.

    Attributes:
        wall: From beginning to end, which a person waits. Only a quiet machine shows it. [s]
        processor: Time of the process itself, which other work on the machine stretches less. [s]
        peak_mb: Peak resident memory of the process itself.
    """

    wall: float
    processor: float
    peak_mb: float


def process(command: Sequence[object], cores: int) -> Run:
    """Run a command in a fresh process, quietly, on so many cores."""
    allowed = set(sorted(os.sched_getaffinity(0))[:cores])
    began = time.perf_counter()
    child = subprocess.Popen(
        list(map(str, command)),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=AS_INSTALLED,
        preexec_fn=partial(os.sched_setaffinity, 0, allowed),  # noqa: PLW1509 - this process has one thread
    )
    _, status, used = os.wait4(child.pid, 0)
    wall = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"failed: {' '.join(map(str, command))}")
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1000)


def in_turns(times: int, *commands: tuple[Sequence[object], int]) -> list[Run]:
    """Run commands in turns, each on its number of cores; return the least times and the highest peaks.

    The least, because what else the machine does only ever adds.
    """
    for command, cores in commands:
        process(command, cores)
    runs = [[process(command, cores) for command, cores in commands] for _ in range(times)]
    return [least(each) for each in zip(*runs, strict=True)]


def least(runs: Sequence[Run]) -> Run:
    """Return the least times and the highest peak."""
    walls, processors, peaks = zip(*runs, strict=True)
    return Run(min(walls), min(processors), max(peaks))


def line(what: str, value: str, goal: str = "") -> None:
    """Print a line of the table."""
    print(f"{what:60} {value:>9}   {goal}")


def bench_help() -> None:
    """Measure the front door."""
    helped, nothing = in_turns(30, ([HANDOVER, "--help"], 1), ([sys.executable, "-c", "pass"], 1))
    line("handover --help", f"{helped.wall * 1000:.0f} ms")
    line("  beside python -c pass", f"{helped.wall / nothing.wall:.2f} x", "within 4 x")
    line("  the same in processor time", f"{helped.processor / nothing.processor:.2f} x")


def bench_issue(folder: Path) -> None:
    """Measure one whole issue on one core and on two, beside the bare engine on the same finished pages.

    The bare engine makes the same two documents, PDF/A-3a with the files inside; and plain PDFs, which have
    neither tags nor files and are less work.
    """
    pages = finished_pages()
    same = [(html, {"pdf_variant": VARIANT}, [arguments_of(each) for each in files]) for html, files in pages]
    plain = [(html, {}, []) for html, _ in pages]
    for name, what in (("same", same), ("plain", plain)):
        (folder / name).write_bytes(pickle.dumps(what))
    engine = [sys.executable, "-c", BARE_ENGINE]
    command = [HANDOVER, "issue", SAMPLE / "job.toml", "-w", SAMPLE / "weather.csv", "--as-of", AS_OF]
    command += ["-o", folder / "out"]
    bare, less, one, two = in_turns(
        7,
        ([*engine, folder / "same"], 1),
        ([*engine, folder / "plain"], 1),
        (command, 1),
        (command, MAX_PDF_WORKERS),
    )
    line("the bare PDF engine, the same two documents, one core", f"{bare.wall:.2f} s")
    line("  the same pages as plain PDFs", f"{less.wall:.2f} s")
    line("handover issue, the whole set, one core", f"{one.wall:.2f} s")
    line("  beside the bare PDF engine", f"{one.wall / bare.wall:.2f} x", "within 1.35 x")
    line("  the same in processor time", f"{one.processor / bare.processor:.2f} x")
    line("  beside plain PDFs", f"{one.wall / less.wall:.2f} x")
    line("  the same in processor time", f"{one.processor / less.processor:.2f} x")
    line("handover issue, the whole set, two cores", f"{two.wall:.2f} s")
    line("  beside the bare PDF engine on one core", f"{two.wall / bare.wall:.2f} x", "within 0.9 x")
    line("  beside plain PDFs on one core", f"{two.wall / less.wall:.2f} x")
    line("peak memory on one core", f"{one.peak_mb:.0f} MB", "within 250 MB")
    line("  of the bare PDF engine", f"{bare.peak_mb:.0f} MB")


def arguments_of(attachment: Attachment) -> dict[str, object]:
    """Return an attachment as the arguments of the engine's own class."""
    return {
        "string": attachment.content,
        "name": attachment.name,
        "description": attachment.description,
        "created": attachment.dated,
        "modified": attachment.dated,
        "relationship": attachment.relation,
    }


def bench_schedule() -> None:
    """Measure a schedule of 28 days, slab and ground, in process: one case, and all that a date rests on."""
    as_of = datetime.fromisoformat(AS_OF)
    received = check_request(read_request(SAMPLE / "job.toml", SAMPLE / "weather.csv", as_of))
    for members, goal in ((1, "within 150 ms"), (MEMBERS, "within 600 ms")):
        plan = partial(plan_cure, received.job, received.weather, as_of, members=members)
        seconds = min(timeit.repeat(plan, number=1, repeat=10))
        ensemble = "1 member" if members == 1 else f"{members} members"
        line(f"a schedule of 28 days, {ensemble}, in process", f"{seconds * 1000:.0f} ms", goal)


def main() -> None:
    """Print the table."""
    bench_help()
    bench_schedule()
    with tempfile.TemporaryDirectory() as folder:
        bench_issue(Path(folder))


if __name__ == "__main__":
    main()
