"""Issues an archived job again, with new weather or with new measurements.

    handover reissue   one job
    handover watch every job that is still curing, with today's forecast

A new revision is made if it has something new for its readers, or if a record differs from the last one, even
only by the owner's signature; else nothing is written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Literal, NamedTuple

from handover.archive.catalog.query import JobState, Query
from handover.errors import Finding, UnusableInput
from handover.jobs.reading import examine_source, read_source
from handover.service.archiving import (
    archive_existing_set,
    issued_record,
    read_issued_record,
    zone_of_set,
)
from handover.service.earlier_sets import read_earlier_schedule
from handover.service.forecasts import CachingWeatherReader, ForecastCache
from handover.service.inputs import questions
from handover.service.issuing import IssueRequest, check_request, compute_schedule, render_set
from handover.service.publish import INPUTS_FOLDER, SCHEDULE_FILE, next_revision
from handover.service.settings import read_settings, weather_among
from handover.service.summary import change_lines
from handover.service.workers import failure_result
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime
    from pathlib import Path

    from handover.archive.bag import Bag
    from handover.archive.store import Archive
    from handover.jobs.reading import ExaminedRecord
    from handover.jobs.record import JobRecord
    from handover.service.forecasts import GridCell
    from handover.service.job_inputs import JobInputs, WeatherFile
    from handover.service.pdf_workers import PdfWorkers
    from handover.service.settings import Provenance
    from handover.weather.reading import ExaminedWeather as WeatherExamined


@dataclass(frozen=True)
class ReissueRequest:
    """The new inputs of a reissue.

    Attributes:
        weather: Returns the new weather for a job; None for that of the last issue.
        record: The file of its record with additions; None for that of the last issue.
        templates: A contractor's folder whose files replace those of the program.
        force: Make a new revision even if no date moved.
        examine: Reads the weather, as `examine_weather_bytes` does.
    """

    weather: Callable[[JobRecord], WeatherFile] | None = None
    record: Path | None = None
    templates: Path | None = None
    force: bool = False
    examine: Callable[..., WeatherExamined] = examine_weather_bytes


@dataclass(frozen=True)
class ReissueResult:
    """The result of a reissue.

    Attributes:
        revision: The revision that is valid now.
        is_new: Whether it is new.
        new_record: Whether the record differs from that of the last issue.
        changes: The changes since the previous issue, one sentence each; empty if nothing moved.
        cautions: The cautions of the inputs.
    """

    revision: int
    is_new: bool
    changes: tuple[str, ...]
    cautions: tuple[Finding, ...]
    new_record: bool = False


# ---- one job ----------------------------------------------------------------------------------------


def zone_of_job(archive: Archive, job: str) -> str:
    """Return the time zone of an archived job, as its last issue names it.

    Raises:
        UnusableInput: There is no such job, or its last issue has no schedule.
        CorruptBag: The bag cannot be read.
    """
    bag = archive.bag(job)
    return zone_of_set(bag.issue(bag.revisions[-1]), job)


def reissue_job(
    archive: Archive,
    job: str,
    folder: Path,
    as_of: datetime,
    request: ReissueRequest,
    workers: PdfWorkers | None = None,
) -> ReissueResult:
    """Issue an archived job again, to a folder and to the archive.

    A set in the folder that is not archived, for example after an interrupted run, is archived first, so that
    the changes are relative to the last issue.

    Args:
        archive: The archive.
        job: The id of the job.
        folder: The target folder: new, empty, or with an earlier set of the job.
        as_of: Time of issue, aware.
        request: The new inputs.
        workers: The PDF workers, as for `handover.service.issuing.render_set`.

    Raises:
        UnusableInput: There is no such job, or its inputs have faults.
        DownloadFailed, RenderingFailed: As the download and `issue`.
        LockTimeout, CorruptBag, NotArchived, IndexPending, CatalogFailed: As `archive_documents`.
    """
    with archive.lock(job):
        archive_existing_set(archive, folder, job, as_of)
        bag = archive.bag(job)
        last = bag.revisions[-1]
        _require_after_last_issue(bag, as_of)
        documents = bag.issue(last)
        provenance = _with_templates(read_settings(documents), request.templates)
        examined = examine_source(read_source(request.record) if request.record else issued_record(documents))
        again = IssueRequest(
            record=examined.source,
            weather=_new_weather(examined, documents, provenance, job, request),
            as_of=as_of,
            settings=provenance.settings,
            typical=_typical_of(documents, provenance),
            revision=next_revision(job, as_of, archived=bag.revisions),
            earlier=documents,
        )
        _require_readable(documents)
        inputs = check_request(again, examined=examined, examine=request.examine)
        schedule = compute_schedule(inputs, again)
        cautions = (*inputs.cautions, *questions(schedule, examined.source.name))
        sentences = change_lines(inputs.job, schedule, provenance.settings.units)
        new_record = request.record is not None and _record_changed(inputs, documents)
        if not (sentences or new_record or request.force):
            return ReissueResult(last, is_new=False, changes=(), cautions=cautions)
        issued = render_set(inputs, schedule, again, workers)
        issued.write(folder)
        issued.archive(archive, as_of)
        return ReissueResult(schedule.revision, True, sentences, cautions, new_record)


def _require_after_last_issue(bag: Bag, as_of: datetime) -> None:
    if as_of < bag.entry.issued:
        finding = Finding(
            f"{as_of.isoformat()} is before the last issue of {bag.job}, revision {bag.entry.revision}",
            field="--as-of",
            expected=f"a time from {bag.entry.issued.isoformat()} on",
        )
        raise UnusableInput([finding])


def _require_readable(documents: Mapping[str, bytes]) -> None:
    """Refuse an issue whose schedule this program cannot read: nothing could be compared with it."""
    if read_earlier_schedule(documents) is None:
        finding = Finding("cannot be read", file=SCHEDULE_FILE, expected="a set that `handover issue` wrote")
        raise UnusableInput([finding])


def _with_templates(provenance: Provenance, templates: Path | None) -> Provenance:
    """Return how a set was made, with the contractor's own texts and pages, which are not in the set."""
    if provenance.own_look and templates is None:
        finding = Finding(
            "is missing, and the last issue was made with texts and pages of your own",
            field="--templates",
            expected="the folder with these texts and pages",
        )
        raise UnusableInput([finding])
    return replace(provenance, settings=replace(provenance.settings, templates=templates))


