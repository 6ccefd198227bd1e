"""What the owner's papers promise in the crew's name is on the crew's sheet and in its calendar.

The papers are read by other programs than ours. The samples are always tried; `HANDOVER_CASES` names a folder
with further jobs, each NAME.toml with NAME.csv and a row of its README that has the time of issue.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "agreement"))

from promises import PROMISES, broken_promises, crew_lines
from second_hand import NODE, Papers, read_papers

from handover.service.issuing import issue

pytestmark = pytest.mark.skipif(
    shutil.which("node") is None or not (NODE / "node_modules" / "ical.js").is_dir(),
    reason="ical.js reads no calendar here",
)
SAMPLES = Path(__file__).parents[2] / "sample_jobs"
AT = {
    "summer-garage": "2026-07-14T12:30:00-04:00",
    "driveway-compound": "2026-05-05T15:30:00-04:00",
    "november-shop": "2026-11-10T15:00:00-06:00",
}
CASES = os.environ.get("HANDOVER_CASES")
NAMES = ("texas", "minn", "night", "indoor", "sparse", "german", "late")


def papers_of(record: Path, weather: Path, at: str) -> tuple[Papers, datetime]:
    as_of = datetime.fromisoformat(at)
    issued = issue(record, weather, as_of=as_of)
    zone = ZoneInfo(issued.schedule.timezone)
    return read_papers(issued.files, zone), as_of.astimezone(zone)


@pytest.mark.parametrize("sample", AT)
def test_the_crew_reads_what_the_owner_of_a_sample_is_promised(sample: str) -> None:
    papers, at = papers_of(SAMPLES / sample / "job.toml", SAMPLES / sample / "weather.csv", AT[sample])
    assert list(broken_promises(papers, at.date())) == []
    # ... and there is something to compare: each paper of the crew that lacks it is found.
    assert len(crew_lines(papers)) > 1
    without = replace(papers, crew=[], crew_plain="")
    kinds = {kind for kind, _ in broken_promises(without, at.date())}
    for paper in ("crew sheet", "crew's calendar"):
        assert {
            f"promise that is not on the {paper}",
            f"hour of the crew that is not on the {paper}",
        } <= kinds


@pytest.mark.skipif(CASES is None, reason="HANDOVER_CASES names no folder with further jobs")
@pytest.mark.parametrize("name", NAMES)
def test_the_crew_reads_what_the_owner_of_a_further_job_is_promised(name: str) -> None:
    folder = Path(CASES or "")
    row = next(each for each in (folder / "README.md").read_text().splitlines() if f"| {name} |" in each)
    at = re.findall(r"20\d\d-\d\d-\d\dT[\d:]+[-+][\d:]+", row)[0]
    papers, as_of = papers_of(folder / f"{name}.toml", folder / f"{name}.csv", at)
    assert list(broken_promises(papers, as_of.date())) == []


def test_each_promise_is_one_that_a_catalog_has() -> None:
    """A promise whose words changed would be looked for in vain."""
    catalogs = Path(__file__).parents[2] / "templates"
    texts = [
        re.sub(r'"\n"', "", path.read_text(encoding="utf-8")).lower()
        for path in catalogs.glob("*/LC_MESSAGES/handover.po")
    ]
    for each in PROMISES:
        assert any(re.search(each.owner.replace(":", ""), text) for text in texts), each.owner
        assert any(re.search(each.crew, text) for text in texts), each.crew
