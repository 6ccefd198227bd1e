"""Issues many jobs at once: every record of a folder, each to its own set of documents.

A record with faults, or a job that fails, stops none of the others. Workers only make documents; this process
writes them, to the folder and to the archive, one job at a time. The existing sets show which jobs are done,
so the same command continues an interrupted run.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
from collections import Counter
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple

from filelock import FileLock, Timeout

from handover.base.atomic import write_file
from handover.base.interruption import raise_if_requested
from handover.base.tables import csv_cell
from handover.documents.schedule_json import read_schedule
from handover.errors import Finding, HandoverError, UnusableInput
from handover.jobs.parse import decode_utf8, parse_text, read_record_bytes
from handover.jobs.reading import examine_job
from handover.service.archiving import archive_documents, archive_existing_set
from handover.service.earlier_sets import (
    earlier_findings,
    next_issue,
    of_documents,
    read_earlier_set,
    read_folder_set,
    without_sheets,
)
from handover.service.forecasts import CachingWeatherReader, ForecastCache
from handover.service.inputs import ASKS, attached_files, questions, read_weather_file
from handover.service.issuing import IssueRequest, add_inputs, check_request
from handover.service.publish import INPUTS_FOLDER, SCHEDULE_FILE, publish
from handover.service.settings import Settings
from handover.service.workers import RenderResult, RenderTask, failure_result

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from handover.archive.store import Archive
    from handover.jobs.attached_files import AttachedFiles
    from handover.jobs.reading import ExaminedRecord
    from handover.jobs.record import JobRecord
    from handover.service.forecasts import GridCell
    from handover.service.job_inputs import JobInputs, WeatherFile

BatchState = Literal["done", "done before", "refused", "failed"]

REPORT_FILE = "report.csv"
MARK_FILE = f"{INPUTS_FOLDER}.batch.json"
"""In each set: a digest of its inputs, and its cautions. It is replaced together with the inputs."""

RECORD_SUFFIXES = (".toml", ".json")
WEATHER_SUFFIXES = (".json", ".csv", ".epw", ".tmy3", ".txt")
RECORD_KEYS = {"site", "slab", "placement", "mix"}
"""A JSON file with none of these keys is another kind of file, not a job record with faults."""


@dataclass(frozen=True)
class Batch:
    """A batch: its folders, its time and its choices.

    Attributes:
        folder: The folder of the records, at any depth.
        out: The folder in which each job gets a folder with its id as name.
        as_of: Time of issue, aware.
        settings: The choices of the issue.
        weather: A file for all jobs, or a folder with a file for each record, of the same name; None for such
            a file beside the record, else a download.
        typical: A typical year of the place of all jobs.
        archive: The archive of the sets, if they are archived.
        key: The customer's key of the forecast service.
        reissue_at: Whether a set of another time of issue is issued again.
    """

    folder: Path
    out: Path
    as_of: datetime
    settings: Settings = field(default_factory=Settings)
    weather: Path | None = None
    typical: Path | None = None
    archive: Archive | None = None
    key: str | None = None
    reissue_at: bool = False


class BatchOutcome(NamedTuple):
    """The result of one record: its path below the folder, its job if it has one, findings, why it failed."""

    record: str
    job: str
    state: BatchState
    findings: tuple[Finding, ...] = ()
    failure: str = ""

    @property
    def remarks(self) -> str:
        """The reason of a failure, or the cautions, on one line."""
        return self.failure or " | ".join(map(str, self.findings))


def find_records(folder: Path, *without: Path) -> tuple[Path, ...]:
    """Return the job records in a folder, at any depth, in order.

    Args:
        folder: The folder.
        without: Folders that are left out, like those whose names begin with a full stop.

    Raises:
        UnusableInput: There is no such folder, or it has no record.
    """
    expected = "a folder with job records"
    if not folder.is_dir():
        raise UnusableInput([Finding("is not a folder", file=str(folder), expected=expected)])
    left_out = {each.resolve() for each in without}
    found: list[Path] = []
    for name, below, files in os.walk(folder):
        here = folder.__class__(name)
        below[:] = [each for each in below if each[0] != "." and (here / each).resolve() not in left_out]
        found += [here / each for each in files if _is_record(here / each, files)]
    if not found:
        raise UnusableInput([Finding("has no job record", file=str(folder), expected=expected)])
    return tuple(sorted(found))


def _is_record(file: Path, beside: Sequence[str]) -> bool:
    ending = file.suffix.lower()
    if ending not in RECORD_SUFFIXES or file.name.startswith("."):
        return False
    if ending == ".toml":
        return True
    if f"{file.stem}.toml" in beside:
        return False  # its weather
    data = read_record_bytes(file)
    text = data if isinstance(data, Finding) else decode_utf8(data)
    written = text if isinstance(text, Finding) else parse_text(text)
    return not isinstance(written, dict) or bool(RECORD_KEYS & written.keys())


def run_batch(
    batch: Batch,
    records: Iterable[Path],
    run_tasks: Callable[[Iterator[RenderTask]], Iterator[tuple[RenderTask, RenderResult]]],
    on_outcome: Callable[[BatchOutcome], None] = lambda _: None,
) -> tuple[BatchOutcome, ...]:
    """Issue every job, and write a report to the folder of the sets.

    Args:
        batch: The batch.
        records: The files of the job records.
        run_tasks: Runs the tasks on workers: see `handover.service.workers`.
        on_outcome: Called with the outcome of each job as soon as it is known.

    Returns:
        The outcome of each record, in the order of their names.

    Raises:
        HandoverError: Another run is working on the folder.
        UnusableInput: There are no workers.
    """
    batch.out.mkdir(parents=True, exist_ok=True)
    run = _Run(batch, on_outcome)
    try:
        with FileLock(batch.out / ".batch.lock", timeout=0):
            try:
                for order, answer in run_tasks(run.tasks(records)):
                    raise_if_requested()
                    run.accept(order, answer)
            finally:
                _write_report(batch.out / REPORT_FILE, run.outcomes)
    except Timeout:
        raise HandoverError(f"{batch.out}: another run is working on it") from None
    return tuple(sorted(run.outcomes))


def _write_report(file: Path, outcomes: Iterable[BatchOutcome]) -> None:
    """Write a line for each record, whole or not at all."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(("record", "job", "state", "remarks"))
    writer.writerows(
        [csv_cell(each) for each in (one.record, one.job, one.state, one.remarks)] for one in sorted(outcomes)
    )
    write_file(file, text.getvalue().encode())