def _new_weather(
    examined: ExaminedRecord,
    documents: Mapping[str, bytes],
    provenance: Provenance,
    job: str,
    request: ReissueRequest,
) -> WeatherFile:
    """Return the weather for a reissue: new weather, else that of the last issue.

    Raises:
        UnusableInput: The record has faults, or is of another job.
        DownloadFailed: The forecast could not be downloaded.
    """
    if examined.record is None:
        raise UnusableInput(examined.findings)
    _require_same_job(examined.record.id, job, examined.source.name)
    if request.weather is not None:
        return request.weather(examined.record)
    return weather_among(documents, provenance.weather, provenance.received_at)


def _typical_of(documents: Mapping[str, bytes], provenance: Provenance) -> WeatherFile | None:
    """Return the typical year of a set."""
    return weather_among(documents, provenance.typical) if provenance.typical else None


def _record_changed(inputs: JobInputs, documents: Mapping[str, bytes]) -> bool:
    """Return whether a record, or one of its pictures, differs from that of an earlier set.

    The parsed records are compared, so comments and the order of lines do not matter.
    """
    try:
        earlier = read_issued_record(documents)
    except UnusableInput:  # read by another version of this program, or its pictures are missing
        return True
    pictures = inputs.pictures.items()
    return inputs.job != earlier or any(
        documents.get(INPUTS_FOLDER + name) != data for name, data in pictures
    )


def _require_same_job(record_id: str, job: str, record: str) -> None:
    if record_id != job:
        finding = Finding(
            f"is the record of {record_id}, not of {job}", file=record, field="id", expected=f'"{job}"'
        )
        raise UnusableInput([finding])


# ---- every job that is curing -----------------------------------------------------------------------

WatchState = Literal["reissued", "unchanged", "refused", "failed"]


class WatchResult(NamedTuple):
    """The result of one job: the changes, if it was reissued; cautions, or why it was not."""

    job: str
    state: WatchState
    changes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    failure: str = ""


class _CuringJob(NamedTuple):
    job: str
    cell: GridCell | None


def curing_jobs(archive: Archive, at: datetime) -> tuple[str, ...]:
    """Return the ids of the jobs that are curing at a time, in order."""
    query = Query(states=frozenset({JobState.CURING}), at=at)
    return tuple(sorted(each.job for each in archive.catalog.entries(query)))


def reissue_curing(
    archive: Archive,
    jobs: tuple[str, ...],
    out: Path,
    as_of: datetime,
    *,
    key: str | None = None,
    templates: Path | None = None,
    workers: PdfWorkers | None = None,
) -> Iterator[WatchResult]:
    """Issue jobs again with today's forecast, if it moves their dates; nothing is sent.

    One forecast is downloaded for all sites of a grid cell; a failed download stops none of the others.

    Args:
        archive: The archive.
        jobs: Ids, as from `curing_jobs`.
        out: The folder in which each reissued job gets a folder with its id as name.
        as_of: Time of issue, aware.
        key: Of a customer of the forecast service.
        templates: A contractor's folder whose files replace those of the program.
        workers: The PDF workers, as for `handover.service.issuing.render_set`.
    """
    forecasts, examine = ForecastCache(as_of, key), CachingWeatherReader()
    summaries = [_summarise(archive, each, forecasts) for each in jobs]
    for each in sorted(summaries, key=lambda each: (each.cell or (), each.job)):
        request = ReissueRequest(
            weather=partial(forecasts.get, each.cell),
            templates=templates,
            examine=examine,
        )
        try:
            result = reissue_job(archive, each.job, out / each.job, as_of, request, workers)
        except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
            failure = failure_result(fault)
            state: WatchState = "refused" if failure.findings else "failed"
            yield WatchResult(each.job, state, findings=failure.findings, failure=failure.failure)
        else:
            yield WatchResult(
                each.job, "reissued" if result.is_new else "unchanged", result.changes, result.cautions
            )


def _summarise(archive: Archive, job: str, forecasts: ForecastCache) -> _CuringJob:
    """Register the forecast that a job needs; its faults are reported when its turn comes."""
    try:
        bag = archive.bag(job)
        record = read_issued_record(bag.issue(bag.revisions[-1]), str(bag.folder))
    except Exception:  # noqa: BLE001 - whatever it is, it is reported when its turn comes
        return _CuringJob(job, None)
    return _CuringJob(job, forecasts.register(record))
