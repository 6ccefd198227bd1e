"""The commands of the office: its archive, and what is due on the jobs in it."""

from __future__ import annotations

import sys

from handover.cli.exit_codes import DONE, FAILED, UNUSABLE
from handover.cli.option_values import (
    now,
    open_archive,
    open_existing_archive,
    parse_day,
    refuse_existing,
    time_of_issue,
    to_path,
)
from handover.cli.output import (
    clock,
    heading,
    print_error,
    print_trouble,
    printable,
    progress_bar,
    shell_word,
    table,
    weekday,
    wrap,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager
    from datetime import date, datetime
    from pathlib import Path
    from typing import TextIO

    from handover.archive.catalog import DueTask
    from handover.archive.entry import JobEntry, Task
    from handover.archive.store import Archive
    from handover.archive.verify import BagReport, FileFault
    from handover.cli.arguments import Options
    from handover.errors import Finding

PAGE_LENGTH = 50
"""Jobs of a table, unless more are asked for."""

CALENDAR_FILE = b"BEGIN:VCALENDAR"


# ---- writing and verifying -----------------------------------------------------------------------------


def archive(options: Options) -> int:
    """Archive issued folders."""
    from handover.service.archiving import issued_folders

    troubles = _TroubleReport()
    folders: list[Path] = []
    for each in options.jobs:
        with troubles.messages(each):
            folders += issued_folders(to_path(each))
    filed: dict[Path, bool] = {}
    try:
        if folders:
            _file(folders, options, troubles, filed)
    except KeyboardInterrupt:
        print_error("Stopped. What is archived stays; run the same command again to continue.")
        troubles.status = FAILED
    for folder, changed in filed.items():
        print(f"{printable(folder)}: {'archived' if changed else 'already archived'}")
    if len(folders) > 1 or troubles.count:
        new = sum(filed.values())
        print(f"{new} archived, {len(filed) - new} already archived, {troubles.count} not archived.")
    return troubles.status


def _file(
    folders: Sequence[Path], options: Options, troubles: _TroubleReport, results: dict[Path, bool]
) -> None:
    """Archive each folder; note whether it was new."""
    from handover.service.archiving import archive_issue

    with open_archive(options.to, options.catalog) as place, progress_bar(len(folders)) as done:
        _ = place.catalog  # a catalog that cannot be opened is reported once, not for each folder
        for folder in folders:
            with troubles.messages(folder):
                results[folder] = archive_issue(place, folder, now()).changed
            done(folder)


class _TroubleReport:
    """What went wrong with some of many folders, printed at once; the others go on."""

    def __init__(self) -> None:
        self.count = 0
        self.status = DONE

    def messages(self, name: object) -> AbstractContextManager[None]:
        """Print what goes wrong with one folder, and go on."""
        from contextlib import contextmanager

        from handover.errors import HandoverError, UnusableInput

        @contextmanager
        def report_faults() -> Iterator[None]:
            try:
                yield
            except UnusableInput as fault:
                self._note(name, "refused", fault.findings, UNUSABLE)
            except (HandoverError, OSError) as fault:
                self._note(name, "failed", [fault], FAILED)

        return report_faults()

    def _note(self, name: object, what: str, lines: Iterable[object], status: int) -> None:
        self.count += 1
        self.status = FAILED if FAILED in {status, self.status} else status
        print_trouble(name, what, lines)


def verify(options: Options) -> int:
    """Check every file of every bag; list what is missing, changed or unexpected."""
    from handover.archive.bag import human_size
    from handover.archive.verify import verify_archive as check

    with (
        open_existing_archive(options.archive, options.catalog) as place,
        progress_bar(len(place.names())) as done,
    ):
        report = check(place, lambda bag, _: done(bag))
    for bag in report.damaged:
        for fault in bag.faults:
            print(printable(_fault(bag, fault)))
    bags = "1 bag" if report.bags == 1 else f"{report.bags} bags"
    counted = f"{bags}, {report.files} files, {human_size(report.octets)}"
    if report.sound:
        print(f"{counted}: all intact.")
        return DONE
    if report.catalog_fault:
        print_error(printable(f"The catalog cannot be read: {report.catalog_fault}."))
    wrong = f"problems with {len(report.damaged)}" if report.damaged else "all intact"
    print(f"{counted}: {wrong}.")
    return FAILED


def _fault(bag: BagReport, fault: FileFault) -> str:
    where = f"{bag.bag}/{fault.path}" if fault.path else bag.bag
    return ": ".join(part for part in (where, fault.kind, fault.detail) if part)


def reindex(options: Options) -> int:
    """Rebuild the catalog from the bags."""
    from handover.archive.reindex import rebuild_catalog as make_anew

    with open_existing_archive(options.archive, options.catalog) as place:
        _refuse_read_only(place)
        names = place.names()
        with progress_bar(len(names)) as done:
            damaged = make_anew(place, lambda name, _: done(name))
    for fault in damaged:
        print_error(printable(fault))
    print(f"The catalog is rebuilt from {len(names) - len(damaged)} of {len(names)} bags.")
    return FAILED if damaged else DONE


def forget(options: Options) -> int:
    """Remove an owner's personal data from the bag of a job and from the catalog."""
    from handover.service.privacy import forget_owner

    with open_existing_archive(options.archive, options.catalog) as place:
        _refuse_read_only(place)
        entry = place.bag(options.job).entry
        if not (options.yes or _ask_to_confirm(entry)):
            print_error("Nothing was removed.")
            return FAILED
        removed = forget_owner(place, options.job, now())
        folder = place.bag(options.job).folder
    if not removed:
        print(f"{printable(options.job)}: all personal data was removed earlier.")
        return DONE
    print(f"Removed from {printable(options.job)}, or changed:")
    for each in removed:
        print(f"    {printable(each)}")
    text = (
        f"The technical record stays, with the id of the job. {folder / 'removed.json'} lists what was "
        "removed and when. The issued folder, sent mail and backups still hold the data: delete those "
        "yourself. The program cannot recognize other people in notes and remarks, such as a neighbour or a "
        "tenant: read the notes yourself."
    )
    print("\n".join(wrap(text, first="", indent="")))
    return DONE


def _ask_to_confirm(entry: JobEntry) -> bool:
    """Ask for confirmation on the terminal; no answer means no."""
    from handover.errors import Finding, UnusableInput

    if not sys.stdin.isatty():
        problem = "removal is permanent, and there is no terminal to confirm it on"
        raise UnusableInput([Finding(problem, field="forget", expected="--yes to confirm")])
    about = "; ".join(part for part in (entry.job, entry.owner, entry.street) if part)
    for line in wrap(
        f"{about}. The owner's name, address, numbers and words will be removed permanently, with every "
        "document written to them, all messages and all pictures. The record of slab, mix, weather and "
        "dates stays.",
        first="",
        indent="",
    ):
        print_error(line)
    print_error("Type the id of the job to continue:")
    return sys.stdin.readline().strip() == entry.job


# ---- queries -------------------------------------------------------------------------------------------


def find(options: Options) -> None:
    """Find jobs by word, day and state."""
    from dataclasses import replace

    from handover.archive.catalog import JobState, Query

    at = time_of_issue(options)
    first, last = (
        parse_day(text, field) if text else None
        for text, field in ((options.placed_from, "--from"), (options.placed_until, "--until"))
    )
    _refuse_backwards(first, last)
    states = frozenset(JobState(each) for each in options.state or ())
    query = Query(" ".join(options.words), first, last, states, at)
    with _query_of(options) as place:
        if options.json:
            _print_lines(place.catalog.entries(query), options.limit)
            return
        found = place.catalog.find(replace(query, limit=options.limit or PAGE_LENGTH))
    rows = [_job_row(each, at) for each in found.entries]
    if not rows:
        print("No job matches.")
        _warn_short_words(query.words)
        return
    print("\n".join(table(("Placed", "Job", "Owner", "Street", "State"), rows)))
    if found.next is not None:
        print(f"Only the first {len(rows)} are listed; --limit lists more, --json all.")


def _warn_short_words(asked: str) -> None:
    """Print which words of a query are too short to match the beginning of a longer word."""
    from handover.archive.catalog.tokens import MIN_TOKEN, tokens

    for each in tokens(asked):
        if len(each) < MIN_TOKEN:
            print(f'"{each}" matches whole words only; a beginning needs at least {MIN_TOKEN} letters.')


def _refuse_backwards(first: date | None, last: date | None) -> None:
    from handover.errors import Finding, UnusableInput

    if first and last and first > last:
        problem = f"{last} is before {first}, so no job can be between them"
        raise UnusableInput([Finding(problem, field="--until", expected="a day not before --from")])


def _print_lines(entries: Iterable[JobEntry], limit: int | None) -> None:
    import json
    from itertools import islice

    from handover.archive.entry import entry_data

    for each in islice(entries, limit):
        print(json.dumps(entry_data(each)))


def _job_row(entry: JobEntry, at: datetime) -> Sequence[object]:
    return (
        entry.placed.date(),
        entry.job,
        entry.phone_or_email,
        entry.street,
        "; ".join(_states_in_words(entry, at)),
    )


def _states_in_words(entry: JobEntry, at: datetime) -> Iterator[str]:
    """Yield the words for the states of a job."""
    from handover.archive.catalog import JobState, states_of

    states = states_of(entry, at)
    if JobState.CURING in states and entry.curing_ends:
        yield f"curing until {weekday(entry.curing_ends)}"
    for state in JobState:
        if state in states and state != JobState.CURING:
            yield STATE_WORDS[state.value]


STATE_WORDS = {
    "curing": "curing",
    "frost-ahead": "frost risk ahead",
    "walkthrough-open": "walk-through open",
    "not-acknowledged": "not acknowledged",
    "cylinder-low": "cylinder below strength",
}
"""The states of a job, in words."""


def due(options: Options) -> None:
    """List what is due on a day across all jobs."""
    from datetime import UTC, datetime, time

    day = parse_day(options.day, "DAY")
    noon = datetime.combine(day, time(12), UTC)
    at = time_of_issue(options) if options.as_of or day == parse_day("today", "DAY") else noon
    with _query_of(options) as place:
        found = place.catalog.due(day, at)
    if options.ics:
        from handover.service.day_calendar import day_calendar

        _write_calendar(to_path(options.ics), day_calendar(found, day))
        message = f"The crew's visits are in {printable(options.ics)}."
        print(message, file=sys.stderr if options.json else sys.stdout)
    if options.json:
        _print_due(found, day)
        return
    if not found:
        print(f"Nothing is due on {weekday(day)}.")
        return
    tasks = [(each.entry, each.task) for each in found if each.task is not None]
    others = [each.entry for each in found if each.task is None]
    print(f"Due on {weekday(day)}, in the local time of each site")
    if tasks:
        print()
        rows = [
            (_hours(task, day), task.text or task.kind, entry.street or entry.job, entry.phone_or_email)
            for entry, task in tasks
        ]
        print("\n".join(table(("When", "What", "Where", "Call"), rows)))
    if others:
        print("\n".join(heading("Still curing, and the sheet is not acknowledged")))
        lines = [(each.job, each.street, each.phone_or_email) for each in others]
        print("\n".join(table(("Job", "Where", "Call"), lines)))


def _hours(task: Task, day: date) -> str:
    """Return when a task begins and ends; a time on another day names the day."""
    if task.end is None:
        return "all day"
    begins, ends = (
        clock(each) if each.date() == day else f"{weekday(each)}, {clock(each)}"
        for each in (task.start, task.end)
    )
    return f"{begins} to {ends}"


def _print_due(found: Iterable[DueTask], day: date) -> None:
    """Print what is due as JSON lines."""
    import json

    for each in found:
        entry, task = each.entry, each.task
        texts = {
            "day": day.isoformat(),
            "kind": each.kind,
            "start": task.start.isoformat() if task else None,
            "end": task.end.isoformat() if task and task.end else None,
            "what": (task and task.text) or each.kind,
            "job": entry.job,
            "owner": entry.owner,
            "phone": entry.more.get("phone", ""),
            "email": entry.more.get("email", ""),
            "street": entry.street,
            "contractor": entry.contractor,
        }
        print(json.dumps(texts))


def _write_calendar(file: Path, content: bytes) -> None:
    """Write a calendar; replace an earlier calendar, and nothing else."""
    from handover.errors import Finding, UnusableInput

    if file.exists() and not file.read_bytes().startswith(CALENDAR_FILE):
        problem = "already exists, is not a calendar, and was left unchanged"
        raise UnusableInput([Finding(problem, file=str(file), expected="a new file, or an earlier calendar")])
    with _backup_name(str(file)) as out:
        out.write(content.decode())


def export(options: Options) -> None:
    """Write the catalog as CSV or JSON lines."""
    from contextlib import nullcontext

    from handover.archive.export import export_csv, export_jsonl

    write = export_jsonl if _export_format(options) == "jsonl" else export_csv
    if options.output is not None:
        refuse_existing(options.output)
    with _query_of(options) as place:
        target = _backup_name(options.output) if options.output else nullcontext(sys.stdout)
        with target as out:
            count = write(place.catalog.entries(), out)
    if options.output:
        print(f"{count} jobs are in {printable(options.output)}.")


EXPORT_FORMATS = {".csv": "csv", ".json": "jsonl", ".jsonl": "jsonl", ".ndjson": "jsonl"}
"""The format of an exported file, by the ending of its name."""


def _export_format(options: Options) -> str:
    """Return the format of an export: that of --format, else by the file's name; on a terminal, CSV."""
    from handover.errors import Finding, UnusableInput

    if options.format:
        return options.format
    if not options.output:
        return "csv"
    ending = to_path(options.output).suffix.lower()
    if ending not in EXPORT_FORMATS:
        problem = f'"{ending}" is not the ending of a known format' if ending else "does not name a format"
        expected = "a name that ends in .csv or .jsonl, or --format csv or jsonl"
        raise UnusableInput([Finding(problem, file=options.output, expected=expected, example="jobs.csv")])
    return EXPORT_FORMATS[ending]


def _backup_name(name: str) -> AbstractContextManager[TextIO]:
    """Return a file to write to, which gets its name only once it is complete."""
    from contextlib import contextmanager

    from handover.errors import Finding, UnusableInput

    @contextmanager
    def new_file() -> Iterator[TextIO]:
        file = to_path(name)
        fresh = file.with_name(f".{file.name}.new")
        try:
            with fresh.open("w", encoding="utf-8", newline="") as out:
                yield out
            fresh.replace(file)
        except OSError as fault:
            raise UnusableInput([Finding(f"cannot be written: {fault.strerror}", file=name)]) from None
        finally:
            fresh.unlink(missing_ok=True)

    return new_file()


def _query_of(options: Options) -> AbstractContextManager[Archive]:
    """Return an archive for queries, after the recovery of a run that was killed."""
    from contextlib import contextmanager

    from handover.archive.deposit import recover
    from handover.errors import UnusableInput

    @contextmanager
    def query_archive() -> Iterator[Archive]:
        with open_existing_archive(options.archive, options.catalog) as place:
            if not place.has_catalog:
                raise UnusableInput([_missing_catalog(place)])
            if place.is_writable:
                recover(place)
            yield place

    return query_archive()


def _missing_catalog(place: Archive) -> Finding:
    """Return the finding for an archive without a catalog, and how to rebuild it."""
    from handover.errors import Finding

    by_whom = "" if place.is_writable else ", run by someone who may write to the folder; you may not"
    return Finding(
        "has no catalog",
        file=str(place.folder),
        expected=f"a catalog; `handover reindex` rebuilds it from the bags{by_whom}",
        example=f"handover reindex {shell_word(place.folder)}",
    )


def _refuse_read_only(place: Archive) -> None:
    from handover.errors import Finding, UnusableInput

    if not place.is_writable:
        expected = "a user who may write to it, or your own copy of the archive"
        raise UnusableInput([Finding("is read-only for you", str(place.folder), expected=expected)])
