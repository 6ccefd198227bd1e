"""Archives an issued set: its files in a bag, its entry in the catalog.

A set has all that the office needs: the record is among its inputs, the dates are in schedule.json, the
crew's visits in crew.ics. So an old folder is archived like a new one. Joined papers, which the owner has in
place of those of each slab, go into the bag of each slab: whoever finds one has what was handed over.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from handover.archive.bag import DECLARATION_FILE
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.entry import MAX_REVISION, Contact, JobEntry, Task
from handover.base.atomic import DESKTOP_FILES, walk
from handover.base.regular_files import read_regular
from handover.base.text import short_line
from handover.documents.calendars import CANCELLED_STATUS, earlier_events, event_uid
from handover.documents.schedule_json import read_schedule, schedule_json
from handover.errors import Finding, UnusableInput
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.parse import decode_utf8, parse_text
from handover.jobs.reading import RecordSource, examine_source
from handover.practice.rules import general_rules
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import printed_not_before
from handover.schedule.tasks import with_tasks
from handover.service.publish import (
    CREW_CALENDAR_FILE,
    INPUTS_FOLDER,
    OWN_NAMES,
    PROJECT_SET,
    SCHEDULE_FILE,
    check_folder,
)
from handover.service.send_log import LOG_FILE as SENT
from handover.units import format_for_reader

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from handover.archive.deposit import DepositResult
    from handover.archive.store import Archive
    from handover.jobs.record import JobRecord

CALL_OWNER = "call-owner"
"""The task to call the owner about a forecast frost."""

CALL_LEAD_TIME = general_rules().duration("call.before-frost")
"""How long before a frost the owner is called."""

MAX_DOCUMENT_BYTES = 200_000_000
"""Maximum bytes of a file that is issued; a video or a scan beside the set may be larger."""

JOINED_FOLDER = "joined/"
"""Folder of a bag for the joined papers that its slab has a part in."""

REQUIRED_KEYS = {"job", "revision", "issued_at", "timezone", "milestones", "risks", "cautions"}
"""The keys that are read from a schedule."""

RECORD_SUFFIXES = (".toml", ".json")
CYLINDER_TEST_AGE = general_rules().duration("cylinder.acceptance")
"""Age at which a standard-cured cylinder is compared with the specified strength."""


# ---- into the archive -------------------------------------------------------------------------------


def archive_issue(archive: Archive, folder: Path, at: datetime) -> DepositResult:
    """Archive an issued folder. Repeating it changes nothing.

    Args:
        archive: The archive; made where there is none.
        folder: As `handover issue` wrote it, with any files added since.
        at: Time of archiving, aware.

    Raises:
        UnusableInput: It is not an issued folder, or the archive has this revision with other documents.
        NotArchived, IndexPending, LockTimeout, CorruptBag, CatalogFailed: As
            `handover.archive.deposit.deposit_files`.
    """
    documents, others = read_issued(folder)
    return archive_documents(
        archive, read_issued_record(documents, str(folder)), documents, at, others=others
    )


def archive_folder(archive: Archive, folder: Path, at: datetime) -> bool:
    """Archive an issued folder, or the joined papers of several slabs; return whether that changed anything.

    Arguments and errors as `archive_issue`. The slabs of joined papers must be in the archive.
    """
    if is_joined_set(folder):
        return _archive_joined(archive, folder, at)
    return archive_issue(archive, folder, at).changed


def is_joined_set(folder: Path) -> bool:
    """Return whether a folder has the joined papers of several slabs."""
    return (folder / PROJECT_SET.file).is_file() and not (folder / SCHEDULE_FILE).is_file()


def _archive_joined(archive: Archive, folder: Path, at: datetime) -> bool:
    """Add joined papers to the bag of each of their slabs, in "joined/" and the number of their issue."""
    revision, slabs = _joined_issue((folder / PROJECT_SET.file).read_bytes(), str(folder))
    if findings := [*_slabs_not_archived(archive, slabs, str(folder))]:
        raise UnusableInput(findings)
    others = {f"{JOINED_FOLDER}{revision:04}/{path}": folder / path for path in _paths(folder)}
    changed = False
    for job in slabs:
        with archive.lock(job):
            changed |= deposit_files(archive, Deposit(archive.bag(job).entry, others=others), at).changed
    return changed


def _joined_issue(content: bytes, where: str) -> tuple[int, dict[str, int]]:
    """Return the number of joined papers, and the revision of each of their slabs."""
    try:
        issue = json.loads(content)
        slabs = {str(each["job"]): int(each["revision"]) for each in issue["slabs"]}
        return int(issue["revision"]), slabs
    except (ValueError, TypeError, LookupError):
        expected = "joined papers as `handover join` wrote them"
        raise UnusableInput.with_finding(
            f"has a {PROJECT_SET.file} that was changed", file=where, expected=expected
        ) from None


def _slabs_not_archived(archive: Archive, slabs: Mapping[str, int], where: str) -> Iterator[Finding]:
    for job, revision in slabs.items():
        bag = archive.bag_or_none(job)
        if bag is None or revision not in bag.revisions:
            yield Finding(
                f"is of revision {revision} of {job}, which is not in the archive",
                file=where,
                expected="the issued folder of each slab, archived first or together with it",
                example="handover archive out",
            )


def archive_existing_set(archive: Archive, folder: Path, job: str, at: datetime) -> bool:
    """Archive the set in a folder if the archive does not have its revision; return whether it did.

    Raises:
        UnusableInput: The folder has something else than a set of this job.
    """
    existing = check_folder(folder, job)
    if existing is None:
        return False
    bag = archive.bag_or_none(job)
    return (
        not (bag and existing.get("revision") in bag.revisions) and archive_issue(archive, folder, at).changed
    )


def archive_documents(
    archive: Archive,
    job: JobRecord,
    documents: Mapping[str, bytes],
    at: datetime,
    *,
    others: Mapping[str, bytes | Path] | None = None,
) -> DepositResult:
    """Archive a set of documents from memory. Raises as `archive_issue`.

    Args:
        archive: The archive; made where there is none.
        job: The record that the set was made from.
        documents: The issued set by file name, with "/" between folder and file.
        at: Time of archiving, aware.
        others: Other files that belong to the job, as bytes or where they are: what was sent, scans, photos.
    """
    with archive.lock(job.id):
        bag = archive.bag_or_none(job.id)
        entry = entry_of(job, documents, bag.entry if bag else None)
        deposit = Deposit(entry, documents, others or {}, contact_for(job))
        if bag and entry.revision in bag.revisions[:-1] and bag.issue(entry.revision) == documents:
            deposit = Deposit(bag.entry, others=others or {})  # an earlier issue, which has nothing new
        return deposit_files(archive, deposit, at)


def issued_folders(folders: Path) -> list[Path]:
    """Return the issued folders of a path, in order of their paths; those of joined papers come last.

    Args:
        folders: An issued folder; a folder with issued folders at any depth, bags left out; or a job record
            with one folder of its documents beside it.

    Raises:
        UnusableInput: There is none, or a record has several.
    """
    if folders.is_file():
        return [_folder_of(folders)]
    if not folders.is_dir():
        raise UnusableInput([_no_set(str(folders), "does not exist")])
    found = sorted(_issued_below(folders), key=lambda each: (is_joined_set(each), each))
    if not found:
        raise UnusableInput([_no_set(str(folders), "has no issued documents")])
    return found


def _issued_below(folder: Path) -> Iterator[Path]:
    if (folder / SCHEDULE_FILE).is_file() or is_joined_set(folder):
        yield folder
    elif not (folder / DECLARATION_FILE).exists():
        for each in folder.iterdir():
            if each.is_dir() and not each.is_symlink() and not each.name.startswith("."):
                yield from _issued_below(each)


def _folder_of(record: Path) -> Path:
    """Return the one folder beside a record that has its documents."""
    job = _id(record.read_bytes())
    if not isinstance(job, str):
        raise UnusableInput([_no_set(str(record), "is not a job record")])
    beside = (each for each in record.resolve().parent.iterdir() if (each / SCHEDULE_FILE).is_file())
    found = sorted(each for each in beside if _job_in(each) == job)
    if len(found) == 1:
        return found[0]
    if not found:
        problem = "is a job record, but its documents, which would be archived, are not beside it"
        raise UnusableInput([_no_set(str(record), problem, record)])
    names = ", ".join(each.name for each in found)
    raise UnusableInput([_no_set(str(record), f"has its documents in several folders: {names}")])


def _job_in(folder: Path) -> object:
    try:
        return _schedule({SCHEDULE_FILE: read_regular(folder / SCHEDULE_FILE, follow=True)}, str(folder))[
            "job"
        ]
    except UnusableInput:
        return None


def read_issued(folder: Path) -> tuple[dict[str, bytes], dict[str, Path]]:
    """Return the documents of an issued folder, and where the files added to it are, by their paths in a bag.

    Raises:
        UnusableInput: It is not an issued folder, or a document is larger than any that is issued.
    """
    if not (folder / SCHEDULE_FILE).is_file():
        raise UnusableInput([_no_set(str(folder), f"has no {SCHEDULE_FILE}")])
    paths = [*_paths(folder)]
    documents = {path: _read_document(folder / path) for path in paths if _is_of_set(path)}
    revision = _schedule(documents, str(folder))["revision"]
    others = {
        f"messages/{revision:04}/{path}" if path == SENT else f"beside/{path}": folder / path
        for path in paths
        if path not in documents
    }
    return documents, others


def read_issued_documents(folder: Path) -> dict[str, bytes]:
    """Return the documents of an issued folder alone, even if this program cannot read its schedule."""
    return {path: _read_document(folder / path) for path in _paths(folder) if _is_of_set(path)}


def _read_document(file: Path) -> bytes:
    """Return the bytes of a document of a set."""
    size = file.stat().st_size
    if size > MAX_DOCUMENT_BYTES:
        raise UnusableInput.with_finding(
            f"has {size / 1e6:.0f} MB, more than any document of a set",
            file=str(file),
            expected=f"at most {MAX_DOCUMENT_BYTES / 1e6:.0f} MB",
        )
    return read_regular(file)


def _paths(folder: Path) -> Iterator[str]:
    """Yield the files of a folder, without those of programs and desktops."""
    for path, each in walk(folder):
        hidden = each.name.startswith(".") or each.name in DESKTOP_FILES
        if each.is_file(follow_symlinks=False) and not hidden:
            yield path


def _is_of_set(path: str) -> bool:
    return OWN_NAMES.fullmatch(path.partition("/")[0]) is not None


def read_issued_record(documents: Mapping[str, bytes], where: str = "the set") -> JobRecord:
    """Return the job record of a set of documents, read from its inputs.

    Raises:
        UnusableInput: There is none, or it is no longer usable.
    """
    examined = examine_source(issued_record(documents, where))
    if examined.record is None:
        raise UnusableInput(examined.findings)
    return examined.record


def issued_record(documents: Mapping[str, bytes], where: str = "the set") -> RecordSource:
    """Return the job record of a set as it was received, with the files it names, from its inputs.

    Raises:
        UnusableInput: There is none.
    """
    job = _schedule(documents, where)["job"]
    for name, data in documents.items():
        if name.startswith(INPUTS_FOLDER) and name.endswith(RECORD_SUFFIXES) and _id(data) == job:
            inputs = {
                file.removeprefix(INPUTS_FOLDER): each
                for file, each in documents.items()
                if file.startswith(INPUTS_FOLDER)
            }
            return RecordSource(name, data, MemoryFiles(inputs))
    raise UnusableInput([_no_set(where, f"has no record of the job {job} among its inputs")])


def _id(data: bytes) -> object:
    text = decode_utf8(data)
    written = parse_text(text) if isinstance(text, str) else []
    return None if isinstance(written, list) else written.get("id")


def zone_of_set(documents: Mapping[str, bytes], where: str) -> str:
    """Return the time zone of the site of a set.

    Raises:
        UnusableInput: It has no schedule as issued.
    """
    return str(_schedule(documents, where)["timezone"])


def _schedule(documents: Mapping[str, bytes], where: str) -> dict[str, Any]:
    try:
        schedule = _content_of(documents[SCHEDULE_FILE])
    except (KeyError, ValueError, RecursionError):
        schedule = None
    if not (
        isinstance(schedule, dict)
        and schedule.keys() >= REQUIRED_KEYS
        and isinstance(schedule["job"], str)
        and type(schedule["revision"]) is int
        and 1 <= schedule["revision"] <= MAX_REVISION
    ):
        raise UnusableInput([_no_set(where, f"has no {SCHEDULE_FILE} as issued")])
    return schedule


@lru_cache(maxsize=4)
def _content_of(content: bytes) -> Any:
    """Return what a file has as JSON, to read: it is kept, and read again."""
    return json.loads(content)


def _no_set(where: str, problem: str, record: Path = Path("job.toml")) -> Finding:
    named, folder = quote(str(record)), quote(f"out/{record.stem}")
    return Finding(
        problem,
        file=where,
        expected="a folder that `handover issue` wrote",
        example=f"handover issue {named} -o {folder}, then handover archive {folder} --to ARCHIVE",
    )


# ---- for the catalog --------------------------------------------------------------------------------


def entry_of(job: JobRecord, documents: Mapping[str, bytes], earlier: JobEntry | None = None) -> JobEntry:
    """Return the catalog entry of an issued job.

    Args:
        job: The record that the set was made from.
        documents: The set; its schedule.json and crew.ics are read.
        earlier: Its present entry, if there is one.

    Raises:
        UnusableInput: The set is not as it was issued.
    """
    schedule = _schedule(documents, job.id)
    _require_readable(documents[SCHEDULE_FILE], job.id)
    frosts = [each for each in schedule["risks"] if each["code"] == "frost"]
    revision, issued = int(schedule["revision"]), datetime.fromisoformat(schedule["issued_at"])
    return JobEntry(
        job=job.id,
        placed=job.placement.start.replace(tzinfo=_offset(job.placement.start)),
        revision=revision,
        issued=issued,
        owner=job.owner.name or "",
        street=_join(job.site.name, job.site.address),
        contractor=job.contractor.name or "",
        mix=_mix(job),
        supplier=job.mix.supplier or "",
        remarks=_remarks(job),
        curing_ends=_printed_date(schedule, MilestoneKind.CURING_ENDS),
        frost_until=max((datetime.fromisoformat(each["end"]) for each in frosts), default=None),
        acknowledged=_acknowledgement(job, revision, earlier),
        walkthrough_open=any(each.ok is False for each in job.walkthrough),
        cylinder_low=_cylinder_low(job, schedule),
        tasks=(*_visits(job, schedule, documents), *_calls(frosts, issued)),
        more={
            name: value
            for name, value in (
                ("phone", job.owner.phone),
                ("email", job.owner.email),
                ("language", job.owner.language),
            )
            if value
        },
    )


def _require_readable(schedule: bytes, where: str) -> None:
    """Refuse a schedule that is not as the published schema says."""
    try:
        read_schedule(schedule)
    except ValueError as fault:
        raise UnusableInput([_no_set(where, f"has a {SCHEDULE_FILE} that {short_line(fault)}")]) from None


def contact_for(job: JobRecord) -> Contact:
    """Return the contact of a bag: the contractor of its job."""
    who = job.contractor
    return Contact(organization=who.name or "", phone=who.phone or "", email=who.email or "")


def _join(*texts: str | None) -> str:
    return ", ".join(text for text in texts if text)


def _mix(job: JobRecord) -> str:
    """Return the mix in search words: strength in both units, cement, additions."""
    mix = job.mix
    in_psi, in_mpa = (
        format_for_reader(mix.specified_strength, "strength", system) for system in ("us", "si")
    )
    return _join(
        f"{in_psi} ({in_mpa})",
        f"cement {mix.cement}",
        "fly ash" if mix.fly_ash else None,
        "slag" if mix.slag else None,
        *mix.admixtures,
    )


def _remarks(job: JobRecord) -> str:
    remarks = [f"{each.item}: {each.note}" if each.note else each.item for each in job.walkthrough]
    return "\n".join(
        [*remarks, *([job.acknowledgement.remarks or ""] if job.acknowledgement else [])]
    ).strip()


def _printed_date(schedule: Mapping[str, Any], kind: str) -> datetime | None:
    """Return a date as the owner's documents print it; None where there is none."""
    milestone = next((each for each in schedule["milestones"] if each["kind"] == kind), None)
    if milestone is None or milestone["not_before"] is None:
        return None
    if printed := milestone.get("printed"):
        return datetime.fromisoformat(printed["instant"])
    when, placed = milestone["not_before"], schedule.get("placement_end", milestone["not_before"])
    return printed_not_before(datetime.fromisoformat(when), kind, datetime.fromisoformat(placed)).instant


