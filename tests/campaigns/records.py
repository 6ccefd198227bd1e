"""Job records as nobody should write them: read, and issued where they are accepted."""

from __future__ import annotations

import json
import tomllib
from datetime import date, datetime, time, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from campaign import Case, campaign
from mutations import TEXTS, odd, spoil, spoil_bytes, spoil_tree
from plans import out_of_order
from program import SAMPLES, assert_clean, quick, suite

from handover.errors import HandoverError
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.reading import RecordSource, examine_source
from handover.jobs.schema import job_schema
from handover.service.issuing import issue

if TYPE_CHECKING:
    from random import Random

    from handover.errors import Finding
    from handover.jobs.record import JobRecord

MAX_FINDINGS = 60


@cache
def _examples() -> dict[str, dict[str, list[Any]]]:
    """Return the examples of each field of each table of a record, by the names of both."""
    schema = job_schema()
    return {
        name: {key: each.get("examples", []) for key, each in table.get("properties", {}).items()}
        for name, table in schema["$defs"].items()
    }


def _add_fields(random: Random, record: dict[str, Any]) -> None:
    """Add fields that a record may have, with the value of an example or an odd one."""
    tables = {name.lower(): fields for name, fields in _examples().items() if fields}
    for _ in range(random.randrange(5)):
        name = random.choice([each for each in record if each in tables] or list(tables))
        key, examples = random.choice(list(tables[name].items()))
        if isinstance(table := record.setdefault(name, {}), dict):
            table[key] = random.choice(examples) if examples and random.random() < 0.8 else odd(random)


def draw_record(random: Random) -> bytes:
    """Return a record: a sample or a random job, as TOML or as JSON, with some changes."""
    if random.random() < 0.5:
        text = random.choice(SAMPLES).read_text("utf-8")
    else:
        text = suite("agreement/random_jobs.py").random_job(random.randrange(10**6)).record
    if random.random() < 0.3:
        return spoil(random, text)
    record = tomllib.loads(text)
    _add_fields(random, record)
    for _ in range(random.randrange(4)):
        spoil_tree(random, record)
    if random.random() < 0.1:
        record[random.choice(TEXTS)] = odd(random)
    data = json.dumps(record, default=_text, ensure_ascii=random.random() < 0.5).encode(
        "utf-8", "surrogatepass"
    )
    return spoil_bytes(random, data) if random.random() < 0.1 else data


def _text(value: datetime | date | time) -> str:
    return value.isoformat()


def check_findings(findings: tuple[Finding, ...]) -> None:
    """Raise unless all findings are few, and lines of plain text."""
    assert len(findings) <= MAX_FINDINGS
    for each in findings:
        assert_clean(str(each))
        assert "\n" not in str(each)
        assert len(str(each)) < 2000, each


@campaign(in_suite=40)
def records(case: Case) -> None:
    """A record is read, or has faults in words; what is read can be issued, or is refused in words."""
    file = case.keep("job.record", draw_record(case.random))
    examined = examine_source(RecordSource("job.record", file.read_bytes(), MemoryFiles({})))
    check_findings(examined.findings)
    assert (examined.record is None) == bool(examined.faults)
    if examined.record is not None and case.random.random() < 0.25:
        issue_spoilt(case, examined.record)


def issue_spoilt(case: Case, job: JobRecord) -> None:
    """Issue a job under a plain wave of days."""
    random = case.random
    shared = suite("agreement/random_jobs.py")
    draws = np.random.default_rng(random.randrange(10**9))
    swing = random.choice([4.0, 10.0, 18.0])
    text = shared._weather(draws, job.site.latitude, job.site.longitude, job.placement.start, swing)
    weather = case.keep("weather.csv", text.encode())
    at = (job.placement.finished or job.placement.end) + timedelta(hours=random.choice([0, 1, 30, 300]))
    try:
        with quick():
            issued = issue(case.folder / "job.record", weather, as_of=at)
    except HandoverError as refused:
        assert_clean(str(refused))
        return
    found = list(out_of_order(issued))
    assert not found, found
