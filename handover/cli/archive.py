"""The commands of the office: its archive, and what the jobs in it call for."""

from __future__ import annotations

import sys

from handover.cli.exit_codes import DONE, FAILED, UNUSABLE
from handover.cli.option_values import (
    archive_at,
    archive_there,
    day_named,
    now,
    path_of,
    refuse_existing,
    time_of_issue,
)
from handover.cli.output import (
    clock,
    heading,
    printable,
    progress_bar,
    shell_word,
    table,
    tell,
    trouble,
    weekday,
    wrapped,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager
    from datetime import date, datetime
    from pathlib import Path
    from typing import TextIO

    from handover.archive.catalog import Due
    from handover.archive.entry import Entry, Task
    from handover.archive.store import Archive
    from handover.archive.verify import BagReport, Fault
    from handover.cli.arguments import Options
    from handover.errors import Finding

PAGE = 50
"""Jobs of a table, unless more are asked for."""

CALENDAR = b"BEGIN:VCALENDAR"


# ---- into the archive, and is it whole -----------------------------------------------------------------


def archive(options: Options) -> int:
    """File issued folders."""
    from handover.service.archiving import issued_folders

    troubles = _Trouble()
    folders: list[Path] = []
    for each in options.jobs:
        with troubles.told(each):
            folders += issued_folders(path_of(each))
    filed: dict[Path, bool] = {}
    try:
        if folders:
            _file(folders, options, troubles, filed)
    except KeyboardInterrupt:
        tell("Stopped. What is filed stays; the same command goes on from there.")
        troubles.status = FAILED
    for folder, changed in filed.items():
        print(f"{printable(folder)}: {'filed' if changed else 'there already'}")
    if len(folders) > 1 or troubles.count:
        new = sum(filed.values())
        print(f"{new} filed, {len(filed) - new} there already, {troubles.count} not filed.")
    return troubles.status


def _file(folders: Sequence[Path], options: Options, troubles: _Trouble, filed: dict[Path, bool]) -> None:
    """File each folder; note whether it was new."""
    from handover.service.archiving import file_issue

    with archive_at(options.to, options.catalog) as place, progress_bar(len(folders)) as done:
        _ = place.catalog  # a catalog that cannot be had is told once, not for each folder
        for folder in folders:
            with troubles.told(folder):
                filed[folder] = file_issue(place, folder, now()).changed
            done(folder)


class _Trouble:
    """What went wrong with some of many things, told at once; the others go on."""

    def __init__(self) -> None:
        self.count = 0
        self.status = DONE

    def told(self, name: object) -> AbstractContextManager[None]:
        """Tell of what goes wrong with one thing, and go on."""
        from contextlib import contextmanager

        from handover.errors import HandoverError, UnusableInput

        @contextmanager
        def watched() -> Iterator[None]:
            try:
                yield
            except UnusableInput as fault:
                self._note(name, "refused", fault.findings, UNUSABLE)
            except (HandoverError, OSError) as fault:
                self._note(name, "failed", [fault], FAILED)

        return watched()

    def _note(self, name: object, what: str, lines: Iterable[object], status: int) -> None:
        self.count += 1
        self.status = FAILED if FAILED in {status, self.status} else status
        trouble(name, what, lines)


def verify(options: Options) -> int:
    """Check every file of every bag, and list what is not as it was."""
    from handover.archive.bag import human_size
    from handover.archive.verify import verify as check

    with (
        archive_there(options.archive, options.catalog) as place,
        progress_bar(len(place.names())) as done,
    ):
        report = check(place, lambda bag, _: done(bag))
    for bag in report.damaged:
        for fault in bag.faults:
            print(printable(_fault(bag, fault)))
    bags = "1 bag" if report.bags == 1 else f"{report.bags} bags"
    counted = f"{bags}, {report.files} files, {human_size(report.octets)}"
    if report.sound:
        print(f"{counted}: whole.")
        return DONE
    if report.catalog_fault:
        tell(printable(f"The catalog cannot be asked: {report.catalog_fault}."))
    wrong = f"something is wrong with {len(report.damaged)}" if report.damaged else "all of them whole"
    print(f"{counted}: {wrong}.")
    return FAILED


def _fault(bag: BagReport, fault: Fault) -> str:
    where = f"{bag.bag}/{fault.path}" if fault.path else bag.bag
    return ": ".join(part for part in (where, fault.kind, fault.detail) if part)


def reindex(options: Options) -> int:
    """Make the catalog anew from the bags."""
    from handover.archive.reindex import reindex as make_anew

    with archive_there(options.archive, options.catalog) as place:
        _refuse_read_only(place)
        names = place.names()
        with progress_bar(len(names)) as done:
            damaged = make_anew(place, lambda name, _: done(name))
    for fault in damaged:
        tell(printable(fault))
    print(f"The catalog says what {len(names) - len(damaged)} of {len(names)} bags say.")
    return FAILED if damaged else DONE


def forget(options: Options) -> int:
    """Remove an owner's personal data from the bag of a job and from the catalog."""
    from handover.service.privacy import forget_owner

    with archive_there(options.archive, options.catalog) as place:
        _refuse_read_only(place)
        entry = place.bag(options.job).entry
        if not (options.yes or _confirmed(entry)):
            tell("Nothing was removed.")
            return FAILED
        gone = forget_owner(place, options.job, now())
        folder = place.bag(options.job).folder
    if not gone:
        print(f"{printable(options.job)}: everything personal was removed before.")
        return DONE
    print(f"Removed from {printable(options.job)}, or changed:")
    for each in gone:
        print(f"    {printable(each)}")
    text = (
        f"The technical record stays, with the id of the job. {folder / 'removed.json'} says what was "
        "removed and when. The folder that was issued, mail and backups are not reached: delete those "
        "yourself. Whoever else is named in notes and remarks, a neighbour or a tenant, is not known by "
        "name: read the notes yourself."
    )
    print("\n".join(wrapped(text, first="", indent="")))
    return DONE


def _confirmed(entry: Entry) -> bool:
    """Ask whoever sits at the terminal; who gives no answer has not agreed."""
    from handover.errors import Finding, UnusableInput

    if not sys.stdin.isatty():
        problem = "removes for good, and nobody is there to be asked"
        raise UnusableInput([Finding(problem, field="forget", expected="--yes, if that is meant")])
    about = "; ".join(part for part in (entry.job, entry.owner, entry.street) if part)
    for line in wrapped(
        f"{about}. His name, address, numbers and words go for good, with every paper that was written to "
        "him, messages and pictures. The record of slab, mix, weather and dates stays.",
        first="",
        indent="",
    ):
        tell(line)
    tell("Type the id of the job to go on:")
    return sys.stdin.readline().strip() == entry.job


# ---- asked of the catalog ------------------------------------------------------------------------------


def find(options: Options) -> None:
    """Find jobs by word, day and state."""
    from dataclasses import replace

    from handover.archive.catalog import Query, State

    at = time_of_issue(options)
    first, last = (
        day_named(text, field) if text else None
        for text, field in ((options.placed_from, "--from"), (options.placed_until, "--until"))
    )
    _refuse_backwards(first, last)
    states = frozenset(State(each) for each in options.state or ())
    query = Query(" ".join(options.words), first, last, states, at)
    with _asked(options) as place:
        if options.json:
            _print_lines(place.catalog.entries(query), options.limit)
            return
        found = place.catalog.find(replace(query, limit=options.limit or PAGE))
    rows = [_job_row(each, at) for each in found.entries]
    if not rows:
        print("No job is like that.")
        _tell_short_words(query.words)
        return
    print("\n".join(table(("Placed", "Job", "Owner", "Street", "How it stands"), rows)))
    if found.next is not None:
        print(f"There are more than these {len(rows)}; --limit shows more, --json all.")


def _tell_short_words(asked: str) -> None:
    """Say which of the words that were looked for are too short to be beginnings of others."""
    from handover.archive.catalog.tokens import SHORTEST, words

    for each in words(asked):
        if len(each) < SHORTEST:
            print(f'"{each}" is looked for as a whole word; as a beginning it needs {SHORTEST} letters.')


def _refuse_backwards(first: date | None, last: date | None) -> None:
    from handover.errors import Finding, UnusableInput

    if first and last and first > last:
        problem = f"{last} is before {first}, so that no job can be between them"
        raise UnusableInput([Finding(problem, field="--until", expected="a day not before that of --from")])


def _print_lines(entries: Iterable[Entry], limit: int | None) -> None:
    import json
    from itertools import islice

    from handover.archive.entry import entry_data

    for each in islice(entries, limit):
        print(json.dumps(entry_data(each)))


def _job_row(entry: Entry, at: datetime) -> Sequence[object]:
    return (entry.placed.date(), entry.job, entry.whom_to_ring, entry.street, "; ".join(_standing(entry, at)))


def _standing(entry: Entry, at: datetime) -> Iterator[str]:
    """Give the words for how a job stands."""
    from handover.archive.catalog import State, states_of

    stands = states_of(entry, at)
    if State.CURING in stands and entry.curing_ends:
        yield f"curing until {weekday(entry.curing_ends)}"
    for state in State:
        if state in stands and state != State.CURING:
            yield STATES[state.value]


STATES = {
    "curing": "curing",
    "frost-ahead": "frost risk ahead",
    "walkthrough-open": "walk-through open",
    "not-acknowledged": "not acknowledged",
    "cylinder-low": "cylinder below strength",
}
"""How a job can stand, in words."""


def due(options: Options) -> None:
    """Tell what is to be done on a day across all jobs."""
    from datetime import UTC, datetime, time

    day = day_named(options.day, "DAY")
    noon = datetime.combine(day, time(12), UTC)
    at = time_of_issue(options) if options.as_of or day == day_named("today", "DAY") else noon
    with _asked(options) as place:
        found = place.catalog.due(day, at)
    if options.ics:
        from handover.service.day_calendar import day_calendar

        _write_calendar(path_of(options.ics), day_calendar(found, day))
        said = f"The crew's visits are in {printable(options.ics)}."
        print(said, file=sys.stderr if options.json else sys.stdout)
    if options.json:
        _print_due(found, day)
        return
    if not found:
        print(f"Nothing is due on {weekday(day)}.")
        return
    tasks = [(each.entry, each.task) for each in found if each.task is not None]
    others = [each.entry for each in found if each.task is None]
    print(f"Due on {weekday(day)}, by the clock of each site")
    if tasks:
        print()
        rows = [
            (_hours(task, day), task.text or task.kind, entry.street or entry.job, entry.whom_to_ring)
            for entry, task in tasks
        ]
        print("\n".join(table(("When", "What", "Where", "Whom to ring"), rows)))
    if others:
        print("\n".join(heading("Still curing, and the sheet is not acknowledged")))
        lines = [(each.job, each.street, each.whom_to_ring) for each in others]
        print("\n".join(table(("Job", "Where", "Whom to ring"), lines)))


def _hours(task: Task, day: date) -> str:
    """Return from when to when a task is to be done; what is on another day says so."""
    if task.end is None:
        return "all day"
    begins, ends = (
        clock(each) if each.date() == day else f"{weekday(each)}, {clock(each)}"
        for each in (task.start, task.end)
    )
    return f"{begins} to {ends}"


def _print_due(found: Iterable[Due], day: date) -> None:
    """Print what is due as JSON lines."""
    import json

    for each in found:
        entry, task = each.entry, each.task
        said = {
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
        print(json.dumps(said))


def _write_calendar(file: Path, content: bytes) -> None:
    """Write a calendar in the place of an earlier one, and of nothing else."""
    from handover.errors import Finding, UnusableInput

    if file.exists() and not file.read_bytes().startswith(CALENDAR):
        problem = "is there already and is no calendar; it is left as it is"
        raise UnusableInput([Finding(problem, file=str(file), expected="a new file, or an earlier calendar")])
    with _beside(str(file)) as out:
        out.write(content.decode())


def export(options: Options) -> None:
    """Write the catalog as CSV or JSON lines."""
    from contextlib import nullcontext

    from handover.archive.export import export_csv, export_jsonl

    write = export_jsonl if _export_format(options) == "jsonl" else export_csv
    if options.output is not None:
        refuse_existing(options.output)
    with _asked(options) as place:
        target = _beside(options.output) if options.output else nullcontext(sys.stdout)
        with target as out:
            count = write(place.catalog.entries(), out)
    if options.output:
        print(f"{count} jobs are in {printable(options.output)}.")


EXPORTED = {".csv": "csv", ".json": "jsonl", ".jsonl": "jsonl", ".ndjson": "jsonl"}
"""What is written to a file, by the ending of its name."""


def _export_format(options: Options) -> str:
    """Return what to write: as asked, else by the file's name; for a terminal, CSV."""
    from handover.errors import Finding, UnusableInput

    if options.format:
        return options.format
    if not options.output:
        return "csv"
    ending = path_of(options.output).suffix.lower()
    if ending not in EXPORTED:
        problem = f'"{ending}" is no ending of what can be written' if ending else "says not what to write"
        expected = "a name that ends in .csv or .jsonl, or --format csv or jsonl"
        raise UnusableInput([Finding(problem, file=options.output, expected=expected, example="jobs.csv")])
    return EXPORTED[ending]


def _beside(name: str) -> AbstractContextManager[TextIO]:
    """Give a file to write to that takes its place under a name only once it is whole."""
    from contextlib import contextmanager

    from handover.errors import Finding, UnusableInput

    @contextmanager
    def written() -> Iterator[TextIO]:
        file = path_of(name)
        fresh = file.with_name(f".{file.name}.new")
        try:
            with fresh.open("w", encoding="utf-8", newline="") as out:
                yield out
            fresh.replace(file)
        except OSError as fault:
            raise UnusableInput([Finding(f"cannot be written: {fault.strerror}", file=name)]) from None
        finally:
            fresh.unlink(missing_ok=True)

    return written()


def _asked(options: Options) -> AbstractContextManager[Archive]:
    """Give an archive whose catalog can be asked, and knows what a run that was killed has filed."""
    from contextlib import contextmanager

    from handover.archive.deposit import tidy
    from handover.errors import UnusableInput

    @contextmanager
    def opened() -> Iterator[Archive]:
        with archive_there(options.archive, options.catalog) as place:
            if not place.has_catalog:
                raise UnusableInput([_no_catalog(place)])
            if place.is_writable:
                tidy(place)
            yield place

    return opened()


def _no_catalog(place: Archive) -> Finding:
    """Return what is wrong with an archive whose catalog is lost, and who can make it anew."""
    from handover.errors import Finding

    by_whom = "" if place.is_writable else ", by someone who may write to the folder, which you may not"
    return Finding(
        "has lost its catalog",
        file=str(place.folder),
        expected=f"a catalog; it is made anew from the bags by `reindex`{by_whom}",
        example=f"handover reindex {shell_word(place.folder)}",
    )


def _refuse_read_only(place: Archive) -> None:
    from handover.errors import Finding, UnusableInput

    if not place.is_writable:
        expected = "someone who may, or a copy of the archive that is yours"
        raise UnusableInput([Finding("may not be written to by you", str(place.folder), expected=expected)])