def _acknowledgement(job: JobRecord, revision: int, earlier: JobEntry | None) -> datetime | None:
    """Return when the owner acknowledged this issue.

    A signature is printed on the next set, and counts for that one. A later set from the same record, for
    example after a change of the weather, is not acknowledged yet.
    """
    if job.acknowledgement is None:
        return None
    signed = job.acknowledgement.time.replace(tzinfo=_offset(job.acknowledgement.time))
    if earlier is None:
        return signed
    if revision == earlier.revision:
        return earlier.acknowledged
    return signed if signed >= earlier.issued else None


def _cylinder_low(job: JobRecord, schedule: Mapping[str, Any]) -> bool:
    """Return whether a cylinder broke low: below the estimate, or mature and below the specified strength."""
    if any(each["code"] == "cylinders-weak" for each in schedule["cautions"]):
        return True
    return any(
        each.cured == "standard"
        and each.strength < job.mix.specified_strength
        and _age(job, each.age, each.tested) >= CYLINDER_TEST_AGE
        for each in job.cylinder
    )


def _age(job: JobRecord, hours: float | None, tested: datetime | None) -> timedelta:
    if tested is not None:
        return tested - job.placement.start
    return timedelta(hours=hours or 0.0)


def _offset(when: datetime) -> Any:
    """Return the offset of an instant from UTC, for a catalog that knows no zones."""
    return datetime.fromisoformat(when.isoformat()).tzinfo


