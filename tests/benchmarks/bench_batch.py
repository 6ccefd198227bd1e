"""What many jobs cost: beside the bare PDF engine, on two cores beside one, and in a worker's memory.

    python tests/benchmarks/bench_batch.py [JOBS]

Run it on a quiet machine. It prints a table with the goals and judges nothing. JOBS (24) is how many
jobs are done; the memory of a worker is looked at after a tenth of them and at the end, so that 1,000 tell of
its growth from the 100th job on.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import replace
from datetime import datetime
from functools import partial
from itertools import count, islice
from pathlib import Path
from typing import TYPE_CHECKING

from handover.documents import pages
from handover.documents.pdf import VARIANT, _files
from handover.service.batch import Batch, find_records, run_batch
from handover.service.issuing import check_request, read_request
from handover.service.settings import Settings
from handover.service.workers import RenderResult, RenderTask, make_documents, run_in_processes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from handover.documents.pdf import Attachment

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_jobs" / "summer-garage"
AS_OF = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
WARM = 2
BESIDE = 6

Page = tuple[str, "Sequence[Attachment]"]


def line(what: str, value: str, goal: str = "") -> None:
    """Print a line of the table."""
    print(f"{what:66} {value:>9}   {goal}")


def orders() -> Iterator[RenderTask]:
    """Give orders without end: the sample, each time by another name."""
    received = check_request(read_request(SAMPLE / "job.toml", SAMPLE / "weather.csv", AS_OF))
    record = dict([next(iter(received.files.items()))])
    for number in count():
        yield RenderTask(f"job-{number}", replace(received, files=record), AS_OF, 1, Settings())


def finished_pages() -> list[Page]:
    """Return the pages of one job as the PDF engine receives them, with the embedded files."""
    seen: list[Page] = []
    render = pages.render_pdf

    def noted(html: str, attachments: Sequence[Attachment] = ()) -> bytes:
        seen.append((html, attachments))
        return render(html, attachments)

    pages.render_pdf = noted
    try:
        make_documents(next(orders()))
    finally:
        pages.render_pdf = render
    return seen


def in_turns(times: int, *works: Callable[[], object]) -> list[float]:
    """Return the processor time of each piece of work, done in turns, in seconds: the mean of a few."""
    spent = [0.0 for _ in works]
    for turn in range(WARM + times):
        for place, work in enumerate(works):
            began = time.process_time()
            work()
            spent[place] += (time.process_time() - began) * (turn >= WARM)
    return [each / times for each in spent]


def bench_beside_engine() -> None:
    """Measure a job in a warm worker beside the bare engine: plain, and to the same kind of PDF as ours."""
    from weasyprint import HTML  # noqa: PLC0415 - after the worker has warmed up

    same = finished_pages()
    order = next(orders())
    ours, plain, archival = in_turns(
        BESIDE,
        lambda: make_documents(order),
        lambda: [HTML(string=html).write_pdf() for html, _ in same],
        lambda: [
            HTML(string=html).write_pdf(pdf_variant=VARIANT, attachments=_files(attachments))
            for html, attachments in same
        ],
    )
    line("one job in a warm worker, all documents", f"{ours:.2f} s")
    line("  bare engine, same pages, plain PDF", f"{plain:.2f} s")
    line("  bare engine, same pages, PDF/A-3a with the files inside", f"{archival:.2f} s")
    line("  throughput beside the engine's, plain PDF", f"{plain / ours:.2f}")
    line("  throughput beside the engine's, PDF/A-3a", f"{archival / ours:.2f}", "0.9")


def bench_cores(jobs: int, folder: Path) -> None:
    """Measure whole batches, written and all, on one core and on two."""
    records = folder / "records"
    records.mkdir()
    text = (SAMPLE / "job.toml").read_text(encoding="utf-8")
    name = next(each for each in text.splitlines() if each.startswith("id"))
    for number in range(jobs):
        (records / f"job-{number}.toml").write_text(
            text.replace(name, f'id = "job-{number}"'), encoding="utf-8"
        )
    seconds = []
    for workers in (1, 2):
        what = Batch(records, folder / f"out-{workers}", AS_OF, weather=SAMPLE / "weather.csv")
        settled: list[float] = []
        hands = partial(run_in_processes, workers=workers)
        result = run_batch(what, find_records(records), hands, lambda _: settled.append(time.perf_counter()))  # noqa: B023
        if {each.state for each in result} != {"done"}:
            raise SystemExit(f"not all done: {result}")
        # From the first answer on: to begin the processes is not what is measured.
        seconds.append((settled[-1] - settled[workers - 1]) / (jobs - workers))
        line(f"a batch of {jobs} jobs, {workers} at work", f"{1 / seconds[-1]:.2f} /s")
    line("  two cores beside one", f"{seconds[0] / seconds[1]:.2f} x", "1.85 x")


def bench_memory(jobs: int) -> None:
    """Measure the resident memory of one worker as its jobs go by."""
    early, late = max(1, jobs // 10), jobs
    sizes = {}
    answers = run_in_processes(islice(orders(), jobs), 1, work=measured)
    for number, (_, answer) in enumerate(answers, start=1):
        sizes[number] = float(answer.failure)
    line(f"memory of a worker after {early} jobs", f"{sizes[early]:.0f} MB")
    line(f"  after {late}", f"{sizes[late]:.0f} MB")
    line("  growth", f"{(sizes[late] / sizes[early] - 1) * 100:.1f} %", "within 10 %, from 100 to 1,000")


def measured(order: RenderTask) -> RenderResult:
    """Do a job; answer with the resident memory of the process, in MB."""
    answer = make_documents(order)
    if not answer.documents:
        raise RuntimeError(answer.failure or answer.findings)
    resident = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return replace(answer, documents={}, failure=str(resident * os.sysconf("SC_PAGE_SIZE") / 1e6))


def main() -> None:
    """Print the table."""
    jobs = int(sys.argv[1]) if sys.argv[1:] else 24
    bench_beside_engine()
    with tempfile.TemporaryDirectory() as folder:
        bench_cores(jobs, Path(folder))
    bench_memory(jobs)


if __name__ == "__main__":
    main()
