"""The commands of the office: its archive, and what is due on the jobs in it."""

from __future__ import annotations

import sys

from handover.base.text import for_terminal
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
    heading,
    left_out,
    print_error,
    print_trouble,
    progress_bar,
    table,
    wrap,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager
    from datetime import date
    from pathlib import Path
    from typing import Literal, TextIO

    from handover.archive.entry import JobEntry
    from handover.archive.store import Archive
    from handover.archive.verify import BagReport, FileFault
    from handover.cli.options import Options
    from handover.service.office import DueList, FindResult

CALENDAR_FILE = b"BEGIN:VCALENDAR"


# ---- writing and verifying -----------------------------------------------------------------------------


def archive(options: Options) -> int:
    """Archive issued folders. One that is refused stops none of the others; the exit status is 1."""
    from handover.service.archiving import issued_folders

    troubles = _TroubleReport()
    folders: list[Path] = []
    for each in options.jobs:
        with troubles.messages(each):
            folders += issued_folders(to_path(each))
    archived: dict[Path, bool] = {}
    try:
        if folders:
            _archive(folders, options, troubles, archived)
    except KeyboardInterrupt:
        print_error("Stopped. What is archived stays; run the same command again to continue.")
        troubles.status = FAILED
    for folder, changed in archived.items():
        print(f"{for_terminal(folder)}: {'archived' if changed else 'already archived'}")
    if len(folders) > 1 or troubles.count:
        new = sum(archived.values())
        print(f"{new} archived, {len(archived) - new} already archived, {troubles.count} not archived.")
    return troubles.status if folders else troubles.status_of_arguments


def _archive(
    folders: Sequence[Path], options: Options, troubles: _TroubleReport, results: dict[Path, bool]
) -> None:
    """Archive each folder; note whether it was new."""
    from handover.service.archiving import archive_folder

    with open_archive(options) as place, progress_bar(len(folders)) as done:
        _ = place.catalog  # a catalog that cannot be opened is reported once, not for each folder
        for folder in folders:
            with troubles.messages(folder):
                results[folder] = archive_folder(place, folder, now())
            done(folder)


class _TroubleReport:
    """What went wrong with some of many folders, printed at once; the others go on."""

    def __init__(self) -> None:
        self.count = 0
        self.status = DONE
        self._has_failed = False

    @property
    def status_of_arguments(self) -> int:
        """The exit status of a command line that names nothing to work on."""
        return FAILED if self._has_failed else UNUSABLE

    def messages(self, name: object) -> AbstractContextManager[None]:
        """Print what goes wrong with one folder, and go on."""
        from contextlib import contextmanager

        from handover.errors import UnusableInput, fault_text

        @contextmanager
        def report_faults() -> Iterator[None]:
            try:
                yield
            except UnusableInput as fault:
                self._note(name, "refused", fault.findings)
            except Exception as fault:  # noqa: BLE001 - whatever it is, the others go on
                self._has_failed = True
                self._note(name, "failed", [fault_text(fault)])

        return report_faults()

    def _note(self, name: object, what: str, lines: Iterable[object]) -> None:
        self.count += 1
        self.status = FAILED
        print_trouble(name, what, lines)


def verify(options: Options) -> int:
    """Check every file of every bag; list what is missing, changed or unexpected."""
    from handover.archive.bag import human_size
    from handover.archive.verify import verify_archive as check

    with open_existing_archive(options) as place:
        if options.repair:
            _repair(place)
        with progress_bar(len(place.names())) as done:
            report = check(place, lambda bag, _: done(bag))
    for bag in report.damaged:
        for fault in bag.faults:
            print(for_terminal(_fault(bag, fault)))
    bags = "1 bag" if report.bags == 1 else f"{report.bags} bags"
    counted = f"{bags}, {report.files} files, {human_size(report.octets)}"
    if report.sound:
        print(f"{counted}: all intact.")
        return DONE
    if report.catalog_fault:
        print_error(for_terminal(f"The catalog cannot be read: {report.catalog_fault}."))
    wrong = f"problems with {len(report.damaged)}" if report.damaged else "all of them whole"
    print(f"{counted}: {wrong}.")
    return FAILED


def _repair(place: Archive) -> None:
    """Mend what the bags themselves allow, and tell what was mended."""
    from handover.archive.repair import repair_archive

    _refuse_read_only(place)
    for each in repair_archive(place):
        print(for_terminal(": ".join(part for part in (each.bag, "mended", each.what) if part)))


def _fault(bag: BagReport, fault: FileFault) -> str:
    where = f"{bag.bag}/{fault.path}" if fault.path else bag.bag
    return ": ".join(part for part in (where, fault.kind, fault.detail) if part)


def reindex(options: Options) -> int:
    """Rebuild the catalog from the bags."""
    from handover.archive.reindex import rebuild_catalog as make_anew

    with open_existing_archive(options) as place:
        _refuse_read_only(place)
        names = place.names()
        with progress_bar(len(names)) as done:
            damaged = make_anew(place, lambda name, _: done(name))
    for fault in damaged:
        print_error(for_terminal(fault))
    print(f"The catalog is rebuilt from {len(names) - len(damaged)} of {len(names)} bags.")
    return FAILED if damaged else DONE