# ---- tasks ------------------------------------------------------------------------------------------


def _visits(job: JobRecord, schedule: Mapping[str, Any], documents: Mapping[str, bytes]) -> Iterator[Task]:
    """Yield the crew's tasks, titled as in its calendar."""
    try:
        events = earlier_events(documents[CREW_CALENDAR_FILE])
    except (KeyError, UnusableInput):
        raise UnusableInput([_no_set(job.id, f"has no {CREW_CALENDAR_FILE} as issued")]) from None
    current = (each for each in events if each.get("status") != CANCELLED_STATUS)
    titles = {str(each["uid"]): str(each["summary"]) for each in current}
    for each in _crew_tasks(job, schedule, documents):
        uid = event_uid(job, "crew", each["kind"], each["occasion"])
        if uid in titles:
            start, end = (datetime.fromisoformat(each[when]) for when in ("start", "end"))
            title = titles[uid].removesuffix(f", {job.site.name}")
            yield Task(each["kind"], start, None if each["all_day"] else end, title, uid)


def _crew_tasks(
    job: JobRecord, schedule: Mapping[str, Any], documents: Mapping[str, bytes]
) -> Iterator[Mapping[str, Any]]:
    """Yield the crew's tasks of a schedule; for one of an earlier version, which has none, they are made."""
    if "tasks" not in schedule:
        try:
            whole = with_tasks(read_schedule(documents[SCHEDULE_FILE]), job)
        except ValueError as fault:
            raise UnusableInput([_no_set(job.id, f"has a {SCHEDULE_FILE} that {fault}")]) from None
        schedule = json.loads(schedule_json(whole))
    yield from (each for each in schedule["tasks"] if each["by"] == "crew")


def _calls(frosts: list[dict[str, Any]], issued: datetime) -> Iterator[Task]:
    """Yield the calls to the owner: on the day before each frost, or at once if the frost is nearer."""
    for frost in frosts:
        begins = datetime.fromisoformat(frost["start"])
        if begins > issued:
            call = max(begins - CALL_LEAD_TIME, issued)
            hour = f"{begins:%I:%M %p}".lstrip("0").lower()
            text = f"Call the owner: frost is forecast from {begins:%a %b} {begins.day}, {hour}"
            yield Task(CALL_OWNER, call, begins if begins.date() == call.date() else None, text)
