"""Measurements of a record that are later than the time of issue."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING

from handover.errors import Finding
from handover.jobs.country_codes import country_of_site
from handover.jobs.parse import decode_utf8, language_of
from handover.jobs.reading import located_findings
from handover.jobs.source_map import find_lines
from handover.practice.rules import rules_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.jobs.reading import RecordSource
    from handover.jobs.record import JobRecord
    from handover.jobs.source_map import Path

_EXPECTED = "a time before this issue, {}"


def find_future_times(job: JobRecord, source: RecordSource, as_of: datetime) -> tuple[Finding, ...]:
    """Return a fault for each test, truck and reading that is later than a time.

    A last pass that is still to come is a plan: of that it is a caution.

    Args:
        job: The record.
        source: The record as received, for the lines.
        as_of: Time of issue, aware.
    """
    found = list(_future_times(job, as_of.astimezone(job.zone)))
    text = decode_utf8(source.data)
    if not found or isinstance(text, Finding):
        return tuple(finding for _, finding in found)
    return tuple(located_findings(found, source.name, find_lines(text, language_of(text))))


def _future_times(job: JobRecord, as_of: datetime) -> Iterator[tuple[Path, Finding]]:
    now = as_of.strftime("%Y-%m-%d %H:%M")
    expected = _EXPECTED.format(now)
    start = job.placement.start
    early = rules_of(country_of_site(job.site.country, job.site.timezone))["cylinder.early"]
    for at, test in enumerate(job.cylinder):
        if test.tested is not None and _is_later(test.tested, as_of):
            yield (
                ("cylinder", at, "tested"),
                Finding(f"{_format_time(test.tested)} is in the future", expected=expected, example=now),
            )
        elif test.age is not None:
            earliest = start.astimezone(UTC) + timedelta(hours=test.age * (1.0 - early))
            if _is_later(earliest, as_of):
                days = (as_of.astimezone(UTC) - start.astimezone(UTC)) / timedelta(days=1)
                yield (
                    ("cylinder", at, "age"),
                    Finding(
                        f"{test.age / 24:g} d is older than the concrete: it was placed on "
                        f"{_format_time(start)}",
                        expected=f"{max(days, 0.0):.1f} days at most by this issue, {now}",
                        example='age = "1 d"',
                    ),
                )
    for at, truck in enumerate(job.ticket):
        if truck.batched is not None and _is_later(truck.batched, as_of):
            yield (
                ("ticket", at, "batched"),
                Finding(f"{_format_time(truck.batched)} is in the future", expected=expected, example=now),
            )
    finished = job.placement.finished
    if finished is not None and _is_later(finished, as_of):
        problem = f"{_format_time(finished)} is in the future: it is not used, the dates go by the likely set"
        later = "the end of the last pass once it is done, and papers issued again then"
        yield ("placement", "finished"), Finding(problem, expected=later, severity="caution")
    yield from _future_looks(job, as_of, expected)
    log = job.temperature_log
    if log is not None and log.readings and _is_later(log.readings[-1].time, as_of):
        last = log.readings[-1].time.astimezone(job.zone)
        yield (
            ("temperature_log", "file"),
            Finding(f"has a reading of {_format_time(last)}, which is in the future", expected=expected),
        )


def _future_looks(job: JobRecord, as_of: datetime, expected: str) -> Iterator[tuple[Path, Finding]]:
    """Yield a fault for each look at the surface that is in the future."""
    looks: dict[str, list[datetime]] = {
        "infrared": [each.time for each in job.infrared],
        "scratch": [each.time for each in job.scratch],
    }
    now = as_of.strftime("%Y-%m-%d %H:%M")
    for table, times in looks.items():
        for at, time in enumerate(times):
            if _is_later(time, as_of):
                yield (
                    (table, at, "time"),
                    Finding(f"{_format_time(time)} is in the future", expected=expected, example=now),
                )


def _is_later(when: datetime, as_of: datetime) -> bool:
    return when.astimezone(UTC) > as_of.astimezone(UTC)


def _format_time(when: datetime) -> str:
    return when.strftime("%Y-%m-%d %H:%M")