# ---- one run ----------------------------------------------------------------------------------------


class _RecordSummary(NamedTuple):
    """What must be known of every record before the first job begins."""

    path: Path
    job: str
    cell: GridCell | None


class _JobInProgress(NamedTuple):
    """A job whose documents are being made."""

    inputs: JobInputs
    digest: str
    doubts: tuple[Finding, ...] = ()


class _Run:
    """A run through the records of a batch."""

    def __init__(self, batch: Batch, on_outcome: Callable[[BatchOutcome], None]) -> None:
        self.outcomes: list[BatchOutcome] = []
        self._batch = batch
        self._on_outcome = on_outcome
        self._in_progress: dict[str, _JobInProgress] = {}
        self._forecasts = ForecastCache(batch.as_of, batch.key)
        self._examine = CachingWeatherReader()
        self._read = lru_cache(maxsize=4)(read_weather_file)

    def tasks(self, records: Iterable[Path]) -> Iterator[RenderTask]:
        """Yield the tasks; finish the jobs that need no worker at once.

        Jobs of one grid cell follow one another, so that only one forecast is kept.
        """
        summaries = sorted(
            (self._summarise(each) for each in records), key=lambda each: (each.cell or (), each.path)
        )
        ids = Counter(each.job.lower() for each in summaries)
        for each in summaries:
            try:
                _refuse_duplicate_id(each, ids)
                order = self._task(each)
            except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
                self._finish(self._name(each.path), each.job, failure_result(fault))
                continue
            if order is not None:
                yield order

    def accept(self, task: RenderTask, result: RenderResult) -> None:
        """Publish and archive the documents of a job. A repeated result is ignored."""
        work = self._in_progress.pop(task.name, None)
        if work is None:
            return
        cautions = (*work.inputs.cautions, *work.doubts)
        if result.documents:
            try:
                cautions = (*cautions, *_questions(task, result.documents))
                self._publish(work, result.documents, cautions)
            except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
                result = failure_result(fault)
        self._finish(task.name, work.inputs.job.id, result, cautions)

    def _summarise(self, path: Path) -> _RecordSummary:
        try:
            examined = examine_job(path)
            job = examined.record
            if job is None:
                return _RecordSummary(path, _id_of(examined), None)
            weather = self._weather_file(path, job)
        except Exception:  # noqa: BLE001 - whatever it is, it is reported when its turn comes
            return _RecordSummary(path, "", None)
        return _RecordSummary(path, job.id, None if weather else self._forecasts.register(job))

    def _task(self, summary: _RecordSummary) -> RenderTask | None:
        """Return the task of a job; None if its set exists.

        Raises:
            UnusableInput: All faults of the record and its weather.
            DownloadFailed: The forecast could not be downloaded.
        """
        batch, path = self._batch, summary.path
        examined = examine_job(path)
        job = examined.record
        weather = self._weather_file(path, job)
        weather_file = self._read(weather) if weather else None
        year = self._read(batch.typical) if batch.typical else None
        digest = "" if job is None else self._digest(job, examined.source.files, weather_file, year)
        if job is not None and self._is_up_to_date(job.id, digest):
            archived = self._ensure_archived(job.id)
            state: BatchState = "done" if archived else "done before"
            self._report(BatchOutcome(self._name(path), job.id, state, self._cautions_of(job.id)))
            return None
        if weather_file is None:
            if job is None:
                raise UnusableInput(examined.findings)
            weather_file = self._forecasts.get(summary.cell, job)
        there = None if job is None else read_folder_set(batch.out / job.id, job.id)
        request = IssueRequest(
            examined.source, weather_file, batch.as_of, batch.settings, year, earlier=there
        )
        inputs = check_request(request, examined=examined, examine=self._examine)
        return self._task_from(self._name(path), inputs, digest, there)

    def _task_from(
        self, name: str, inputs: JobInputs, digest: str, there: Mapping[str, bytes] | None
    ) -> RenderTask | None:
        """Return the task of a job; None if its set exists, and only has to be marked."""
        batch, job = self._batch, inputs.job.id
        folder = batch.out / job
        following = next_issue(
            inputs, batch.as_of, batch.settings, folder, there, self._archived_revisions(job)
        )
        before = None if following.earlier is None else read_earlier_set(following.earlier, self._examine)
        doubts = earlier_findings(before, batch.as_of, str(folder))
        self._in_progress[name] = _JobInProgress(inputs, digest, doubts)
        record = dict([next(iter(inputs.files.items()))])
        task = RenderTask(
            name,
            replace(inputs, files=record, earlier_weather=()),
            batch.as_of,
            following.revision,
            batch.settings,
            None if following.earlier is None else without_sheets(following.earlier),
        )
        if following.kept is None:
            return task
        self.accept(task, RenderResult(of_documents(following.kept)))
        return None

    def _name(self, path: Path) -> str:
        return path.relative_to(self._batch.folder).as_posix()

    def _weather_file(self, record: Path, job: JobRecord | None) -> Path | None:
        """Return the weather file of a record; None if it is to be downloaded."""
        named = self._batch.weather
        if named is None:
            return _find_weather_file(record, record.parent, job)
        if not named.is_dir():
            return named
        folder = named / record.parent.relative_to(self._batch.folder)
        found = _find_weather_file(record, folder, job)
        if found is None:
            expected, example = "a weather file with the name of the record", f"{record.stem}.json"
            raise UnusableInput([Finding("has none", file=str(folder), expected=expected, example=example)])
        return found

    # ---- existing sets

    def _digest(
        self, job: JobRecord, beside: AttachedFiles, weather: WeatherFile | None, year: WeatherFile | None
    ) -> str:
        """Return a digest of the inputs of a set.

        Any download counts as the same. Of the record, the parsed values count, so a new comment makes no new
        set.
        """
        batch = self._batch
        files = {"record": job.model_dump_json(exclude={"assumed"}).encode(), **attached_files(job, beside)}
        files |= {f"weather {n}": each.data for n, each in enumerate((weather, year)) if each is not None}
        settings = replace(batch.settings, templates=None)
        parts = [
            [(name, hashlib.sha256(data).hexdigest()) for name, data in files.items()],
            str(settings),
            str(batch.settings.templates),
            batch.as_of.isoformat() if batch.reissue_at else "",
        ]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()

    def _is_up_to_date(self, job: str, digest: str) -> bool:
        folder = self._batch.out / job
        try:
            mark = json.loads((folder / MARK_FILE).read_bytes())
            return bool(mark["inputs"] == digest and all((folder / each).is_file() for each in mark["files"]))
        except (OSError, ValueError, TypeError, LookupError, RecursionError):
            return False

    def _cautions_of(self, job: str) -> tuple[Finding, ...]:
        """Return the cautions of an existing set."""
        mark = json.loads((self._batch.out / job / MARK_FILE).read_bytes())
        return tuple(Finding(**each) for each in mark.get("cautions", ()))

    def _ensure_archived(self, job: str) -> bool:
        """Archive an existing set, if an interrupted run did not; return whether it did now."""
        archive, batch = self._batch.archive, self._batch
        return archive is not None and archive_existing_set(archive, batch.out / job, job, batch.as_of)

    def _archived_revisions(self, job: str) -> tuple[int, ...]:
        """Return the revisions in the archive."""
        archive = self._batch.archive
        bag = archive.bag_or_none(job) if archive else None
        return bag.revisions if bag else ()

    # ---- finished jobs

    def _publish(
        self, work: _JobInProgress, documents: Mapping[str, bytes], cautions: tuple[Finding, ...]
    ) -> None:
        """Publish a set, then archive it. After an interruption in between, the next run archives it."""
        job, archive = work.inputs.job, self._batch.archive
        whole = add_inputs(documents, work.inputs, self._batch.settings)
        doubts = [asdict(each) for each in cautions]
        about = {"inputs": work.digest, "files": sorted(whole), "cautions": doubts}
        mark = json.dumps(about, indent=1)
        publish({**whole, MARK_FILE: mark.encode()}, self._batch.out / job.id, job.id)
        if archive is not None:
            archive_documents(archive, job, whole, self._batch.as_of)

    def _finish(self, name: str, job: str, result: RenderResult, cautions: tuple[Finding, ...] = ()) -> None:
        state: BatchState = "refused" if result.findings else "failed" if result.failure else "done"
        findings = cautions if state == "done" else result.findings
        self._report(BatchOutcome(name, job, state, findings, result.failure))

    def _report(self, outcome: BatchOutcome) -> None:
        self.outcomes.append(outcome)
        self._on_outcome(outcome)


