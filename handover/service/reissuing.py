"""A job issued again, from the archive: in new weather, or with what has been measured since.

    handover reissue   one job
    handover watch     every job that is still curing, in the forecast of today

A new revision is made where it says something new to its readers, and where a record is given that says other
than the last one did, were it only that the owner has signed; else nothing is written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Literal, NamedTuple

from handover.archive.catalog.query import Query, State
from handover.documents.change_sentences import told_changes
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.errors import Finding, HandoverError, UnusableInput
from handover.jobs.reading import examine_job, examine_source
from handover.schedule.changes import changes
from handover.service.archiving import file_documents, file_what_stands, issued_record, read_issued_record
from handover.service.forecasts import Forecasts, SharedReading
from handover.service.inputs import Given, check_together, compute
from handover.service.publish import INPUTS, SCHEDULE, put_in_place
from handover.service.render import render_documents
from handover.service.settings import read_settings, with_settings
from handover.service.workers import answer_of
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime
    from pathlib import Path

    from handover.archive.bag import Bag
    from handover.archive.store import Archive
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.forecasts import Cell
    from handover.service.inputs import Received
    from handover.service.settings import Made
    from handover.weather.reading import Examined as WeatherExamined


@dataclass(frozen=True)
class Afresh:
    """What a job is issued again with.

    Attributes:
        weather: Gives the new weather for a job; None for that of the last issue.
        record: The file of its record with what has been added since; None for that of the last issue.
        templates: A contractor's folder whose files stand in for ours.
        anyway: Make a new revision even if no date moved.
        examine: Reads the weather, as `examine_weather_bytes` does.
    """

    weather: Callable[[JobRecord], Given] | None = None
    record: Path | None = None
    templates: Path | None = None
    anyway: bool = False
    examine: Callable[..., WeatherExamined] = examine_weather_bytes


@dataclass(frozen=True)
class Reissued:
    """What came of issuing a job again.

    Attributes:
        revision: That stands now.
        is_new: Whether it was made just now.
        new_record: Whether the record that was given says other than that of the last issue.
        told: What changed since the one before, a sentence each; empty where nothing moved.
        cautions: What is doubtful about the inputs.
    """

    revision: int
    is_new: bool
    told: tuple[str, ...]
    cautions: tuple[Finding, ...]
    new_record: bool = False


# ---- one job ----------------------------------------------------------------------------------------


def reissue(archive: Archive, job: str, folder: Path, as_of: datetime, afresh: Afresh) -> Reissued:
    """Issue an archived job again, to a folder and to the archive.

    A set that stands in the folder and was never filed, because an earlier run broke off or nobody thought of
    it, is filed first: so that what changed is told against what was handed out last.

    Args:
        archive: The archive.
        job: The id of the job.
        folder: Where the new set goes: new, empty, or with an earlier set of the job.
        as_of: Time of issue, aware.
        afresh: What is new.

    Raises:
        UnusableInput: There is no such job, or something is wrong with what it is to be made from.
        DownloadFailed, RenderingFailed: As `issue_documents` and the download.
        Busy, Damaged, NotFiled, Unfinished, CatalogFailed: As `file_documents`.
    """
    with archive.hold(job):
        file_what_stands(archive, folder, job, as_of)
        bag = archive.bag(job)
        last = bag.revisions[-1]
        _refuse_past(bag, as_of)
        documents = bag.issue(last)
        made = _with_look(read_settings(documents), afresh.templates)
        received = _receive(documents, made, job, as_of, afresh)
        schedule = _reckon(received, made, documents, as_of, last + 1)
        told = told_changes(Wording(received.job, schedule, units=made.settings.units_for(received.job)))
        new_record = afresh.record is not None and _says_other(received, documents)
        if not (told or new_record or afresh.anyway):
            return Reissued(last, is_new=False, told=(), cautions=received.cautions)
        files = render_documents(
            received.job,
            schedule,
            made.settings,
            inputs=with_settings(received, made.settings),
            pictures=received.pictures,
            earlier=documents,
        )
        put_in_place(files, folder, job)
        file_documents(archive, received.job, files, as_of)
        return Reissued(schedule.revision, True, told, received.cautions, new_record)


def _refuse_past(bag: Bag, as_of: datetime) -> None:
    if as_of < bag.entry.issued:
        finding = Finding(
            f"{as_of.isoformat()} is before the last issue of {bag.job}, revision {bag.entry.revision}",
            field="--as-of",
            expected=f"a time from {bag.entry.issued.isoformat()} on",
        )
        raise UnusableInput([finding])


def _with_look(made: Made, templates: Path | None) -> Made:
    """Return how a set was made, with the contractor's own texts and pages, which no set keeps."""
    if made.own_look and templates is None:
        finding = Finding(
            "is missing, and the last issue was made with texts and pages of your own",
            field="--templates",
            expected="the folder that they are in",
        )
        raise UnusableInput([finding])
    return replace(made, settings=replace(made.settings, templates=templates))