def forget(options: Options) -> int:
    """Remove an owner's personal data from the bag of a job and from the catalog."""
    from handover.service.privacy import forget_owner

    with open_existing_archive(options) as place:
        _refuse_read_only(place)
        entry = place.bag(options.job).entry
        if not (options.yes or _ask_to_confirm(entry)):
            print_error("Nothing was removed.")
            return FAILED
        removed = forget_owner(place, options.job, now())
        folder = place.bag(options.job).folder
    if not removed:
        print(f"{for_terminal(options.job)}: all personal data was removed earlier.")
        return DONE
    print(f"Removed or changed in {for_terminal(options.job)}:")
    for each in removed:
        print(f"    {for_terminal(each)}")
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
    from handover.service import office

    at = time_of_issue(options)
    first, last = (
        parse_day(text, field) if text else None
        for text, field in ((options.placed_from, "--from"), (options.placed_until, "--until"))
    )
    _refuse_backwards(first, last)
    search = office.JobSearch(at, " ".join(options.words), first, last, frozenset(options.state or ()))
    with _archive_to_query(options) as place:
        if options.json:
            _print_lines(office.find_data(place, search, options.limit))
            return
        _print_found(office.find(place, search, options.limit or office.PAGE_LENGTH))


def _archive_to_query(options: Options) -> AbstractContextManager[Archive]:
    """Return an archive; the end of the block reports whether a row of its catalog cannot be read."""
    from contextlib import contextmanager

    from handover.archive.errors import CatalogFailed

    @contextmanager
    def catalog_query() -> Iterator[Archive]:
        with open_existing_archive(options) as place:
            yield place
            odd = left_out(place)
        if odd:
            sys.stdout.flush()
            raise CatalogFailed(odd)

    return catalog_query()


def _print_found(result: FindResult) -> None:
    """Print the jobs that were found."""
    from handover.service import office

    if not result.jobs:
        print("No job matches.")
        for each in result.short_words:
            whole = f'"{each}" matches whole words only'
            print(f"{whole}; a beginning needs at least {office.MIN_BEGINNING} letters.")
        return
    rows = [(each.placed, each.job, each.owner, each.street, "; ".join(each.states)) for each in result.jobs]
    print("\n".join(table(("Placed", "Job", "Owner", "Street", "State"), rows)))
    if result.has_more:
        print(f"Only the first {len(rows)} are listed; --limit lists more, --json all.")


def _refuse_backwards(first: date | None, last: date | None) -> None:
    from handover.errors import Finding, UnusableInput

    if first and last and first > last:
        problem = f"{last} is before {first}, so no job can be between them"
        raise UnusableInput([Finding(problem, field="--until", expected="a day not before --from")])


def _print_lines(values: Iterable[object]) -> None:
    """Print values as JSON lines."""
    import json

    for each in values:
        print(json.dumps(each))


def due(options: Options) -> None:
    """List what is due on a day across all jobs."""
    from handover.service import office

    day = parse_day(options.day, "DAY")
    current = time_of_issue(options)
    at = current if options.as_of else office.due_time(day, parse_day("today", "DAY"), current)
    with _archive_to_query(options) as place:
        _show_due(office.due(place, day, at), options)


def _show_due(found: DueList, options: Options) -> None:
    """Print what is due on a day, and write its calendar if it is asked for."""
    from handover.service import office

    day = found.day
    if options.ics:
        _write_calendar(to_path(options.ics), found.crew_calendar())
        message = f"The crew's visits are in {for_terminal(options.ics)}."
        print(message, file=sys.stderr if options.json else sys.stdout)
    if options.json:
        _print_lines(office.due_data(each, day) for each in found.items)
        return
    if not found.items:
        print(f"Nothing is due on {office.day_text(day)}.")
        return
    print(f"Due on {office.day_text(day)}, in the local time of each site")
    if found.tasks:
        print()
        rows = [(each.hours, each.what, each.street or each.job, each.contact) for each in found.tasks]
        print("\n".join(table(("When", "What", "Where", "Call"), rows)))
    if found.unacknowledged:
        print("\n".join(heading("Still curing, and the sheet is not acknowledged")))
        lines = [(each.job, each.street, each.contact) for each in found.unacknowledged]
        print("\n".join(table(("Job", "Where", "Call"), lines)))


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

    from handover.service import office

    shape = _export_format(options)
    if options.output is not None:
        refuse_existing(options.output)
    with _archive_to_query(options) as place:
        with _backup_name(options.output) if options.output else nullcontext(sys.stdout) as out:
            count = office.export(place, out, shape)
        if options.output:
            jobs = "1 job is" if count == 1 else f"{count} jobs are"
            print(f"{jobs} in {for_terminal(options.output)}.")


EXPORT_FORMATS: dict[str, Literal["csv", "jsonl"]] = {
    ".csv": "csv",
    ".json": "jsonl",
    ".jsonl": "jsonl",
    ".ndjson": "jsonl",
}
"""The format of an exported file, by the ending of its name."""


def _export_format(options: Options) -> Literal["csv", "jsonl"]:
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
    from io import TextIOWrapper

    from handover.base.atomic import open_replacement
    from handover.errors import Finding, UnusableInput

    @contextmanager
    def new_file() -> Iterator[TextIO]:
        try:
            with open_replacement(to_path(name)) as stream:
                out = TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
                yield out
                out.detach()
        except OSError as fault:
            raise UnusableInput([Finding(f"cannot be written: {fault.strerror}", file=name)]) from None

    return new_file()


def _refuse_read_only(place: Archive) -> None:
    from handover.errors import Finding, UnusableInput

    if not place.is_writable:
        expected = "a user who may write to it, or your own copy of the archive"
        raise UnusableInput([Finding("is read-only for you", str(place.folder), expected=expected)])
