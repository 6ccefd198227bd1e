"""How long a person waits: `--help`, one issue, one schedule; each beside what it cannot be quicker than.

Run it on a quiet machine: `make bench`. It prints a table and judges nothing; the goals stand in it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import timeit
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from handover.documents.pages import care_sheet_html, data_sheet_html
from handover.documents.wording import Wording
from handover.schedule.ensemble import MEMBERS
from handover.schedule.plan import plan_cure
from handover.service.inputs import compute, read_inputs

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_jobs" / "summer-garage"
AS_OF = "2026-07-14T12:30:00-04:00"
HANDOVER = Path(sys.executable).with_name("handover")

AS_INSTALLED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""Surroundings in which Python keeps what it has compiled, as it does for a person who installed this."""

BARE_ENGINE = """
import sys
from pathlib import Path
from weasyprint import HTML
for file in sys.argv[1:]:
    HTML(string=Path(file).read_text(encoding="utf-8")).write_pdf()
"""


class Run(NamedTuple):
    """What a process took."""

    seconds: float
    peak_mb: float


def process(*command: object) -> Run:
    """Run a command in a fresh process, quietly.

    Returns:
        Processor time [s], which other work on the machine does not stretch, and peak resident memory [MB].
    """
    child = subprocess.Popen(
        list(map(str, command)), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=AS_INSTALLED
    )
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"failed: {' '.join(map(str, command))}")
    return Run(used.ru_utime + used.ru_stime, used.ru_maxrss / 1000)


def beside(times: int, ours: list[object], bare: list[object]) -> tuple[Run, Run]:
    """Run two commands in turns; return the least time and the highest peak of each.

    The least, because what else the machine does only ever adds.
    """
    process(*ours), process(*bare)
    runs = [(process(*ours), process(*bare)) for _ in range(times)]
    of_ours, of_bare = zip(*runs, strict=True)
    return least(of_ours), least(of_bare)


def least(runs: Sequence[Run]) -> Run:
    """Return the least time and the highest peak."""
    return Run(min(run.seconds for run in runs), max(run.peak_mb for run in runs))


def line(what: str, value: str, goal: str) -> None:
    """Print a line of the table."""
    print(f"{what:46} {value:>9}   {goal}")


def bench_help() -> None:
    """Measure the front door."""
    helped, nothing = beside(30, [HANDOVER, "--help"], [sys.executable, "-c", "pass"])
    line("handover --help", f"{helped.seconds * 1000:.0f} ms", "")
    line("  beside python -c pass", f"{helped.seconds / nothing.seconds:.2f} x", "within 3 x")


def bench_issue(folder: Path) -> None:
    """Measure one whole issue, beside the bare engine on the same finished pages."""
    as_of = datetime.fromisoformat(AS_OF)
    received = read_inputs(SAMPLE / "job.toml", SAMPLE / "weather.csv", as_of)
    words = Wording(received.job, compute(received, as_of))
    pages = []
    for name, html in (("care", care_sheet_html), ("data", data_sheet_html)):
        pages.append(folder / f"{name}.html")
        pages[-1].write_text(html(words), encoding="utf-8")
    command = [HANDOVER, "issue", SAMPLE / "job.toml", "-w", SAMPLE / "weather.csv", "--as-of", AS_OF]
    issued, bare = beside(7, [*command, "-o", folder / "out"], [sys.executable, "-c", BARE_ENGINE, *pages])
    line("handover issue, the whole set", f"{issued.seconds:.2f} s", "")
    line(
        "  beside the bare PDF engine, same pages",
        f"{issued.seconds / bare.seconds:.2f} x",
        "2 x",
    )
    line("  peak memory", f"{issued.peak_mb:.0f} MB", "within 250 MB")
    line("  peak memory of the bare engine", f"{bare.peak_mb:.0f} MB", "")


def bench_schedule() -> None:
    """Measure a schedule of 28 days, slab and ground, in process: one case, and all that a date rests on."""
    as_of = datetime.fromisoformat(AS_OF)
    received = read_inputs(SAMPLE / "job.toml", SAMPLE / "weather.csv", as_of)
    for members, goal in ((1, "within 150 ms"), (MEMBERS, "within 600 ms")):
        plan = partial(plan_cure, received.job, received.weather, as_of, members=members)
        seconds = min(timeit.repeat(plan, number=1, repeat=10))
        cases = "1 case" if members == 1 else f"{members} cases"
        line(f"a schedule of 28 days, {cases}, in process", f"{seconds * 1000:.0f} ms", goal)


def main() -> None:
    """Print the table."""
    bench_help()
    bench_schedule()
    with tempfile.TemporaryDirectory() as folder:
        bench_issue(Path(folder))


if __name__ == "__main__":
    main()
