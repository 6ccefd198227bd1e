"""Joins the papers of several slabs of one site and owner: one sheet, one page, one calendar each.

The slabs are issued first, each with its own record, schedule and set. The joined papers read the schedules
of these sets: no date is computed again. Visits to several slabs are planned together, within the hours that
each schedule allows. `slabs.json` in the joined set names the issue of each slab.
"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import chain
from typing import TYPE_CHECKING

from handover.documents.joined_calendars import joined_crew_calendar, joined_owner_calendar
from handover.documents.joined_message import compose_joined_message
from handover.documents.joined_sheet import JoinedSheet
from handover.documents.joined_slabs import ProjectSlabs, can_be_told_apart
from handover.documents.pages import joined_files, joined_sheet_html, render_joined_page
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.errors import Finding, UnusableInput
from handover.jobs.reading import examine_source
from handover.practice.rules import general_rules
from handover.schedule.model import MilestoneKind
from handover.schedule.shared_visits import plan_together
from handover.schedule.tasks import covered_since
from handover.service.archiving import issued_record, read_issued
from handover.service.inputs import pictures_of
from handover.service.pdf_workers import PendingPdf
from handover.service.publish import (
    CREW_CALENDAR_FILE,
    PROJECT_SET,
    SCHEDULE_FILE,
    check_folder,
    lock_folder,
    publish_locked,
)
from handover.service.render import earlier_owner_calendar
from handover.weather.location import distance_km

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path
    from typing import Any

    from handover.documents.pages import Paper
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.pdf_workers import PdfWorkers
    from handover.service.settings import Settings

LOG = logging.getLogger("handover")

METRES_PER_KM = 1000.0


@dataclass(frozen=True)
class IssuedSlab:
    """The issued set of one slab.

    Attributes:
        where: Its folder, for findings.
        job: Its record.
        schedule: Its schedule as issued.
        pictures: The pictures that the record names, by name.
    """

    where: str
    job: JobRecord
    schedule: CureSchedule
    pictures: Mapping[str, bytes]


@dataclass(frozen=True)
class EarlierPapers:
    """The papers that joined papers replace.

    Attributes:
        issue: The value of their slabs.json.
        calendars: Their calendars, by file name.
    """

    issue: Mapping[str, Any]
    calendars: Mapping[str, bytes]

    def include(self, slab: IssuedSlab) -> bool:
        """Return whether they are of a slab too, in whatever issue."""
        return any(each["job"] == slab.job.id for each in self.issue["slabs"])

    def has_previous_issue(self, slab: IssuedSlab) -> bool:
        """Return whether they are of the issue of a slab that its own set replaces."""
        return any(
            each["job"] == slab.job.id and each["revision"] == slab.schedule.revision - 1
            for each in self.issue["slabs"]
        )


@dataclass(frozen=True)
class JoinedSet:
    """The joined papers.

    Attributes:
        project: The name of the project.
        files: The contents by file name, in the order of the reader's interest.
        first: What the owner does first, and when, in the language of crew and office.
        findings: Cautions: slabs whose dates are old.
    """

    project: str
    files: Mapping[str, bytes]
    first: str
    findings: tuple[Finding, ...] = ()


def read_issued_slab(folder: Path) -> IssuedSlab:
    """Return the slab of an issued folder.

    Raises:
        UnusableInput: It is not an issued folder, or its record or schedule can no longer be read.
    """
    documents, _ = read_issued(folder)
    source = issued_record(documents, str(folder))
    examined = examine_source(source)
    if examined.record is None:
        raise UnusableInput(examined.findings)
    try:
        schedule = read_schedule(documents[SCHEDULE_FILE])
    except ValueError as fault:
        raise UnusableInput.with_finding(str(fault), file=str(folder / SCHEDULE_FILE)) from None
    return IssuedSlab(str(folder), examined.record, schedule, pictures_of(examined.record, source.files))


def join_to_folder(
    sets: Sequence[Path],
    folder: Path,
    as_of: datetime,
    settings: Settings,
    workers: PdfWorkers | None = None,
) -> JoinedSet:
    """Join the papers of issued slabs in a folder, as its next revision; return them.

    Args:
        sets: The issued folder of each slab.
        folder: New, empty, or with earlier papers of the same project.
        as_of: Time of issue, aware: what is over by then is left out, and the first job is the next one.
        settings: Languages, units, paper and templates of the readers.
        workers: Processes that render the PDFs side by side; without them, this process renders.

    Raises:
        UnusableInput: The slabs do not belong together, or the folder has something else; carries all
            findings.
        RenderingFailed: A document could not be rendered cleanly.
    """
    LOG.info("1 read")
    slabs = sorted(map(read_issued_slab, sets), key=_order)
    LOG.info("2 check")
    if findings := [*check_slabs(slabs, as_of)]:
        raise UnusableInput(findings)
    project = slabs[0].job.site.project or ""
    with lock_folder(folder):
        earlier = _earlier_papers(folder, project)
        joined = join_slabs(slabs, issue_of(slabs, as_of, earlier), settings, earlier, workers)
        publish_locked(joined.files, folder, project, PROJECT_SET)
    return joined


def _order(slab: IssuedSlab) -> tuple[datetime, str]:
    """Return the order of placement; slabs that ended together are in that of their ids."""
    return slab.schedule.placement_end.astimezone(UTC), slab.job.id


def _earlier_papers(folder: Path, project: str) -> EarlierPapers | None:
    """Return the papers of the project in a folder; None if the folder is free."""
    issue = check_folder(folder, project, PROJECT_SET)
    if issue is None:
        return None
    try:
        _ = int(issue["revision"]), [(each["job"], int(each["revision"])) for each in issue["slabs"]]
    except (ValueError, TypeError, LookupError):
        raise UnusableInput.with_finding(
            f"has papers whose {PROJECT_SET.file} was changed",
            file=str(folder),
            expected="a new folder, or one with earlier papers of the same project",
        ) from None
    return EarlierPapers(issue, {each.name: each.read_bytes() for each in sorted(folder.glob("*.ics"))})


def issue_of(
    slabs: Sequence[IssuedSlab], as_of: datetime, earlier: EarlierPapers | None = None
) -> dict[str, Any]:
    """Return slabs.json as a value: project, revision, time of issue, and the issue of each slab.

    The same slabs at the same time are the same issue, made again.
    """
    issue = {
        "project": slabs[0].job.site.project,
        "revision": 1,
        "issued_at": as_of.astimezone(slabs[0].job.zone).isoformat(),
        "slabs": [
            {
                "job": each.job.id,
                "revision": each.schedule.revision,
                "issued_at": each.schedule.issued_at.isoformat(),
            }
            for each in slabs
        ],
    }
    if earlier is None:
        return issue
    last = earlier.issue["revision"]
    again = {**issue, "revision": last} == earlier.issue
    return {**issue, "revision": last + (not again)}


# ---- whether they belong together -------------------------------------------------------------------


def check_slabs(slabs: Sequence[IssuedSlab], as_of: datetime) -> Iterator[Finding]:
    """Yield why slabs cannot have joined papers.

    Args:
        slabs: In order of placement.
        as_of: Time of issue of the joined papers, aware.
    """
    if len(slabs) < 2:  # noqa: PLR2004 - two are several
        yield Finding("there is only one slab to join", expected="the issued folders of several slabs")
        return
    yield from chain.from_iterable(_check_slab(each, slabs[0], as_of) for each in slabs)
    ids = [each.job.id for each in slabs]
    for number, each in enumerate(slabs):
        if each.job.id in ids[:number]:
            yield Finding(f"is {each.job.id} a second time", file=each.where, expected="each slab once")
    if len({*ids}) == len(ids) and not can_be_told_apart(each.job for each in slabs):
        problem = "is that of another slab of the same use"
        yield Finding(
            problem, file=slabs[-1].where, field="site.name", expected="a name of its own for each slab"
        )


def _check_slab(slab: IssuedSlab, first: IssuedSlab, as_of: datetime) -> Iterator[Finding]:
    """Yield why a slab cannot be joined to the first one."""
    if slab.job.site.project is None:
        yield Finding(
            "is missing",
            file=slab.where,
            field="site.project",
            expected="the name of the project, the same in the record of each slab; then issue it again",
            example=f'project = "{first.job.site.project or first.job.site.address or first.job.site.name}"',
        )
    for field, of, same in SHARED:
        if not same(of(slab.job), of(first.job)):
            problem = f"is {of(slab.job)!r}, and {of(first.job)!r} in {first.where}"
            expected = "the same in all records of a project"
            yield Finding(problem, file=slab.where, field=field, expected=expected)
    if (apart := _metres_apart(slab.job, first.job)) > general_rules()["project.apart"]:
        problem = f"is {apart / METRES_PER_KM:.1f} km from {first.job.site.name}"
        yield Finding(problem, file=slab.where, field="site", expected="slabs of one site")
    if slab.schedule.issued_at > as_of:
        problem = f"was issued at {slab.schedule.issued_at.isoformat()}, after the joined papers"
        expected = "a time of issue that is not before that of a slab"
        yield Finding(problem, file=slab.where, field="--as-of", expected=expected)


def old_issues(slabs: Sequence[IssuedSlab], as_of: datetime) -> Iterator[Finding]:
    """Yield the slabs that still cure by a forecast of an earlier day.

    Arguments as in `check_slabs`.
    """
    stale = general_rules().duration("forecast.stale")
    for each in slabs:
        ends = each.schedule.milestone(MilestoneKind.CURING_ENDS)
        is_over = ends is not None and ends.not_before is not None and ends.not_before <= as_of
        if as_of - each.schedule.issued_at > stale and not is_over:
            yield Finding(
                f"was issued on {each.schedule.issued_at:%Y-%m-%d}; its dates are of the forecast of then",
                file=each.where,
                expected="the slab issued again with a new forecast, then joined",
                severity="caution",
            )


def _is_equal(one: object, other: object) -> bool:
    return one == other


def _is_same_name(one: object, other: object) -> bool:
    """Return whether two names differ by blanks and capitals at most."""
    return str(one or "").casefold().split() == str(other or "").casefold().split()


def _is_same_if_known(one: object, other: object) -> bool:
    return one is None or other is None or _is_same_name(one, other)


SHARED: tuple[tuple[str, Callable[[JobRecord], object], Callable[[object, object], bool]], ...] = (
    ("site.project", lambda job: job.site.project, _is_same_if_known),
    ("site.timezone", lambda job: job.site.timezone, _is_equal),
    ("owner.name", lambda job: job.owner.name, _is_same_name),
    ("owner.email", lambda job: job.owner.email, _is_same_if_known),
    ("owner.language", lambda job: job.owner.language, _is_equal),
    ("contractor.name", lambda job: job.contractor.name, _is_same_name),
    ("contractor.phone", lambda job: job.contractor.phone, _is_same_name),
)
"""What the records of a project share: field, value, and whether two values are the same."""


def _metres_apart(one: JobRecord, other: JobRecord) -> float:
    """Return the distance of two sites, in m; 0 where a record has no place."""
    places = (one.site.latitude, one.site.longitude, other.site.latitude, other.site.longitude)
    if None in places:
        return 0.0
    return METRES_PER_KM * distance_km(*places)  # type: ignore[arg-type]


# ---- the papers -------------------------------------------------------------------------------------


def join_slabs(
    slabs: Sequence[IssuedSlab],
    issue: Mapping[str, Any],
    settings: Settings,
    earlier: EarlierPapers | None = None,
    workers: PdfWorkers | None = None,
) -> JoinedSet:
    """Return the joined papers of slabs that belong together.

    Args:
        slabs: In order of placement.
        issue: The value of slabs.json.
        settings: As in `join_to_folder`.
        earlier: The papers that these replace: the sheet has what moved since then, and events that only
            their calendars have are cancelled.
        workers: As in `join_to_folder`.
    """
    LOG.info("4 write texts")
    language = slabs[0].job.owner.language
    readers = tuple(dict.fromkeys(settings.languages or (language,)))
    office = settings.office_language
    projects = {
        each: project_slabs(slabs, issue, settings, each, earlier)
        for each in dict.fromkeys((*readers, office))
    }
    LOG.info("5 render")
    manifest = f"{json.dumps(issue, indent=1, ensure_ascii=False)}\n".encode()
    rendering = _Rendering(settings.paper, manifest, earlier.calendars if earlier else {}, workers)
    of_readers = {
        each: rendering.reader_files(projects[each], f".{each}" if readers[1:] else "") for each in readers
    }
    owner = language if language in readers else readers[0]
    files = {name: content for of_one in of_readers.values() for name, content in of_one.items()}
    files |= {
        CREW_CALENDAR_FILE: rendering.crew_calendar(projects[office]),
        PROJECT_SET.file: manifest,
        "message.eml": compose_joined_message(projects[owner], of_readers[owner]),
    }
    cautions = tuple(old_issues(slabs, datetime.fromisoformat(issue["issued_at"])))
    return JoinedSet(projects[office].name, files, JoinedSheet(projects[office]).first.line, cautions)


def project_slabs(
    slabs: Sequence[IssuedSlab],
    issue: Mapping[str, Any],
    settings: Settings,
    language: str,
    earlier: EarlierPapers | None = None,
) -> ProjectSlabs:
    """Return the slabs for one reader: their schedules as issued, seen at the time of the joined papers.

    Arguments as in `join_slabs`.
    """
    at, units = datetime.fromisoformat(issue["issued_at"]), settings.units_for(slabs[0].job)

    def schedule_of(slab: IssuedSlab) -> CureSchedule:
        changed = earlier is not None and earlier.has_previous_issue(slab)
        return replace(
            slab.schedule,
            revision=issue["revision"],
            has_own_papers=slab.schedule.issued_at < at,
            issued_at=at.astimezone(slab.job.zone),
            changes=slab.schedule.changes if changed else (),
            covered_since=covered_since(slab.schedule, at),
            missed_water=None if earlier and earlier.include(slab) else slab.schedule.missed_water,
            tasks=(),  # some are over by now
        )

    jobs = [each.job for each in slabs]
    schedules = plan_together(jobs, [schedule_of(each) for each in slabs], at)
    wordings = [
        Wording(job, schedule, language=language, units=units, templates=settings.templates)
        for job, schedule in zip(jobs, schedules, strict=True)
    ]
    return ProjectSlabs(wordings, [each.pictures for each in slabs])


@dataclass(frozen=True)
class _Rendering:
    """The shared inputs of the papers: paper, slabs.json, the earlier calendars, processes for the PDFs."""

    paper: Paper
    manifest: bytes
    earlier: Mapping[str, bytes]
    workers: PdfWorkers | None

    def reader_files(self, project: ProjectSlabs, mark: str) -> dict[str, bytes]:
        """Return the sheet, the page and the calendar of one reader, with the mark of their language."""
        with PendingPdf(joined_sheet_html(project, paper=self.paper), self.workers) as sheet:
            calendar = joined_owner_calendar(project, earlier_owner_calendar(self.earlier, mark))
            sheet.attach(joined_files(project, slabs=self.manifest, calendar=calendar))
            page = render_joined_page(project, calendar)
            return {
                f"care-sheet{mark}.pdf": sheet.content,
                f"care-page{mark}.html": page,
                f"owner{mark}.ics": calendar,
            }

    def crew_calendar(self, project: ProjectSlabs) -> bytes:
        """Return the calendar of the crew."""
        return joined_crew_calendar(project, self.earlier.get(CREW_CALENDAR_FILE))
