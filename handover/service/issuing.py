"""Issues one job: the only way from a record and its weather to a set of documents.

The command line, batch, reissue and the Python API all use it, so that the same inputs, choices, revision and
time give the same set, to the byte.

    request     read_request, or values in memory
    inputs      check_request
    schedule    compute_schedule
    set         render_set, or assemble_set where the documents were rendered elsewhere
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from handover.documents.schedule_json import read_schedule
from handover.errors import Finding, UnusableInput
from handover.jobs.reading import RecordSource, examine_source, read_source
from handover.schedule.changes import changes
from handover.schedule.reasons import Issue, PlanInputs, explain
from handover.schedule.tasks import with_tasks
from handover.schedule.timer import timer_reset
from handover.service.earlier_sets import (
    earlier_findings,
    earlier_weather,
    next_issue,
    read_earlier_set,
    read_folder_set,
)
from handover.service.forecasts import CachingWeatherReader
from handover.service.inputs import check_inputs, compute, download_weather, questions, read_weather_file
from handover.service.publish import (
    INPUTS_FOLDER,
    SCHEDULE_FILE,
    lock_folder,
    publish,
    publish_locked,
)
from handover.service.render import document_names, render_documents
from handover.service.settings import Settings, add_manifest
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from handover.archive.deposit import DepositResult
    from handover.archive.store import Archive
    from handover.jobs.reading import ExaminedRecord
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.earlier_sets import EarlierSet
    from handover.service.job_inputs import JobInputs, WeatherFile
    from handover.service.pdf_workers import PdfWorkers
    from handover.weather.reading import ExaminedWeather as WeatherExamined

    OnFindings = Callable[[tuple[Finding, ...]], None]


LOG = logging.getLogger("handover")


@dataclass(frozen=True)
class IssueRequest:
    """The inputs and choices of a set.

    Attributes:
        record: The job record as received, with the files that it names.
        weather: Its weather as received.
        as_of: Time of issue, aware.
        settings: The choices of the issue.
        typical: A typical year of the place, for the hours past the forecast.
        revision: Of the set, 1 and up.
        earlier: The set of the previous issue, by file name: changes are found by comparison with it,
            calendar events that are only in it are cancelled, and its weather has the hours from the pour on
            where the new weather does not go back to the pour.
    """

    record: RecordSource
    weather: WeatherFile
    as_of: datetime
    settings: Settings = field(default_factory=Settings)
    typical: WeatherFile | None = None
    revision: int = 1
    earlier: Mapping[str, bytes] | None = None


@dataclass(frozen=True)
class IssuedSet:
    """A set of documents, in memory.

    Attributes:
        job: The record.
        schedule: Its schedule.
        files: The contents by file name, in the order of the reader's interest; "/" between folder and file.
            `inputs/` has the inputs of the set, with the choices in `inputs/settings.json`.
        findings: The cautions of the inputs, and the questions of the schedule.
    """

    job: JobRecord
    schedule: CureSchedule
    files: Mapping[str, bytes]
    findings: tuple[Finding, ...] = ()

    def write(self, folder: str | PathLike[str]) -> None:
        """Write the set to a folder, completely or not at all.

        Args:
            folder: New, empty, or with an earlier set of the same job, which is replaced.

        Raises:
            UnusableInput: Something else is in the place of the folder, or an issue that is not earlier.
            RenderingFailed: A document is empty.
        """
        publish(self.files, Path(folder), self.job.id)

    def archive(self, archive: Archive, at: datetime) -> DepositResult:
        """Archive the set. Repeating it changes nothing.

        Args:
            archive: The archive; made where there is none.
            at: Time of archiving, aware.

        Raises:
            UnusableInput: The archive has this revision with other documents.
            HandoverError: As `handover.archive.deposit.deposit_files`.
        """
        from handover.service.archiving import archive_documents  # noqa: PLC0415 - only to archive

        return archive_documents(archive, self.job, self.files, at)


# ---- the Python API ---------------------------------------------------------------------------------


def issue(
    record: str | PathLike[str] | RecordSource,
    weather: str | PathLike[str] | WeatherFile | None,
    *,
    as_of: datetime,
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    typical: str | PathLike[str] | WeatherFile | None = None,
    revision: int = 1,
    earlier: Mapping[str, bytes] | None = None,
) -> IssuedSet:
    """Return the set of documents of a job, ready to be written, archived or sent.

    Args:
        record: The file of the job record, or the record as received.
        weather: The file of its weather, or the weather as received. It is not downloaded here: see
            `handover.service.inputs.download_weather`.
        as_of: Time of issue, aware.
        settings: The choices of the issue.
        typical: A typical year of the place, for the hours past the forecast.
        revision: Of the set, 1 and up.
        earlier: The set of the issue before, by file name.

    Raises:
        UnusableInput: The inputs have faults, alone or together; carries all findings.
        RenderingFailed: A document could not be rendered cleanly.
    """
    if weather is None:
        finding = Finding(
            "is missing",
            field="weather",
            expected="a weather file, or what `handover.service.inputs.download_weather` returns",
        )
        raise UnusableInput([finding])
    LOG.info("1 read")
    request = IssueRequest(
        record=record if isinstance(record, RecordSource) else read_source(record),
        weather=_weather_file(weather),
        as_of=as_of,
        settings=settings,
        typical=None if typical is None else _weather_file(typical),
        revision=revision,
        earlier=earlier,
    )
    return issue_request(request)


def _weather_file(weather: str | PathLike[str] | WeatherFile) -> WeatherFile:
    return read_weather_file(Path(weather)) if isinstance(weather, str | PathLike) else weather


def issue_request(request: IssueRequest) -> IssuedSet:
    """Return the set that a request asks for. Raises as `issue`."""
    inputs = check_request(request)
    return render_set(inputs, compute_schedule(inputs, request), request)


@dataclass(frozen=True)
class PlannedCure:
    """A schedule without documents: the record, its schedule, its cautions and questions."""

    job: JobRecord
    schedule: CureSchedule
    findings: tuple[Finding, ...] = ()


def plan_request(request: IssueRequest, on_findings: OnFindings = lambda _: None) -> PlannedCure:
    """Return the schedule of a request.

    Args:
        request: The inputs and choices.
        on_findings: Called with the cautions of the inputs, then with the questions of the schedule.

    Raises:
        UnusableInput: The inputs have faults, alone or together; carries all findings.
    """
    inputs = check_request(request)
    on_findings(inputs.cautions)
    schedule = compute_schedule(inputs, request)
    asked = questions(schedule, request.record.name)
    on_findings(asked)
    return PlannedCure(inputs.job, schedule, (*inputs.cautions, *asked))


# ---- the steps --------------------------------------------------------------------------------------


def read_request(
    record: Path,
    weather: Path | None,
    as_of: datetime,
    *,
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    typical: Path | None = None,
    key: str | None = None,
) -> IssueRequest:
    """Return the request for a set from the files of a record and of its weather.

    Args:
        record: The file of the job record.
        weather: The file of the weather; None to download it.
        as_of: Time of issue, aware; also that of the download.
        settings: The choices of the issue.
        typical: The file of a typical year of the place.
        key: Of a customer of the forecast service, for the download.

    Raises:
        UnusableInput: The weather is to be downloaded, and the record has faults.
        DownloadFailed: The forecast could not be downloaded.
    """
    LOG.info("1 read")
    source = read_source(record)
    if weather is not None:
        weather_file = read_weather_file(weather)
    else:
        examined = examine_source(source)
        if examined.record is None:
            raise UnusableInput(examined.findings)
        weather_file = download_weather(examined.record, as_of, key=key)
    year = None if typical is None else read_weather_file(typical)
    return IssueRequest(source, weather_file, as_of, settings, year)


def check_request(
    request: IssueRequest,
    *,
    examined: ExaminedRecord | None = None,
    examine: Callable[..., WeatherExamined] = examine_weather_bytes,
) -> JobInputs:
    """Check record and weather, each alone and together.

    Args:
        request: The inputs and choices.
        examined: The result of reading its record, if that was done before.
        examine: Reads the weather, as `examine_weather_bytes` does.

    Raises:
        UnusableInput: They have faults, alone or together; carries all findings.
    """
    return check_inputs(
        examined or examine_source(request.record),
        request.weather,
        request.as_of,
        typical_file=request.typical,
        examine=examine,
        settings=request.settings,
        earlier_weather=() if request.earlier is None else earlier_weather(request.earlier),
    )


class IssueChoices(Protocol):
    """What a schedule depends on, beside its inputs: see `IssueRequest`."""

    @property
    def as_of(self) -> datetime:
        """Time of issue, aware."""

    @property
    def revision(self) -> int:
        """Of the set."""

    @property
    def settings(self) -> Settings:
        """The choices of the issue."""

    @property
    def earlier(self) -> Mapping[str, bytes] | None:
        """The set of the previous issue."""


def compute_schedule(
    inputs: JobInputs, request: IssueChoices, before: EarlierSet | None = None
) -> CureSchedule:
    """Return the schedule of a request, with the changes since the previous issue as far as it is readable.

    A cover between the waterings of the previous issue stays: nobody has brought another one.

    Args:
        inputs: The checked inputs.
        request: The choices, with the set of the previous issue.
        before: That set, if it was read already.
    """
    settings = request.settings
    if request.earlier is None:
        return compute(inputs, request.as_of, request.revision, settings)
    before = before or read_earlier_set(request.earlier)
    cover = before.cover_for(inputs.job)
    laid = before.covered_since(request.as_of)
    due = before.schedule.cover_due if before.schedule else None
    schedule = compute(inputs, request.as_of, request.revision, settings, cover, laid, due)
    if before.schedule is None or before.schedule.issued_at > request.as_of:
        return schedule
    if (again := timer_reset(before.schedule, schedule, inputs.job)) is not None:
        schedule = with_tasks(replace(schedule, timer_reset=again, tasks=()), inputs.job)
    found = changes(before.schedule, schedule)
    if before.inputs is None or not found:
        return replace(schedule, changes=found)
    later = PlanInputs(
        inputs.job, inputs.weather, request.as_of, inputs.typical, settings.rules, settings.share, cover
    )
    one, other = Issue(before.schedule, replace(before.inputs, cover=cover)), Issue(schedule, later)
    return replace(schedule, changes=explain(found, one, other))


def render_set(
    inputs: JobInputs, schedule: CureSchedule, request: IssueRequest, workers: PdfWorkers | None = None
) -> IssuedSet:
    """Return the set of a schedule.

    Args:
        inputs: The checked inputs.
        schedule: Their schedule.
        request: The request, with its choices.
        workers: Processes that render the PDFs side by side; without them, this process renders.

    Raises:
        RenderingFailed: A document could not be rendered cleanly.
    """
    documents = render_documents(
        inputs.job,
        schedule,
        request.settings,
        inputs=inputs.files,
        pictures=inputs.pictures,
        earlier=request.earlier,
        workers=workers,
    )
    whole = add_inputs(documents, inputs, request.settings)
    findings = (*inputs.cautions, *questions(schedule, request.record.name))
    return IssuedSet(inputs.job, schedule, whole, findings)


def add_inputs(documents: Mapping[str, bytes], inputs: JobInputs, settings: Settings) -> dict[str, bytes]:
    """Return the files of a set: its documents, its inputs, and the choices of the issue."""
    made_from = add_manifest(inputs, settings)
    return {**documents, **{f"{INPUTS_FOLDER}{name}": data for name, data in made_from.items()}}


# ---- to a folder ------------------------------------------------------------------------------------


def issue_to_folder(
    request: IssueRequest,
    folder: Path,
    on_findings: OnFindings = lambda _: None,
    workers: PdfWorkers | None = None,
) -> IssuedSet:
    """Issue to a folder, as the next revision of the set in it; return the set.

    The set in the folder is the issue before: the papers say what changed since. Of several runs that
    issue to the folder at once, each waits for the one before.

    Args:
        request: The inputs and choices; its revision and its earlier set are not used.
        folder: New, empty, or with an earlier set of the same job.
        on_findings: Called with the cautions of the inputs, then with those of the earlier set and the
            questions of the schedule.
        workers: As in `render_set`.

    Raises:
        UnusableInput, RenderingFailed: As `issue` and `IssuedSet.write`.
    """
    examined = examine_source(request.record)
    if examined.record is None:
        check_request(request, examined=examined)  # which reports the faults of the weather as well
        raise UnusableInput(examined.findings)
    job = examined.record.id
    with lock_folder(folder):
        there = read_folder_set(folder, job)
        examine = CachingWeatherReader()
        inputs = check_request(replace(request, earlier=there), examined=examined, examine=examine)
        on_findings(inputs.cautions)
        following = next_issue(inputs, request.as_of, request.settings, folder, there)
        if following.kept is not None:
            issued = _kept_set(inputs, request, following.kept)
            on_findings(questions(issued.schedule, request.record.name))
            return issued
        revised = replace(request, revision=following.revision, earlier=following.earlier)
        before = None if following.earlier is None else read_earlier_set(following.earlier, examine)
        on_findings(earlier_findings(before, request.as_of, str(folder)))
        schedule = compute_schedule(inputs, revised, before)
        on_findings(questions(schedule, request.record.name))
        issued = render_set(inputs, schedule, revised, workers)
        publish_locked(issued.files, folder, job)
    return issued


def _kept_set(inputs: JobInputs, request: IssueRequest, kept: Mapping[str, bytes]) -> IssuedSet:
    """Return a set that exists, as `render_set` returned it."""
    names = document_names(inputs.job, request.settings)
    files = {name: kept[name] for name in (*names, *(each for each in kept if each not in names))}
    schedule = read_schedule(kept[SCHEDULE_FILE])
    findings = (*inputs.cautions, *questions(schedule, request.record.name))
    return IssuedSet(inputs.job, schedule, files, findings)
