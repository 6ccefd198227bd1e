"""Issue jobs of all kinds, read their papers second-hand, and list where they contradict each other.

    python tests/agreement [JOBS] [--from NUMBER] [--keep FOLDER]

In some minutes on two cores; exit status 1 if there is a finding.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from judge import findings
from random_jobs import RandomJob, random_job
from second_hand import read_papers

from handover.errors import UnusableInput
from handover.service.issuing import issue

JOBS = 300


def documents_of(job: RandomJob, keep: Path | None = None) -> dict[str, bytes]:
    """Issue a job and return its documents by name."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = keep / job.name if keep else Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "job.toml").write_text(job.record, encoding="utf-8")
        (folder / "weather.csv").write_text(job.weather, encoding="utf-8")
        (folder / "as-of").write_text(job.as_of.isoformat(), encoding="utf-8")
        issued = issue(folder / "job.toml", folder / "weather.csv", as_of=job.as_of)
        if keep:
            for name, data in issued.files.items():
                path = folder / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
        return dict(issued.files)


def try_job(number: int, keep: Path | None = None) -> tuple[RandomJob, list[tuple[str, str]]]:
    """Return a job, and what is wrong with its papers."""
    job = random_job(number)
    try:
        documents = documents_of(job, keep)
    except UnusableInput as refused:
        return job, [("refused", "; ".join(str(each) for each in refused.findings))]
    return job, list(findings(job, read_papers(documents, job.zone)))


def main() -> int:
    """Try the jobs and print what is wrong, the most frequent first."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("jobs", nargs="?", type=int, default=JOBS)
    options.add_argument("--from", dest="first", type=int, default=0)
    options.add_argument("--keep", type=Path)
    wanted = options.parse_args()
    numbers = range(wanted.first, wanted.first + wanted.jobs)
    seen: dict[str, list[str]] = defaultdict(list)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for job, wrong in pool.map(try_job, numbers, [wanted.keep] * len(numbers)):
            for kind, where in wrong:
                seen[kind].append(f"{job.name} ({job.method}): {where}")
    for kind, places in sorted(seen.items(), key=lambda each: -len(each[1])):
        print(f"{kind}: {len(places)} times in {len({each[:3] for each in places})} jobs")
        for place in places[:5]:
            print(f"    {place}")
    print(f"{wanted.jobs} jobs, {sum(map(len, seen.values()))} findings")
    return 1 if seen else 0


if __name__ == "__main__":
    sys.exit(main())
