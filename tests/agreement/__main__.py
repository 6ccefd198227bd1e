"""Issue jobs of all kinds, read their papers second-hand, and list where they contradict each other.

    python tests/agreement [JOBS] [--from NUMBER] [--keep FOLDER] [--joined] [--workers NUMBER] [--all]

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

from joined import joined_findings
from judge import findings
from random_jobs import RandomJob, random_job, slabs_of_project
from second_hand import read_papers

from handover.errors import UnusableInput
from handover.service.issuing import IssuedSet, issue
from handover.service.joining import join_to_folder
from handover.service.settings import Settings

JOBS = 300
FIRST = 5
"""How many findings of a kind are listed."""


def issue_job(job: RandomJob, folder: Path) -> IssuedSet:
    """Return the set of a job whose record and weather are in a folder."""
    settings = Settings(rules=job.rules, firm_language=job.firm_language)
    return issue(folder / "job.toml", folder / "weather.csv", as_of=job.as_of, settings=settings)


def documents_of(job: RandomJob, keep: Path | None = None) -> dict[str, bytes]:
    """Issue a job and return its documents by name."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = keep / job.name if keep else Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "job.toml").write_text(job.record, encoding="utf-8")
        (folder / "weather.csv").write_text(job.weather, encoding="utf-8")
        (folder / "as-of").write_text(job.as_of.isoformat(), encoding="utf-8")
        issued = issue_job(job, folder)
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


def try_project(number: int, keep: Path | None = None) -> tuple[RandomJob, list[tuple[str, str]]]:
    """Return the first job of a project of two slabs, and what is wrong with their joined papers."""
    slabs = slabs_of_project(number)
    with tempfile.TemporaryDirectory() as temporary:
        base = (keep or Path(temporary)) / f"{slabs[0].name}-joined"
        try:
            sets = [_issued(each, base / each.name) for each in slabs]
            settings = Settings(firm_language=slabs[0].firm_language)
            joined = join_to_folder(sets, base / "joined", slabs[1].as_of, settings)
        except UnusableInput as refused:
            return slabs[0], [("project refused", "; ".join(str(each) for each in refused.findings))]
        own = [
            {each.name: each.read_bytes() for each in folder.iterdir() if each.is_file()} for folder in sets
        ]
        return slabs[0], list(joined_findings(slabs[1], joined.files, own))


def _issued(job: RandomJob, folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text(job.record, encoding="utf-8")
    (folder / "weather.csv").write_text(job.weather, encoding="utf-8")
    issue_job(job, folder).write(folder / "set")
    return folder / "set"


def _files_of(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir() if each.is_file()}


def main() -> int:
    """Try the jobs and print what is wrong, the most frequent first."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("jobs", nargs="?", type=int, default=JOBS)
    options.add_argument("--from", dest="first", type=int, default=0)
    options.add_argument("--keep", type=Path)
    options.add_argument("--joined", action="store_true", help="each job with a second slab, joined")
    options.add_argument("--workers", type=int, default=os.cpu_count(), help="processes")
    options.add_argument("--all", action="store_true", help="list each finding, not the first five of a kind")
    wanted = options.parse_args()
    numbers = range(wanted.first, wanted.first + wanted.jobs)
    seen: dict[str, list[str]] = defaultdict(list)
    with ProcessPoolExecutor(wanted.workers) as pool:
        for job, wrong in pool.map(
            try_project if wanted.joined else try_job, numbers, [wanted.keep] * len(numbers)
        ):
            for kind, where in wrong:
                seen[kind].append(f"{job.name} ({job.method}): {where}")
    for kind, places in sorted(seen.items(), key=lambda each: -len(each[1])):
        print(f"{kind}: {len(places)} times in {len({each[:3] for each in places})} jobs")
        for place in places if wanted.all else places[:FIRST]:
            print(f"    {place}")
    print(f"{wanted.jobs} jobs, {sum(map(len, seen.values()))} findings")
    return 1 if seen else 0


if __name__ == "__main__":
    sys.exit(main())