def _questions(task: RenderTask, documents: Mapping[str, bytes]) -> tuple[Finding, ...]:
    """Return what the schedule of a set asks of the contractor; most ask nothing, and are not read for it."""
    written = documents[SCHEDULE_FILE]
    if not any(each.encode() in written for each in ASKS):
        return ()
    return questions(read_schedule(written), task.name)


def _id_of(examined: ExaminedRecord) -> str:
    """Return the id of a record with faults, if it is readable, for the report."""
    text = decode_utf8(examined.source.data)
    written = parse_text(text) if isinstance(text, str) else []
    job = written.get("id") if isinstance(written, dict) else None
    return job if isinstance(job, str) else ""


def _refuse_duplicate_id(summary: _RecordSummary, ids: Mapping[str, int]) -> None:
    """Refuse a record with the same id as another: which one is meant is unknown."""
    if summary.job and ids[summary.job.lower()] > 1:
        finding = Finding(
            f"another record of this folder also has the id {summary.job}",
            file=str(summary.path),
            field="id",
            expected="an id that no other job has, upper and lower case alike",
        )
        raise UnusableInput([finding])


def _find_weather_file(record: Path, folder: Path, job: JobRecord | None) -> Path | None:
    """Return the weather file in a folder with the name of a record.

    Raises:
        UnusableInput: There are several.
    """
    own = {record.name}
    if job is not None and job.temperature_log:
        own.add(job.temperature_log.file)
    there = (folder / f"{record.stem}{ending}" for ending in WEATHER_SUFFIXES)
    found = [each for each in there if each.is_file() and each.name not in own]
    if len(found) > 1:
        problem = f"several files could be the weather of {record.name}: {', '.join(x.name for x in found)}"
        raise UnusableInput([Finding(problem, file=str(folder), expected="one")])
    return found[0] if found else None
