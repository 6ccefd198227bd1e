"""The set of the issue before, read again: what a new issue is compared with, and which revision it is."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from handover.documents.schedule_json import read_schedule
from handover.errors import Finding, UnusableInput
from handover.schedule.reasons import PlanInputs
from handover.schedule.tasks import covered_since
from handover.service.archiving import read_issued_documents, read_issued_record
from handover.service.inputs import read_joined_weather
from handover.service.job_inputs import WeatherFile
from handover.service.publish import INPUTS_FOLDER, SCHEDULE_FILE, check_folder, next_revision
from handover.service.render import document_names
from handover.service.settings import add_manifest, read_issued_weather, read_settings
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from datetime import datetime
    from pathlib import Path

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.job_inputs import JobInputs
    from handover.service.settings import Settings
    from handover.weather.reading import ExaminedWeather


@dataclass(frozen=True)
class EarlierSet:
    """The issue before.

    Attributes:
        schedule: Its schedule; None where this program cannot read it.
        inputs: What it was planned from; None where this program cannot read it any more.
    """

    schedule: CureSchedule | None
    inputs: PlanInputs | None

    def cover_for(self, job: JobRecord) -> str | None:
        """Return the cover between its waterings, if the curing of the job is still the same."""
        if self.schedule is None or self.schedule.between is None:
            return None
        same = self.inputs is not None and self.inputs.job.curing == job.curing
        return self.schedule.between.cover if same else None

    def covered_since(self, as_of: datetime) -> datetime | None:
        """Return when the cover against frost at a time of issue was laid; None: none was planned."""
        return None if self.schedule is None else covered_since(self.schedule, as_of)


class NextIssue(NamedTuple):
    """Where an issue comes in the history of its job.

    Attributes:
        revision: Its revision.
        earlier: The set of the issue before; None for the first.
        kept: The set itself, where it exists and cannot be made again, because the set before it is gone.
    """

    revision: int
    earlier: Mapping[str, bytes] | None = None
    kept: Mapping[str, bytes] | None = None


def read_folder_set(folder: Path, job: str) -> Mapping[str, bytes] | None:
    """Return the documents of the set in a folder; None if the folder is free.

    Raises:
        UnusableInput: The folder has something else than a set of this job.
    """
    return None if check_folder(folder, job) is None else read_issued_documents(folder)


def next_issue(
    inputs: JobInputs,
    as_of: datetime,
    settings: Settings,
    folder: Path,
    there: Mapping[str, bytes] | None,
    archived: Iterable[int] = (),
) -> NextIssue:
    """Return the revision of an issue to a folder, and the set that it is compared with.

    Args:
        inputs: The checked inputs.
        as_of: Time of issue, aware.
        settings: The choices of the issue.
        folder: The target, which the caller has locked.
        there: The set in it, as from `read_folder_set`.
        archived: The revisions in the archive.

    Raises:
        UnusableInput: As `next_revision`.
    """
    job, made_from = inputs.job, add_manifest(inputs, settings)
    revision = next_revision(job.id, as_of, folder=folder, made_from=made_from, archived=archived)
    if there is None or revision > json.loads(there[SCHEDULE_FILE])["revision"]:
        return NextIssue(revision, there)
    if revision == 1:
        return NextIssue(revision)
    whole = all(name in there for name in document_names(job, settings))
    if not whole or read_earlier_schedule(there) is None:
        return NextIssue(revision + 1, there)
    return NextIssue(revision, kept=there)


def read_earlier_set(
    documents: Mapping[str, bytes], examine: Callable[..., ExaminedWeather] = examine_weather_bytes
) -> EarlierSet:
    """Return the issue before, as far as this program can read it.

    Args:
        documents: Its set.
        examine: Reads its weather, like `examine_weather_bytes`.
    """
    schedule = read_earlier_schedule(documents)
    return EarlierSet(schedule, None if schedule is None else _inputs_of(documents, schedule, examine))


def read_earlier_schedule(documents: Mapping[str, bytes]) -> CureSchedule | None:
    """Return the schedule of the issue before; None where this program cannot read it."""
    try:
        return read_schedule(documents[SCHEDULE_FILE])
    except (KeyError, ValueError):
        return None


def without_sheets(documents: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return of a set what a later one is compared with: its schedule, its calendars and its inputs."""
    return {
        name: data
        for name, data in documents.items()
        if name == SCHEDULE_FILE or name.endswith(".ics") or name.startswith(INPUTS_FOLDER)
    }


def of_documents(documents: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the documents of a set without its inputs."""
    return {name: data for name, data in documents.items() if not name.startswith(INPUTS_FOLDER)}


def earlier_weather(documents: Mapping[str, bytes]) -> tuple[WeatherFile, ...]:
    """Return the weather of a set and of the issues before it, the newest first; none if it is unreadable."""
    try:
        return read_issued_weather(documents)
    except UnusableInput:
        return ()


def earlier_findings(before: EarlierSet | None, as_of: datetime, folder: str) -> tuple[Finding, ...]:
    """Return a caution where papers cannot say what changed since the issue before, or why.

    Args:
        before: The issue before; None if there is none.
        as_of: Time of issue, aware.
        folder: Where the set is, for the caution.
    """
    if before is None:
        return ()
    if before.schedule is None:
        problem = f"{SCHEDULE_FILE} of the set there cannot be read; {_UNSAID}"
    elif before.schedule.issued_at > as_of:
        problem = f"the set there is of a later time, {before.schedule.issued_at}; {_UNSAID}"
    elif before.inputs is None:
        problem = f"the record or the weather of the set there cannot be read; {_REASONLESS}"
    else:
        return ()
    return (Finding(problem, file=folder, severity="caution"),)


_UNSAID = "the papers do not say what changed since, and a cover on the slab may be another one now"
_REASONLESS = "the papers say what changed since, but not why, and a cover on the slab may be another one now"


def _inputs_of(
    documents: Mapping[str, bytes], schedule: CureSchedule, examine: Callable[..., ExaminedWeather]
) -> PlanInputs | None:
    """Return what a set was planned from; None where this program cannot read it any more."""
    try:
        job, made = read_issued_record(documents), read_settings(documents)
        weather = read_joined_weather(job, read_issued_weather(documents), examine)
        year = made.typical and WeatherFile(made.typical, documents[INPUTS_FOLDER + made.typical])
    except (UnusableInput, KeyError):
        return None
    if weather is None:
        return None
    typical = read_joined_weather(job, (year,), examine) if year else None
    chosen = made.settings
    return PlanInputs(job, weather, schedule.issued_at, typical, chosen.rules, chosen.share)