def _receive(
    documents: Mapping[str, bytes], made: Made, job: str, as_of: datetime, afresh: Afresh
) -> Received:
    """Return job and weather as they are now; what is not new is that of the last issue."""
    examined = examine_job(afresh.record) if afresh.record else examine_source(issued_record(documents))
    if examined.record is None:
        raise UnusableInput(examined.findings)
    _refuse_another(examined.record.id, job, examined.source.name)
    if afresh.weather is None:
        given = Given(made.weather, documents[INPUTS + made.weather], made.received_at)
    else:
        given = afresh.weather(examined.record)
    year = Given(made.typical, documents[INPUTS + made.typical]) if made.typical else None
    return check_together(examined, given, as_of, year=year, examine=afresh.examine)


def _says_other(received: Received, documents: Mapping[str, bytes]) -> bool:
    """Say whether a record tells other than that of an earlier set, or shows other pictures.

    What was read of it is compared: comments and the order of lines say nothing.
    """
    try:
        earlier = read_issued_record(documents)
    except UnusableInput:  # read by another version of this program, or its pictures are gone
        return True
    pictures = received.pictures.items()
    return received.job != earlier or any(documents.get(INPUTS + name) != data for name, data in pictures)


def _refuse_another(found: str, job: str, record: str) -> None:
    if found != job:
        finding = Finding(
            f"is the record of {found}, not of {job}", file=record, field="id", expected=f'"{job}"'
        )
        raise UnusableInput([finding])


def _reckon(
    received: Received, made: Made, documents: Mapping[str, bytes], as_of: datetime, revision: int
) -> CureSchedule:
    """Return the new schedule, with what changed since the last issue."""
    schedule = compute(received, as_of, revision, made.settings)
    try:
        earlier = read_schedule(documents[SCHEDULE])
    except ValueError as fault:
        expected = "a set that `handover issue` wrote"
        raise UnusableInput([Finding(str(fault), file=SCHEDULE, expected=expected)]) from None
    return replace(schedule, changes=changes(earlier, schedule))


# ---- every job that is curing -----------------------------------------------------------------------

Result = Literal["reissued", "unchanged", "refused", "failed"]


class Watched(NamedTuple):
    """What came of one job: what changed, if it was issued again; what is doubtful, or why it was not."""

    job: str
    result: Result
    told: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    failure: str = ""


class _Curing(NamedTuple):
    job: str
    cell: Cell | None


def curing(archive: Archive, at: datetime) -> tuple[str, ...]:
    """Return the ids of the jobs that cure at a time, in order."""
    query = Query(states=frozenset({State.CURING}), at=at)
    return tuple(sorted(each.job for each in archive.catalog.entries(query)))


def watch(
    archive: Archive,
    jobs: tuple[str, ...],
    out: Path,
    as_of: datetime,
    *,
    key: str | None = None,
    templates: Path | None = None,
) -> Iterator[Watched]:
    """Issue jobs again in the forecast of today, where that says something new; nothing is sent.

    One forecast is asked for all sites of a grid cell, and one that cannot be had stops no other.

    Args:
        archive: The archive.
        jobs: Ids, as `curing` has them.
        out: Where a job that is issued again gets a folder by its id.
        as_of: Time of issue, aware.
        key: Of a customer of the forecast service.
        templates: A contractor's folder whose files stand in for ours.
    """
    forecasts, examine = Forecasts(as_of, key), SharedReading()
    seen = [_look_at(archive, each, forecasts) for each in jobs]
    for each in sorted(seen, key=lambda each: (each.cell or (), each.job)):
        afresh = Afresh(
            weather=partial(forecasts.get, each.cell),
            templates=templates,
            examine=examine,
        )
        try:
            done = reissue(archive, each.job, out / each.job, as_of, afresh)
        except Exception as fault:  # noqa: BLE001 - whatever it is, the other jobs go on
            answer = answer_of(fault)
            result: Result = "refused" if answer.findings else "failed"
            yield Watched(each.job, result, findings=answer.findings, failure=answer.failure)
        else:
            yield Watched(each.job, "reissued" if done.is_new else "unchanged", done.told, done.cautions)


def _look_at(archive: Archive, job: str, forecasts: Forecasts) -> _Curing:
    """Note what forecast a job needs; what is wrong with it is told when its turn comes."""
    try:
        bag = archive.bag(job)
        record = read_issued_record(bag.issue(bag.revisions[-1]), str(bag.folder))
    except (HandoverError, OSError):
        return _Curing(job, None)
    return _Curing(job, forecasts.foresee(record))
