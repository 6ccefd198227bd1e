"""The command line: arguments, the clock, printing, exit status. No logic of its own.

Exit status: 0 done; 2 what came in cannot be used, each fault told with how to mend it; 1 anything else.
What costs time to import is imported inside the command that needs it, so that `--help` answers at once.
"""

from __future__ import annotations

import gc
import os
import sys
from argparse import ArgumentParser, HelpFormatter, Namespace

from handover import __version__

TYPE_CHECKING = False  # typing itself would be a third of the time that --help takes
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager
    from datetime import datetime
    from pathlib import Path
    from typing import Literal

    from handover.archive.place import Archive
    from handover.documents.spoken import Spoken
    from handover.documents.wording import DayWords, Wording
    from handover.errors import Finding
    from handover.issue.batch import Outcome
    from handover.issue.mail_server import MailServer
    from handover.issue.outbox import Draft
    from handover.issue.receive import Received

DONE, FAILED, UNUSABLE = 0, 1, 2

ABOUT = """\
Cure-care documents for a concrete slab on ground: from what the crew wrote down and the hourly forecast
to a care sheet, calendars and a watering plan for the owner of the slab."""

LIMITS = """\
The dates are cautious estimates. Local codes, the drawings and a licensed engineer come first."""

WIDTH = 100
"""Widest line that is printed; a narrower terminal gets narrower lines."""


class Options(Namespace):
    """What was asked for."""

    run: Callable[[Options], int | None]
    job: str
    jobs: list[str]
    file: str
    use: str | None
    output: str
    weather: str | None
    as_of: str | None
    typical: str | None
    sure: int
    rules: str | None
    json: bool
    language: str | None
    paper: Literal["letter", "a4"]
    units: Literal["us", "si"]
    templates: str | None
    shape: Literal["job", "schedule"]
    settings: str | None
    dry_run: bool
    again: bool
    folder: str
    to: str | None
    workers: int | None
    scheduler: str | None
    trace: bool = False


def entry() -> None:
    """Run as the console script."""
    # A run is short and keeps most of what it makes: to look for garbage less often saves a tenth of it. Its
    # matrices are small: threads to multiply them would cost more to start than they give. What is left at
    # the end is the system's to take back, not for Python to look through once more.
    gc.set_threshold(50_000, 20, 100)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    status = main(sys.argv[1:])
    gc.freeze()
    sys.exit(status)


def main(argv: Sequence[str]) -> int:
    """Run one command; return its exit status. The one place where errors become words."""
    try:
        options = _parser().parse_args(argv, Options())
    except SystemExit as stop:  # argparse has said what there was to say
        return UNUSABLE if stop.code else DONE
    if options.trace:
        _log_steps()
    try:
        status = options.run(options)
        sys.stdout.flush()
    except BrokenPipeError:  # whoever was reading has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except KeyboardInterrupt:
        _tell("Stopped. Nothing was written.")
        return FAILED
    except Exception as fault:
        if options.trace:
            raise
        return _explain(fault)
    return status or DONE


# ---- commands ---------------------------------------------------------------------------------------


def new(options: Options) -> None:
    """Write a commented job record to fill in."""
    from handover.issue.fill_in import record_to_fill_in

    _write_new(options.file, record_to_fill_in(options.use).encode())
    print(f"{_printable(options.file)} is ready to fill in. Then: handover check {_printable(options.file)}")


def check(options: Options) -> None:
    """Judge a job record."""
    from handover.issue.receive import read_record

    job, cautions = read_record(_path(options.job))
    _caution(cautions)
    print(f"{_printable(options.job)} can be used.")
    if job.assumed:
        print("\nAssumed where it says nothing:")
    for each in job.assumed:
        print("\n".join(_entry(each.field, f"{each.value} ({each.why})", 28)))


def forecast(options: Options) -> None:
    """Download the hourly forecast for the site and keep it."""
    from handover.issue.receive import download, read_record

    job, cautions = read_record(_path(options.job))
    _caution(cautions)
    _refuse_existing(options.output)
    _write_new(options.output, download(job, _now(), key=_key()).data)
    print(f"The forecast is in {_printable(options.output)}.")


