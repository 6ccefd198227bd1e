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
from typing import TYPE_CHECKING

from handover.documents.schedule_json import read_schedule
from handover.errors import Finding, UnusableInput
from handover.jobs.reading import RecordSource, examine_source, read_source
from handover.schedule.changes import changes
from handover.schedule.reasons import Issue, PlanInputs, explain
from handover.service.inputs import check_inputs, compute, download_weather, questions, read_weather_file
from handover.service.publish import (
    INPUTS_FOLDER,
    SCHEDULE_FILE,
    lock_folder,
    next_revision,
    publish,
    publish_locked,
)
from handover.service.render import render_documents
from handover.service.settings import Settings, add_manifest, read_settings
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from handover.archive.deposit import DepositResult
    from handover.archive.store import Archive
    from handover.jobs.reading import ExaminedRecord
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.job_inputs import JobInputs, WeatherFile
    from handover.service.pdf_workers import PdfWorkers
    from handover.weather.reading import ExaminedWeather as WeatherExamined
    from handover.weather.series import WeatherSeries

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
        earlier: The set of the previous issue, by file name: changes are found by comparison with it, and
            calendar events that are only in it are cancelled.
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
    )


def compute_schedule(inputs: JobInputs, request: IssueRequest) -> CureSchedule:
    """Return the schedule of a request, with the changes since the previous issue.

    Raises:
        UnusableInput: The previous issue has no readable schedule.
    """
    settings = request.settings
    if request.earlier is None:
        return compute(inputs, request.as_of, request.revision, settings)
    before = _earlier_schedule(request.earlier)
    earlier = _earlier_inputs(request.earlier, before)
    cover = _earlier_cover(before, earlier, inputs.job)
    schedule = compute(inputs, request.as_of, request.revision, settings, cover)
    found = changes(before, schedule)
    if earlier is None or not found:
        return replace(schedule, changes=found)
    later = PlanInputs(
        inputs.job, inputs.weather, request.as_of, inputs.typical, settings.rules, settings.share, cover
    )
    one, other = Issue(before, replace(earlier, cover=cover)), Issue(schedule, later)
    return replace(schedule, changes=explain(found, one, other))


def _earlier_schedule(documents: Mapping[str, bytes]) -> CureSchedule:
    """Return the schedule of an earlier set.

    Raises:
        UnusableInput: There is none, or this program cannot read it.
    """
    try:
        return read_schedule(documents[SCHEDULE_FILE])
    except (KeyError, ValueError) as fault:
        problem = str(fault) if isinstance(fault, ValueError) else "is missing"
        finding = Finding(problem, file=SCHEDULE_FILE, expected="a set that `handover issue` wrote")
        raise UnusableInput([finding]) from None


def _earlier_cover(before: CureSchedule, earlier: PlanInputs | None, job: JobRecord) -> str | None:
    """Return the cover that the issue before has between the waterings, if the curing is still the same."""
    if before.between is None or earlier is None or earlier.job.curing != job.curing:
        return None
    return before.between.cover


def _earlier_inputs(documents: Mapping[str, bytes], schedule: CureSchedule) -> PlanInputs | None:
    """Return what an earlier set was planned from; None where this program cannot read it any more."""
    from handover.service.archiving import read_issued_record  # noqa: PLC0415 - only for a later issue

    try:
        job, made = read_issued_record(documents), read_settings(documents)
        weather, typical = (
            _read_again(name, documents, job, made.received_at) for name in (made.weather, made.typical)
        )
    except (UnusableInput, KeyError):
        return None
    if weather is None:
        return None
    chosen = made.settings
    return PlanInputs(job, weather, schedule.issued_at, typical, chosen.rules, chosen.share)


def _read_again(
    name: str | None, documents: Mapping[str, bytes], job: JobRecord, received_at: datetime | None
) -> WeatherSeries | None:
    """Return the weather of an earlier set from its inputs; None where it has none of that name."""
    if not name:
        return None
    year, data = job.placement.start.year, documents[INPUTS_FOLDER + name]
    return examine_weather_bytes(data, name, job.site, year, received_at=received_at)[0]


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

    Of several runs that issue to the folder at once, each waits for the one before.

    Args:
        request: The inputs and choices; its revision is not used.
        folder: New, empty, or with an earlier set of the same job.
        on_findings: Called with the cautions of the inputs, then with the questions of the schedule.
        workers: As in `render_set`.

    Raises:
        UnusableInput, RenderingFailed: As `issue` and `IssuedSet.write`.
    """
    inputs = check_request(request)
    on_findings(inputs.cautions)
    job, made_from = inputs.job.id, add_manifest(inputs, request.settings)
    with lock_folder(folder):
        revision = next_revision(job, request.as_of, folder=folder, made_from=made_from)
        revised = replace(request, revision=revision)
        schedule = compute_schedule(inputs, revised)
        on_findings(questions(schedule, request.record.name))
        issued = render_set(inputs, schedule, revised, workers)
        publish_locked(issued.files, folder, job)
    return issued
