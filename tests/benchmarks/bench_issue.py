"""How long a person waits: `--help`, one issue, one schedule; each beside what it cannot be quicker than.

Run it on a quiet machine: `make bench`. It prints a table and judges nothing; the goals stand in it.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from handover.documents.pages import care_sheet_html, data_sheet_html
from handover.issue.receive import compute, receive

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
        Wall time [s] and peak resident memory [MB].
    """
    began = time.perf_counter()
    child = subprocess.Popen(
        list(map(str, command)), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=AS_INSTALLED
    )
    _, status, used = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"failed: {' '.join(map(str, command))}")
    return Run(seconds, used.ru_maxrss / 1000)


def median(times: int, *command: object) -> Run:
    """Return the median time of several runs after one that does not count, and the highest peak."""
    process(*command)
    runs = [process(*command) for _ in range(times)]
    return Run(statistics.median(run.seconds for run in runs), max(run.peak_mb for run in runs))


def line(what: str, value: str, goal: str) -> None:
    """Print a line of the table."""
    print(f"{what:44} {value:>9}   {goal}")


def bench_help() -> None:
    """Measure the front door."""
    nothing = median(30, sys.executable, "-c", "pass")
    helped = median(30, HANDOVER, "--help")
    line("handover --help", f"{helped.seconds * 1000:.0f} ms", "")
    line("  beside python -c pass", f"{helped.seconds / nothing.seconds:.2f} x", "within 3 x")


def bench_issue(folder: Path) -> None:
    """Measure one whole issue, beside the bare engine on the same finished pages."""
    as_of = datetime.fromisoformat(AS_OF)
    received = receive(SAMPLE / "job.toml", SAMPLE / "weather.csv", as_of)
    schedule = compute(received, as_of)
    pages = []
    for name, html in (("care", care_sheet_html), ("data", data_sheet_html)):
        pages.append(folder / f"{name}.html")
        pages[-1].write_text(html(received.job, schedule), encoding="utf-8")
    bare = median(5, sys.executable, "-c", BARE_ENGINE, *pages)
    inputs = (SAMPLE / "job.toml", "-w", SAMPLE / "weather.csv", "--as-of", AS_OF)
    issued = median(5, HANDOVER, "issue", *inputs, "-o", folder / "out")
    line("handover issue, the whole set", f"{issued.seconds:.2f} s", "")
    line(
        "  beside the bare PDF engine on the same finished pages",
        f"{issued.seconds / bare.seconds:.2f} x",
        "2 x",
    )
    line("  peak memory", f"{issued.peak_mb:.0f} MB", "within 250 MB")
    line("  peak memory of the bare engine", f"{bare.peak_mb:.0f} MB", "")


def bench_schedule() -> None:
    """Measure one schedule of 28 days, slab and ground, in process."""
    as_of = datetime.fromisoformat(AS_OF)
    received = receive(SAMPLE / "job.toml", SAMPLE / "weather.csv", as_of)
    compute(received, as_of)
    seconds = []
    for _ in range(10):
        began = time.perf_counter()
        compute(received, as_of)
        seconds.append(time.perf_counter() - began)
    line("a schedule of 28 days, in process", f"{statistics.median(seconds) * 1000:.0f} ms", "within 150 ms")


def main() -> None:
    """Print the table."""
    bench_help()
    bench_schedule()
    with tempfile.TemporaryDirectory() as folder:
        bench_issue(Path(folder))


if __name__ == "__main__":
    main()