def plan(options: Options) -> None:
    """Print the schedule."""
    from handover.documents.schedule_json import schedule_json
    from handover.documents.wording import Wording
    from handover.issue.receive import compute

    as_of = _as_of(options)
    received = _receive(options, as_of)
    schedule = compute(received, as_of, rules=options.rules, share=options.sure / 100)
    if options.json:
        sys.stdout.write(schedule_json(schedule).decode())
        return
    print("\n".join([*_table(Wording(received.job, schedule, units=options.units))]))


def issue(options: Options) -> None:
    """Write the whole document set."""
    from handover.issue.place import next_revision
    from handover.issue.receive import compute
    from handover.issue.render import issue_documents

    as_of = _as_of(options)
    received = _receive(options, as_of)
    folder = _path(options.output)
    revision = next_revision(folder, received.job.id, as_of)
    schedule = compute(received, as_of, revision, rules=options.rules, share=options.sure / 100)
    files = issue_documents(
        received.job,
        schedule,
        folder,
        inputs=received.inputs,
        pictures=received.pictures,
        languages=options.language.split(",") if options.language else None,
        units=options.units,
        paper=options.paper,
        templates=_path(options.templates) if options.templates else None,
    )
    print(f"The documents are in {_printable(options.output)}:")
    for name in files:
        print(f"    {_printable(name)}")


def batch(options: Options) -> int:
    """Write the document set of every job record in a folder."""
    from contextlib import nullcontext
    from functools import partial

    from handover.issue.batch import REPORT, Batch, find_records, run_batch
    from handover.issue.hands import Manner, on_a_cluster, on_this_machine

    templates = _path(options.templates) if options.templates else None
    if options.scheduler and templates:
        _refuse_far_templates()
    manner = Manner(
        languages=tuple(options.language.split(",")) if options.language else None,
        units=options.units,
        paper=options.paper,
        templates=templates,
        rules=options.rules,
        share=options.sure / 100,
    )
    hands = (
        partial(on_a_cluster, scheduler=options.scheduler)
        if options.scheduler
        else partial(on_this_machine, workers=options.workers or len(os.sched_getaffinity(0)))
    )
    out = _path(options.output)
    records = find_records(_path(options.folder), out, *([_path(options.to)] if options.to else []))
    with _archive(options.to) if options.to else nullcontext() as archive:
        what = Batch(
            _path(options.folder),
            out,
            _as_of(options),
            manner,
            weather=_path(options.weather) if options.weather else None,
            typical=_path(options.typical) if options.typical else None,
            archive=archive,
            key=_key(),
            reissue_at=options.as_of is not None,
        )
        try:
            with _progress(len(records)) as tell:
                outcomes = run_batch(what, records, hands, tell)
        except KeyboardInterrupt:
            _tell("Stopped. What is done stays; the same command goes on from there.")
            return FAILED
    return _report(outcomes, out / REPORT)


def send(options: Options) -> None:
    """Send the messages of issued folders, or say what would go to whom."""
    from handover.errors import HandoverError
    from handover.issue.mail_server import read_mail_server, settings_file
    from handover.issue.send import rehearse, send_messages

    jobs = [_path(job) for job in options.jobs]
    server = read_mail_server(_path(options.settings) if options.settings else settings_file())
    if options.dry_run:
        outcomes = rehearse(jobs, again=options.again)
    else:
        password = server.password(os.environ)
        outcomes = send_messages(jobs, server, password, _now(), again=options.again)
    failed = 0
    for each in outcomes:
        failed += each.state == "not sent"
        line = _printable(": ".join(part for part in (str(each.job), each.state, each.words) if part))
        print(line, file=sys.stderr if each.state == "not sent" else sys.stdout, flush=True)
        if options.dry_run and each.draft:
            _show_draft(each.draft, server)
    if failed:
        raise HandoverError(f"{failed} of {len(jobs)} not sent.")


def schema(options: Options) -> None:
    """Print the JSON Schema of a job record or of a schedule."""
    import json

    if options.shape == "job":
        from handover.jobs.schema import job_schema as shape
    else:
        from handover.documents.schedule_json import schedule_schema as shape
    print(json.dumps(shape(), indent=2, ensure_ascii=False))


# ---- arguments --------------------------------------------------------------------------------------


class _Help(HelpFormatter):
    """The look of --help; told its width, since finding it out costs an import."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=30, width=_width())


def _parser() -> ArgumentParser:
    parser = ArgumentParser("handover", description=ABOUT, epilog=LIMITS, formatter_class=_Help)
    parser.add_argument("--version", action="version", version=f"handover {__version__}")
    parser.add_argument(
        "--trace", action="store_true", help="tell each step; on a failure, show where in the program it was"
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(name: str, run: Callable[[Options], int | None], text: str) -> ArgumentParser:
        each = commands.add_parser(name, help=text, description=text, epilog=LIMITS, formatter_class=_Help)
        each.set_defaults(run=run)
        return each

    each = command("new", new, "write a commented job record to fill in")
    each.add_argument("file", metavar="FILE", help="the new record, such as alder-garage.toml")
    each.add_argument("--use", help='what the slab is for, such as "driveway": offers what is looked at')

    each = command("check", check, "judge a job record: each fault with its line, and how to mend it")
    _job(each)

    each = command("forecast", forecast, "download the hourly forecast for the site and keep it")
    _job(each)
    each.add_argument("-o", "--output", metavar="FILE", required=True, help="the new file to keep it in")

    each = command("plan", plan, "print the schedule of dates and watering")
    _job(each)
    _weather(each)
    _time(each)
    _rules(each)
    _band(each)
    each.add_argument("--json", action="store_true", help="print the whole schedule as JSON")
    _units(each)

    each = command("issue", issue, "write the whole document set to a folder")
    _job(each)
    _weather(each)
    each.add_argument("-o", "--output", metavar="DIR", required=True, help="the folder to write")
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    each = command("batch", batch, "write the document set of every job record in a folder")
    each.add_argument("folder", metavar="FOLDER", help="job records (TOML or JSON), at any depth")
    each.add_argument("-o", "--output", metavar="OUT", required=True, help="where each job gets a folder")
    each.add_argument(
        "-w",
        "--weather",
        metavar="PATH",
        help="a weather file for all, or a folder of files named like the records; without it, the file "
        "named like the record beside it, else downloaded once for all sites of a grid cell",
    )
    each.add_argument("--to", metavar="ARCHIVE", help="file each set in this archive as well")
    each.add_argument("--workers", metavar="N", type=_count, help="processes at work (one a core)")
    each.add_argument(
        "--scheduler", metavar="ADDRESS", help="have a Dask cluster do the work, such as tcp://server:8786"
    )
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    each = command("send", send, "send the message of each issued folder to its owner")
    each.add_argument("jobs", metavar="JOB", nargs="+", help="a folder that was issued, or its message.eml")
    each.add_argument("--settings", metavar="FILE", help="where the mail server is told (your settings)")
    each.add_argument("--dry-run", action="store_true", help="only say what would go to whom")
    each.add_argument("--again", action="store_true", help="send also what was sent before")

    each = command("schema", schema, "print the JSON Schema of a job record or of a schedule")
    each.add_argument("shape", choices=("job", "schedule"), help="which")
    return parser


def _job(parser: ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job record (TOML or JSON)")


def _weather(parser: ArgumentParser) -> None:
    parser.add_argument(
        "-w",
        "--weather",
        metavar="FILE",
        help="hourly weather of any kind we read; without it, downloaded",
    )


def _time(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--as-of", metavar="TIME", help="time of issue, such as 2026-07-14T12:30:00-04:00 (now)"
    )


def _rules(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--rules",
        metavar="COUNTRY",
        help="whose rules: us, ca, eu, de, gb, au, in, or strictest (those of the site's country)",
    )


def _band(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--sure",
        metavar="PERCENT",
        type=int,
        choices=range(60, 100),
        default=90,
        help='how sure a "not before" is to be, 60 to 99 (90)',
    )
    parser.add_argument(
        "--typical",
        metavar="FILE",
        help="a typical year of the place (TMY3, EPW), for the hours past the forecast",
    )


def _look(parser: ArgumentParser) -> None:
    parser.add_argument("--language", metavar="CODES", help="such as en,es; without it, the owner's")
    parser.add_argument(
        "--paper", choices=("letter", "a4"), default="letter", help="size of the sheets (letter)"
    )
    _units(parser)
    parser.add_argument(
        "--templates", metavar="DIR", help="texts and pages of your own that stand in for ours"
    )


def _units(parser: ArgumentParser) -> None:
    parser.add_argument("--units", choices=("us", "si"), default="us", help="the reader's units (us)")


def _count(text: str) -> int:
    """Return how many, one at least; argparse says what else is wrong."""
    count = int(text)
    if count < 1:
        raise ValueError
    return count


_count.__name__ = "number of processes"  # by which argparse calls it


def _archive(folder: str) -> Archive:
    from handover.archive.place import Archive

    return Archive(_path(folder))


def _path(text: str) -> Path:
    from pathlib import Path

    return Path(text)


def _now() -> datetime:
    """Read the clock, to the second; nothing else does."""
    from datetime import UTC, datetime

    return datetime.now(UTC).replace(microsecond=0)


def _key() -> str | None:
    """Return the key of a customer of the forecast service, which has no place on a command line."""
    return os.environ.get("HANDOVER_OPEN_METEO_KEY")


def _as_of(options: Options) -> datetime:
    """Return the time of issue: as given, else now."""
    from datetime import datetime

    from handover.errors import Finding, UnusableInput

    if options.as_of is None:
        return _now()
    try:
        time = datetime.fromisoformat(options.as_of)
        problem = None if time.tzinfo else "does not say its offset from UTC"
    except ValueError:
        problem = "is not a time"
    if problem is None:
        return time
    finding = Finding(
        f'"{options.as_of}" {problem}',
        field="--as-of",
        expected="a date, a time and its offset from UTC",
        example="2026-07-14T12:30:00-04:00",
    )
    raise UnusableInput([finding])


def _receive(options: Options, as_of: datetime) -> Received:
    from handover.issue.receive import receive

    weather = _path(options.weather) if options.weather else None
    typical = _path(options.typical) if options.typical else None
    received = receive(_path(options.job), weather, as_of, key=_key(), typical=typical)
    _caution(received.cautions)
    return received


def _refuse_far_templates() -> None:
    from handover.errors import Finding, UnusableInput

    problem = "are on this machine, and a cluster's workers see only their own"
    raise UnusableInput([Finding(problem, field="--templates", expected="--templates or --scheduler")])


def _refuse_existing(name: str) -> None:
    from handover.errors import Finding, UnusableInput

    if os.path.lexists(name):
        problem = "is there already and is left as it is"
        raise UnusableInput([Finding(problem, file=name, expected="the name of a new file")])


def _write_new(name: str, content: bytes) -> None:
    """Write a file that is not there yet."""
    from handover.errors import Finding, UnusableInput

    _refuse_existing(name)
    try:
        with _path(name).open("xb") as file:
            file.write(content)
    except OSError as fault:
        raise UnusableInput([Finding(f"cannot be written: {fault.strerror}", file=name)]) from None


# ---- printing ---------------------------------------------------------------------------------------


def _width() -> int:
    try:
        columns = int(os.environ.get("COLUMNS") or os.get_terminal_size().columns)
    except (ValueError, OSError):
        columns = WIDTH
    return max(40, min(columns, WIDTH))


def _printable(text: object) -> str:
    """Return a text for one line of a terminal: a control character is shown, not obeyed."""
    return "".join(
        each if each.isprintable() else " " if each.isspace() and each > "\x7f" else f"\\x{ord(each):02x}"
        for each in str(text)
    )


def _log_steps() -> None:
    """Tell each step of an issue as it begins."""
    import logging

    logging.basicConfig(format="%(message)s")
    logging.getLogger("handover").setLevel(logging.INFO)


def _tell(line: str) -> None:
    print(line, file=sys.stderr)


def _caution(findings: Iterable[Finding]) -> None:
    for each in findings:
        _tell(f"Caution: {_printable(each)}")


def _explain(fault: Exception) -> int:
    """Print what went wrong and how to mend it; return the exit status."""
    from handover.errors import HandoverError, UnusableInput

    if isinstance(fault, UnusableInput):
        _list(fault.findings)
        return UNUSABLE
    if isinstance(fault, HandoverError):
        _tell(_printable(fault))
    elif isinstance(fault, OSError):
        _tell(_printable(f"{fault.filename or 'The system'}: {fault.strerror or fault}"))
    else:
        _tell(f"A fault in the program itself: {type(fault).__name__}: {_printable(fault)}")
        _tell("Nothing was written. With --trace before the command, it shows where.")
    return FAILED


def _list(findings: Sequence[Finding]) -> None:
    """Print each finding as a paragraph: where, what, what was expected, an example."""
    for each in findings:
        place = ":".join(str(part) for part in (each.file, each.line) if part is not None)
        _tell(_printable("  ".join(part for part in (place, each.field) if part)))
        _tell(f"    {_printable(each.problem)}")
        if each.expected:
            _tell(f"    Expected: {_printable(each.expected)}")
        if each.example:
            _tell(f"    Example:  {_printable(each.example)}")
    faults = sum(each.severity == "fault" for each in findings)
    _tell(f"\n{faults} {'thing' if faults == 1 else 'things'} to mend. Nothing was written.")


def _progress(total: int) -> AbstractContextManager[Callable[[Outcome], None]]:
    """Give somebody to tell of each job that is settled: a bar, where somebody is looking."""
    from contextlib import contextmanager, nullcontext

    def nobody(_: Outcome) -> None: ...

    @contextmanager
    def bar() -> Iterator[Callable[[Outcome], None]]:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            task = progress.add_task("", total=total)
            yield lambda _: progress.advance(task)

    return bar() if sys.stderr.isatty() else nullcontext(nobody)


MOST_TOLD = 20
"""Jobs that went wrong, told on a terminal; the report has them all."""


def _report(outcomes: Sequence[Outcome], file: Path) -> int:
    """Tell what came of a batch, first what went wrong; return the exit status."""
    from collections import Counter

    wrong = [each for each in outcomes if each.state in {"refused", "failed"}]
    for each in wrong[:MOST_TOLD]:
        _tell(f"{_printable(each.record)}: {each.state}")
        for line in each.findings or (each.failure,):
            _tell(f"    {_printable(line)}")
    if wrong[MOST_TOLD:]:
        _tell(f"... and {len(wrong) - MOST_TOLD} more.")
    counts = Counter(each.state for each in outcomes)
    for state in ("done", "done before", "refused", "failed"):
        print(f"{state:12}{counts[state]:8}")
    print(f"The report is in {_printable(file)}.")
    return FAILED if counts["failed"] else UNUSABLE if counts["refused"] else DONE


def _show_draft(draft: Draft, server: MailServer) -> None:
    for left, right in (
        ("From", draft.shown_from),
        ("To", draft.shown_to),
        ("Subject", draft.subject),
        ("With", ", ".join(draft.attached)),
        ("Through", f"{server.host}, port {server.port}, {server.security}"),
    ):
        print("\n".join(_entry(left, right, 8)))


def _table(words: Wording) -> Iterator[str]:
    """Give the lines of the schedule as the contractor reads it."""
    from itertools import groupby

    schedule = words.schedule
    yield from _wrapped(f"{words.job.site.name} ({schedule.job})", first="", indent="")
    yield from _wrapped(f"Weather: {schedule.weather.source}", first="", indent="")
    yield from _heading("Not before")
    for each in sorted(
        words.milestones, key=lambda each: (each.when is None, each.when and each.when.instant)
    ):
        when = (
            _with_year(each.when, schedule.issued_at.year) if each.when else "past the reach of the estimate"
        )
        late = f", not after {each.not_after.short}" if each.not_after else ""
        yield from _entry(when, each.crew_title + late)
    yield from _heading("Watering")
    for what, days in groupby(words.watering, key=_what_to_do):
        first, *others = (day.short_day for day in days)
        yield from _entry(f"{first} to {others[-1]}" if others else first, what)
    if schedule.refusals:
        yield from _heading("No date is given")
    for refusal in schedule.refusals:
        yield from _entry(refusal.kind, words.say(f"refusal.{refusal.because}"))
    if words.cautions:
        yield from _heading("Cautions")
    for notice in words.cautions:
        yield from _wrapped(f"{notice.title}. {notice.text}")
    yield ""
    yield from _wrapped(" ".join(words.limits), first="", indent="")


def _what_to_do(day: DayWords) -> str:
    visits = ", ".join(visit.short_span for visit in day.visits)
    return "; ".join(part for part in (visits, day.amount, day.note) if part)


def _with_year(when: Spoken, issued: int) -> str:
    year = when.instant.year
    return when.short if year == issued else f"{when.short}, {year}"


def _heading(text: str) -> Iterator[str]:
    yield ""
    yield text


def _entry(left: str, right: str, width: int = 26) -> Iterator[str]:
    """Give a line of two columns; what is long runs on below its own column."""
    yield from _wrapped(right, first=f"  {_printable(left):{width}}", indent=" " * (width + 2))


def _wrapped(text: str, *, first: str = "  ", indent: str = "    ") -> Iterator[str]:
    import textwrap

    yield from textwrap.wrap(_printable(text), _width(), initial_indent=first, subsequent_indent=indent)
